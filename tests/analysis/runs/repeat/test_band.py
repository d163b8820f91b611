"""The band of good runs: its width by hand, and how often it is wrong about a good one."""

import numpy as np
import pytest
from scipy import stats

from analysis.runs.panels.good_run import reference_from
from analysis.runs.repeat.band import READING, UNEVEN_SD, USUAL_SD, good_band
from analysis.runs.repeat.judgement import judge_run
from analysis.runs.repeat.tolerance import tolerance_factor
from vision.errors import WetlineError

TIMES = np.linspace(4.0, 1600.0, 400)


def run_of(rate, times=TIMES, name="run"):
    return reference_from(name, times, np.sqrt(rate * times))


def test_one_run_has_the_usual_scatter_and_says_so():
    band = good_band([run_of(100.0)])
    # Two panels differ by sqrt(2) of the scatter of one: 1.96 * 0.12 * sqrt(2) in ln t.
    # and what one place may be off: uneven cloth and the reading.
    half = stats.norm.ppf(0.975) * USUAL_SD * np.sqrt(2.0)
    half += np.hypot(2 * UNEVEN_SD, 2 * READING["mm"] / 400.0)
    assert not band.own
    assert band.late_s[-1] / band.middle_s[-1] == pytest.approx(np.exp(half), rel=1e-6)
    assert band.middle_s[-1] / band.early_s[-1] == pytest.approx(np.exp(half), rel=1e-6)
    assert band.middle_s[45] == pytest.approx(band.distance_mm[45] ** 2 / 100.0, rel=0.01)
    assert "not yours" in band.words
    assert "2 good runs" in good_band([run_of(100.0), run_of(110.0)]).words


def test_own_runs_give_a_tolerance_band():
    rates = np.array([90.0, 95.0, 100.0, 105.0, 112.0])
    band = good_band([run_of(rate) for rate in rates], coverage=0.9, confidence=0.95)
    half = tolerance_factor(5, 0.9, 0.95) * np.log(rates).std(ddof=1)
    assert band.own
    assert np.log(band.late_s[-1] / band.middle_s[-1]) == pytest.approx(half, rel=0.01)
    assert "90 % of runs like them" in band.words
    assert "95 % confidence" in band.words


def test_front_at_a_time_is_the_inverse():
    band = good_band([run_of(100.0)])
    mean, low, high = band.front_mm(np.array([0.0, 1.0, 400.0, 1e5]))
    np.testing.assert_allclose(mean[:3], [0.0, 10.0, 200.0], rtol=0.01)
    assert np.isnan(mean[3])
    assert low[2] < mean[2] < high[2]
    half = stats.norm.ppf(0.975) * USUAL_SD * np.sqrt(2.0) + 0.043
    assert high[2] == pytest.approx(200.0 * np.exp(half / 2), rel=0.01)


def test_no_narrower_than_a_front_is_read():
    near = good_band([run_of(rate) for rate in (100.0, 100.01, 100.02, 100.03)])
    at = int(np.argmin(np.abs(near.distance_mm - 100.0)))
    assert np.log(near.late_s[at] / near.middle_s[at]) == pytest.approx(
        4.0 / near.distance_mm[at], rel=1e-3
    )


def test_the_band_ends_where_the_shortest_run_did():
    band = good_band([run_of(100.0), run_of(100.0, TIMES[:100])])
    assert band.distance_mm[-1] == pytest.approx(np.sqrt(100.0 * TIMES[99]))
    assert band.distance_mm[0] == pytest.approx(0.1 * band.distance_mm[-1])


def test_no_run_is_an_error():
    with pytest.raises(WetlineError, match="no good run"):
        good_band([])


@pytest.mark.parametrize("count", [1, 3, 6])
def test_a_good_run_is_rarely_called_out(count):
    # Permeability scatters by 12 % between like panels, the cloth along the way by 3 %.
    rng, out, rounds = np.random.default_rng(count), 0, 300
    for _ in range(rounds):
        runs = []
        for _ in range(count + 1):
            k = 100.0 * np.exp(rng.normal(0, USUAL_SD))
            wave = 0.03 * np.sin(TIMES / rng.uniform(60, 400) + rng.uniform(0, 6))
            front = np.sqrt(k * TIMES) * (1 + 0.5 * wave) + rng.normal(0, 0.5, len(TIMES))
            runs.append(reference_from("run", TIMES, np.maximum(front, 0.1)))
        out += judge_run(good_band(runs[:-1]), runs[-1]).word == "out"
    assert out / rounds <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / rounds)
