"""The one rule for a front that stops short, on fronts that run as x = sqrt(120 mm2/s t)."""

import numpy as np
import pytest

from vision.front.stall import find_stall

TIME_S = np.arange(0.0, 620.0, 20.0)
MOVING_MM = np.sqrt(120.0 * TIME_S)


def test_a_steady_front_does_not_stall_at_any_frame():
    for count in range(1, len(TIME_S) + 1):
        assert find_stall(TIME_S[:count], MOVING_MM[:count], 300.0) is None


def test_a_stop_is_found_with_its_place_and_time():
    stall = find_stall(TIME_S, MOVING_MM.clip(max=200.0), 300.0)
    assert stall.front_mm == 200.0
    assert stall.since_s == pytest.approx(200.0**2 / 120.0, abs=20.0)
    assert stall.warning == "the front stalled at 200 mm, 5.7 min after start"


def test_a_front_at_the_end_has_arrived():
    assert find_stall(TIME_S, MOVING_MM.clip(max=295.0), 300.0) is None


def test_a_front_slowed_to_a_fifth_is_no_stall_and_to_a_twentieth_is_one():
    early = MOVING_MM[TIME_S <= 240]

    def slowed(share):
        after = 120.0 * 240.0 + share * 120.0 * (TIME_S[TIME_S > 240] - 240.0)
        return np.concatenate([early, np.sqrt(after)])

    assert find_stall(TIME_S, slowed(0.2), 300.0) is None
    assert find_stall(TIME_S, slowed(0.05), 300.0) is not None


@pytest.mark.parametrize(("until_s", "found"), [(380.0, False), (400.0, True), (480.0, True)])
def test_a_stop_is_told_as_soon_as_four_frames_show_it(until_s, found):
    seen = until_s >= TIME_S  # the front is at 200 mm from 340 s on
    stall = find_stall(TIME_S[seen], MOVING_MM.clip(max=200.0)[seen], 300.0)
    assert (stall is not None) == found


def test_what_failed_to_come_must_exceed_the_uncertainty():
    front = MOVING_MM.clip(max=200.0)
    assert find_stall(TIME_S, front, 300.0, sd_mm=2.0) is not None
    assert find_stall(TIME_S, front, 300.0, sd_mm=40.0) is None


def test_noise_on_a_steady_front_makes_no_stall():
    rng = np.random.default_rng(3)
    for _ in range(200):
        noisy = MOVING_MM + rng.normal(0.0, 1.0, len(TIME_S))
        assert find_stall(TIME_S, noisy, 300.0, sd_mm=1.0) is None


def test_frames_that_are_not_read_are_left_out():
    front = MOVING_MM.clip(max=200.0)
    front[[5, 25]] = np.nan
    assert find_stall(TIME_S, front, 300.0).front_mm == 200.0
