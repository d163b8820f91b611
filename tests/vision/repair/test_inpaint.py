import numpy as np
from numpy.testing import assert_allclose

from vision.repair.feed import Feed, FeedOnCanvas
from vision.repair.inpaint import (
    Course,
    Sighting,
    fill_along_flow,
    fill_from_around,
    fill_wet_frame,
    last_moved,
    once_stopped,
    stop_in_lanes,
)
from vision.settings.repair_settings import RepairSettings

REPAIR = RepairSettings()


def test_hole_in_a_ramp_is_filled_as_the_ramp():
    ramp = np.tile(np.linspace(0, 10, 60), (40, 1))
    known = np.ones(ramp.shape, bool)
    known[15:25, 25:33] = False
    filled = fill_from_around(np.where(known, ramp, 99.0), known)
    assert_allclose(filled, ramp, atol=0.25)
    assert_allclose(filled[known], ramp[known], rtol=1e-6)


def test_nothing_known_fills_with_zeros():
    assert not fill_from_around(np.full((9, 9), 5.0), np.zeros((9, 9), bool)).any()


def test_hidden_pixels_are_filled_within_what_is_possible():
    times = np.arange(12.0) * 10
    change = np.tile(np.minimum(1 + np.arange(24) // 2, 12), (12, 1)).astype(np.int16)
    last_dry, first_wet = change - 1, change.copy()
    blank = np.zeros(change.shape, bool)
    blank[4:8, 8:14] = True
    wrong = change.copy()
    wrong[blank] = 5
    last_dry[blank], first_wet[blank] = 4, 8
    seen = np.ones(change.shape, bool)
    course = Course(times, FeedOnCanvas(Feed(is_point=True), change.shape, 1.0))
    sighting = Sighting(wrong, last_dry, first_wet, seen, blank)
    filled, known = fill_wet_frame(sighting, course, REPAIR)
    assert not known[blank].any()
    assert np.abs(filled - change)[blank].max() <= 1


def test_a_hole_is_filled_lane_by_lane_along_the_flow():
    # A front that leads and lags over the width, as it does on either side of the hole.
    lane = 1 + 0.2 * np.sin(np.arange(60) / 60 * 4 * np.pi)
    pace = np.tile(lane[:, None], (1, 90))
    known = np.ones(pace.shape, bool)
    known[:, 30:60] = False
    held = np.where(known, pace, 0.0)
    along = np.abs(fill_along_flow(held, known, 4) - pace).max()
    around = np.abs(fill_from_around(held, known) - pace).max()
    assert along < 0.1
    assert along < around / 2


def test_nothing_wets_under_a_hole_once_the_front_has_stopped():
    marks = np.arange(12.0)
    mark = np.array([[3.0, 5.5, 8.9]])
    frame = np.array([[3, 5, 8]])
    last = last_moved(np.array([50, 50, 50, 50, 50, 0, 0, 0, 0, 0, 0, 400]), REPAIR.still)
    assert last == 4
    assert once_stopped(frame, mark, marks, last).tolist() == [[3, 4, 11]]


def test_what_was_seen_dry_until_the_front_had_stopped_stays_dry():
    # A line of ink hides the fabric beside the front from when it stood there.
    times, count = np.arange(20.0) * 10, 20
    change = np.full((12, 40), count, np.int16)
    change[:, :20] = 1 + np.arange(20) // 3
    last_dry = np.where(change < count, change - 1, count - 1)
    first_wet = change.copy()
    ink = np.zeros(change.shape, bool)
    ink[:, 20:24] = True
    last_dry[ink], first_wet[ink] = 8, count
    guess = np.where(ink, 9, change).astype(np.int16)
    course = Course(times, FeedOnCanvas(Feed(), change.shape, 1.0))
    filled, known = fill_wet_frame(
        Sighting(guess, last_dry, first_wet, np.ones(ink.shape, bool), ink), course, REPAIR
    )
    assert not known[ink].any()
    assert (filled[ink] == count).all()


def test_a_front_stands_behind_a_cup_where_it_stands_beside_it():
    count, last = 20, 9
    change = np.full((60, 80), count, np.int16)
    change[:, :30] = np.minimum(np.arange(30) // 3, last)
    known = np.ones(change.shape, bool)
    known[20:40, 22:70] = False
    guess = change.copy()
    guess[20:40, 22:55] = last
    stopped = stop_in_lanes(guess, change, known, last=last, count=count, wide_gap=2.0)
    assert (stopped[20:40, 22:30] < count).all()
    assert (stopped[20:40, 30:70] == count).all()
    assert (stopped[known] == change[known]).all()
    # A hole as long in every lane says nothing of the others.
    everywhere = np.broadcast_to(known[30], known.shape)
    same = stop_in_lanes(guess, change, everywhere, last=last, count=count, wide_gap=2.0)
    assert same is guess
