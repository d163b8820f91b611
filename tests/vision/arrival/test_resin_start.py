import numpy as np
import pytest

from vision.arrival.resin_start import find_start
from vision.settings.repair_settings import StartSettings


def fronts(start_s, feed_mm, times, rate=180.0):
    """x^2 + 2 a x = D (t - start), a feed that resists being an extra length (Darcy's law)."""
    run = np.maximum(times - start_s, 0.0)
    return np.sqrt(feed_mm**2 + rate * run) - feed_mm


@pytest.mark.parametrize("start_s", [47.0, 61.5])
@pytest.mark.parametrize("feed_mm", [0.0, 30.0])
def test_start_is_found_between_the_frames(start_s, feed_mm):
    times = np.arange(0.0, 900.0, 20.0)
    front = fronts(start_s, feed_mm, times)
    front = front + np.where(front > 0, np.random.default_rng(2).normal(0, 0.2, len(times)), 0)
    found, sd = find_start(front, times, 400.0)
    assert abs(found - start_s) < 4.0
    assert 0 < sd < 10


def test_nothing_wet_gives_the_first_frame_and_no_certainty():
    found, sd = find_start(np.zeros(10), np.arange(10.0), 100.0)
    assert found == 0.0
    assert sd > 2.0


def test_first_fronts_that_were_not_seen_put_the_start_in_doubt():
    times = np.arange(0.0, 900.0, 20.0)
    front = fronts(50.0, 0.0, times)
    hidden = np.where(times < 170.0, 0.0, front)  # the front stood under glare until then
    found, sd = find_start(hidden, times, 800.0)
    assert abs(found - 50.0) < 2.0 * sd
    assert sd > 40.0


@pytest.mark.parametrize("step_s", [20.0, 45.0, 90.0])
@pytest.mark.parametrize("standing_mm", [3.0, 9.0])
def test_what_stands_at_the_feed_before_the_front_runs_is_not_its_start(step_s, standing_mm):
    times = np.arange(0.0, 900.0, step_s)
    true_s = 2.6 * step_s
    front = fronts(true_s, 0.0, times)
    # A fitting over the feed, its rim a little farther out in each photo before the resin comes.
    front = np.maximum(front, standing_mm + 0.4 * np.arange(len(times)))
    found, sd = find_start(front, times, 400.0)
    assert abs(found - true_s) < min(2.0 * sd, 0.1 * step_s)
    kept, kept_sd = find_start(front, times, 400.0, settings=StartSettings(near_share=0.0))
    assert abs(kept - true_s) > 2.0 * kept_sd


def test_a_speck_in_the_last_photo_before_the_front_does_not_end_the_search():
    times = np.arange(0.0, 900.0, 90.0)
    front = fronts(107.0, 0.0, times, rate=110.0)
    front[1] = 2.2  # just above what counts, of 380 mm
    found, sd = find_start(front, times, 380.0)
    assert abs(found - 107.0) < 2.0 * sd
    assert times[1] < found < times[2]


def test_what_may_have_crept_is_in_doubt_from_its_first_front_on():
    times = np.arange(0.0, 900.0, 20.0)
    front = fronts(190.0, 0.0, times)
    crept = np.where((times >= 60.0) & (front < 8.0), 5.0 + 0.02 * (times - 60.0), front)
    _, sd = find_start(front, times, 800.0)
    found, crept_sd = find_start(crept, times, 800.0)
    # Uniform from the first front of any kind to the start: breadth / sqrt(12), by definition.
    assert crept_sd >= (found - 60.0) / np.sqrt(12) > sd


@pytest.mark.parametrize("start_s", [-200.0, -5.0])
def test_a_run_that_was_under_way_in_its_first_photo_keeps_its_fronts(start_s):
    times = np.arange(0.0, 900.0, 20.0)
    front = fronts(start_s, 0.0, times)
    found, sd = find_start(front, times, 400.0)
    assert abs(found - start_s) < 2.0 * sd
    with_all = find_start(front, times, 400.0, settings=StartSettings(near_share=0.0))
    assert (found, sd) == with_all
