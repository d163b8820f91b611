"""The run beside good ones."""

import numpy as np
import pytest

from analysis.watch.reference import band_mm, compare, reference_from
from vision.errors import WetlineError


def test_band_of_few_runs_follows_from_the_spread_of_permeability():
    # x goes as the root of K, so 8 % in K is 4 % in x; 1.96 sd of one more run after one run.
    t = np.linspace(1.0, 900.0, 200)
    one = reference_from("a", t, np.sqrt(100.0 * t))
    mean, low, high = band_mm([one], np.array([400.0]), 0.08)
    assert mean[0] == pytest.approx(200.0, abs=0.5)
    assert high[0] - mean[0] == pytest.approx(1.96 * 0.04 * 200.0 * np.sqrt(2.0), rel=0.01)
    assert mean[0] - low[0] == pytest.approx(high[0] - mean[0])


def test_band_of_many_runs_is_a_prediction_interval():
    # Student's t for 4 degrees of freedom at 97.5 %: 2.776 (handbook table, from memory).
    t = np.linspace(1.0, 900.0, 200)
    runs = [reference_from(str(k), t, np.sqrt(k * t)) for k in (90.0, 95.0, 100.0, 105.0, 110.0)]
    fronts = np.sqrt(np.array([90.0, 95.0, 100.0, 105.0, 110.0]) * 400.0)
    mean, _, high = band_mm(runs, np.array([400.0]), 0.08)
    half = 2.776 * fronts.std(ddof=1) * np.sqrt(1.2)
    assert high[0] - mean[0] == pytest.approx(half, rel=0.01)


def test_run_beside_a_good_one():
    t = np.linspace(1.0, 900.0, 400)
    good = reference_from("good", t, np.sqrt(100.0 * t))
    beside = compare([good], 400.0, 180.0, 0.08)
    # The good run was at 180 mm at 324 s: 76 s, 1.3 min behind.
    assert beside.ahead_mm == pytest.approx(-20.0, abs=0.3)
    assert beside.ahead_min == pytest.approx(-76 / 60, abs=0.03)
    assert beside.inside
    assert "behind the good run" in beside.text
    assert not compare([good], 400.0, 150.0, 0.08).inside
    assert compare([good], 2000.0, 150.0, 0.08) is None
    with pytest.raises(WetlineError, match="no moving front"):
        reference_from("dry", t, np.zeros_like(t))
