import numpy as np
import pytest

from tests.made_up.canvases import SHAPE, square_root_front, stack_of, wetting_canvases
from vision.arrival.arrival_map import hidden_share, measure
from vision.repair.feed import Feed, FeedOnCanvas

COUNT, MM_PER_PX, START_S = 30, 1.5, 30.0
FEED = FeedOnCanvas(Feed(), SHAPE, MM_PER_PX)


@pytest.fixture(scope="module")
def run():
    wet_frame, arrival_s = square_root_front(start_s=START_S)
    return stack_of(wetting_canvases(wet_frame, COUNT)), arrival_s


def test_arrival_is_given_back_to_a_part_of_a_pixel(run):
    stack, arrival_s = run
    found = measure(stack, FEED, START_S)
    assert found.reason == ""
    wet = np.isfinite(found.arrival.time_s) & (arrival_s < stack.times_s[-1])
    assert wet.mean() > 0.95
    # In the root of time the front goes evenly: 7.7 px for each root of a second.
    place = np.sqrt(60.0 * found.arrival.time_s[wet])
    true = np.sqrt(60.0 * (arrival_s[wet] - START_S))
    assert np.sqrt(np.mean((place - true) ** 2)) < 0.7
    assert abs(np.mean(place - true)) < 0.4


def test_resin_start_is_found_where_it_is_not_told(run):
    stack, _ = run
    found = measure(stack, FEED, None)
    assert abs(found.start_s - START_S) < max(3 * found.start_sd_s, 6.0)


def test_what_the_user_left_out_is_filled(run):
    stack, _ = run
    looked_at = np.ones(SHAPE, bool)
    looked_at[20:40, 60:90] = False
    found = measure(stack, FEED, START_S, looked_at)
    assert not found.arrival.seen[20:40, 60:90].any()
    whole = measure(stack, FEED, START_S)
    difference = found.arrival.time_s - whole.arrival.time_s
    assert np.abs(difference[20:40, 60:90]).max() < 25.0


def test_a_run_without_wetting_gives_a_reason(run):
    dry = wetting_canvases(np.full(SHAPE, COUNT, np.int16), COUNT)
    assert "nothing changed" in measure(stack_of(dry), FEED, None).reason


def test_hidden_share_counts_what_was_filled_on_either_side_of_a_frame():
    wet_frame = np.array([[0, 0, 1, 1, 2, 2]])
    known = np.array([[True, True, True, False, False, False]])
    assert hidden_share(wet_frame, known, 3).tolist() == [0.25, 0.75, 1.0]
