"""A run beside the band: in or out, when, where and why."""

import numpy as np
import pytest

from analysis.runs.panels.good_run import reference_from
from analysis.runs.repeat.band import good_band
from analysis.runs.repeat.judgement import FAST_CAUSES, SLOW_CAUSES, judge_run

TIMES = np.linspace(4.0, 1600.0, 400)
GOOD = [
    reference_from(str(k), TIMES, np.sqrt(k * TIMES))
    for k in (92.0, 96.0, 100.0, 104.0, 108.0, 98.0, 102.0)
]
BAND = good_band(GOOD)


def judged(front_mm, times=TIMES):
    return judge_run(BAND, reference_from("now", times, front_mm))


def test_a_run_like_the_good_ones_is_in():
    found = judged(np.sqrt(101.0 * TIMES))
    assert found.word == "in"
    assert found.side == found.causes == found.manner == ""
    assert found.left_mm is None
    assert found.end_ratio == pytest.approx(0.99, abs=0.02)


@pytest.mark.parametrize(
    ("rate", "side", "causes"), [(50.0, "slow", SLOW_CAUSES), (200.0, "fast", FAST_CAUSES)]
)
def test_off_from_the_start(rate, side, causes):
    found = judged(np.sqrt(rate * TIMES))
    assert (found.word, found.side, found.manner) == ("out", side, "from the start")
    assert found.causes == causes["from the start"]
    assert found.left_mm == pytest.approx(BAND.distance_mm[0])
    assert found.back_mm is None
    assert found.left_s == pytest.approx(found.left_mm**2 / rate, rel=0.02)
    # x^2 = rate t: the middle run came by at x^2 / 99.9.
    assert found.late_s == pytest.approx(found.left_mm**2 * (1 / rate - 1 / 99.9), rel=0.03)


def test_slower_and_slower():
    # The speed in x^2 dies away: at 1600 s the front has lost a third of its way.
    theta = 900.0 * (1 - np.exp(-TIMES / 900.0))
    found = judged(np.sqrt(100.0 * theta))
    assert (found.word, found.side, found.manner) == ("out", "slow", "more and more")
    assert found.left_mm > BAND.distance_mm[0]


def test_a_pinched_line_shows_as_a_step():
    theta = np.where(TIMES < 500, TIMES, np.maximum(500.0, TIMES - 600.0))
    found = judged(np.sqrt(100.0 * theta))
    assert (found.word, found.side, found.manner) == ("out", "slow", "at once")
    assert found.left_mm == pytest.approx(np.sqrt(100.0 * 500.0), abs=6)


def test_a_front_that_stands_still_is_late_though_it_never_gets_there():
    found = judged(np.minimum(np.sqrt(100.0 * TIMES), 200.0))
    assert (found.word, found.side, found.manner) == ("out", "slow", "at once")
    assert found.left_mm == pytest.approx(200.0, abs=5)


def test_a_run_that_was_ended_early_is_judged_as_far_as_it_went():
    found = judged(np.sqrt(100.0 * TIMES[:150]), TIMES[:150])
    assert found.word == "in"
    assert found.judged_mm == pytest.approx(np.sqrt(100.0 * TIMES[149]), abs=5)


def test_a_run_that_comes_back_says_where():
    lag = 1 + 0.8 * np.exp(-(((TIMES - 300) / 90) ** 2))
    found = judged(np.maximum.accumulate(np.sqrt(100.0 * TIMES / lag)))
    assert found.word == "out"
    assert found.left_mm < found.back_mm < BAND.distance_mm[-1]


def test_one_misread_photo_is_no_leaving():
    front = np.sqrt(100.0 * TIMES)
    front[60:] = np.maximum(front[60:], front[60] + 6.0)
    assert judged(front).word == "in"


def test_a_run_that_hardly_began_is_not_judged():
    found = judged(np.sqrt(100.0 * TIMES[:3]), TIMES[:3])
    assert found.word == "cannot tell"


def test_inside_only_because_runs_are_few_is_said():
    wide = good_band(
        [reference_from(str(k), TIMES, np.sqrt(k * TIMES)) for k in (80.0, 100.0, 120.0)]
    )
    found = judge_run(wide, reference_from("now", TIMES, np.sqrt(50.0 * TIMES)))
    assert (found.word, found.side) == ("in, but", "slow")
    assert found.causes == SLOW_CAUSES["from the start"]
