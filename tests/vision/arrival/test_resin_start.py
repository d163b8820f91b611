import numpy as np
import pytest

from vision.arrival.resin_start import find_start


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
