"""The run beside good ones."""

import numpy as np
import pytest

from analysis.runs.panels.good_run import reference_from
from analysis.runs.repeat.band import USUAL_SD, good_band
from analysis.watch.reference import band_mm, compare

TIMES = np.linspace(1.0, 900.0, 400)


def run_of(rate, name="good"):
    return reference_from(name, TIMES, np.sqrt(rate * TIMES))


def test_band_is_the_one_of_good_runs():
    runs = [run_of(k) for k in (90.0, 100.0, 110.0, 95.0)]
    at = np.array([200.0, 400.0])
    for mine, theirs in zip(band_mm(runs, at, 0.05), good_band(runs).front_mm(at), strict=True):
        np.testing.assert_array_equal(mine, theirs)


def test_a_panel_that_states_more_scatter_widens_the_band_of_one_run():
    usual = band_mm([run_of(100.0)], np.array([400.0]), 0.05)
    wide = band_mm([run_of(100.0)], np.array([400.0]), 2 * USUAL_SD)
    assert usual[0][0] == pytest.approx(200.0, abs=0.5)
    assert wide[1][0] < usual[1][0] < usual[2][0] < wide[2][0]


def test_run_beside_a_good_one():
    good = run_of(100.0)
    beside = compare([good], 400.0, 180.0, 0.08)
    # The good run was at 180 mm at 324 s: 76 s, 1.3 min behind.
    assert beside.ahead_mm == pytest.approx(-20.0, abs=0.3)
    assert beside.ahead_min == pytest.approx(-76 / 60, abs=0.03)
    assert beside.inside
    assert "behind the good run" in beside.text
    assert not compare([good], 400.0, 150.0, 0.08).inside
    assert "OUTSIDE" in compare([good], 400.0, 150.0, 0.08).text
    late = compare([good], 2000.0, 150.0, 0.08)  # it ended at 300 mm, 900 s
    assert (late.inside, late.ahead_min) == (False, None)
    assert "by now the good run had got to 300 mm, this run to 150 mm: it is OUTSIDE" in late.text
    soon = compare([good], 920.0, 285.0, 0.08)
    assert soon.inside
    assert "may still be inside" in soon.text
    assert compare([good], 2000.0, 299.0, 0.08) is None  # as far as it is known
    # Near the feed the front goes as the root of time.
    assert compare([good], 4.0, 10.0, 0.08).ahead_min == pytest.approx(-3 / 60, abs=0.01)


def test_three_runs_that_scatter_say_why_their_band_is_wide():
    runs = [run_of(k) for k in (70.0, 100.0, 140.0)]
    odd = compare(runs, 300.0, 110.0)
    assert odd.inside
    assert "wide for want of runs" in odd.text
    assert "wide" not in compare(runs, 300.0, 170.0).text
