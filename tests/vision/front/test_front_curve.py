"""The front curve read from arrival maps that are known: x = sqrt(100 mm2/s t) on 200 x 60 mm."""

from dataclasses import replace

import numpy as np
import pytest

from vision.arrival.arrival_map import Measured
from vision.front.front_curve import TOO_WIDE, WIDEST, FrameTimes, blank_curve, read_curve
from vision.records import ArrivalMap, ScaleSummary
from vision.repair.feed import Feed

SCALE = ScaleSummary("corners", 1.0, 0.4, 0.001, 200.0, 60.0)
TIMES_S = np.arange(-30.0, 601.0, 30.0)


def measured(time_s, feed=Feed(), hidden=0.0, reason=""):
    seen = np.ones(time_s.shape, bool)
    seen[: round(hidden * len(seen))] = False
    return Measured(
        arrival=ArrivalMap(time_s, seen, np.zeros_like(seen), 1.0, float(TIMES_S[-1])),
        start_s=0.0,
        start_sd_s=1.0,
        edge_sd_mm=0.3,
        stack_s=TIMES_S,
        hidden_share=np.full(len(TIMES_S), hidden),
        reason=reason,
        feed=feed,
        row_doubts=("",) * len(TIMES_S),
        doubts=(),
    )


def frames(lost=()):
    count = len(TIMES_S)
    marked = np.isin(np.arange(count), lost)
    return FrameTimes(tuple(f"{k}.jpg" for k in range(count)), TIMES_S, ("",) * count, marked)


def straight(reach_mm=200.0):
    x_mm = np.arange(200) + 0.5
    return np.tile(np.where(x_mm <= reach_mm, x_mm**2 / 100.0, np.inf), (60, 1))


def test_a_straight_front_is_read_at_every_frame_and_used_until_it_reaches_the_end():
    curve, front = read_curve(measured(straight()), frames(), SCALE)
    truth = np.sqrt(100.0 * TIMES_S.clip(0)).clip(max=200.0)
    assert np.abs(curve.front_mean_mm - truth).max() < 0.3
    assert np.allclose(curve.front_min_mm, curve.front_max_mm)
    assert curve.used.tolist() == [0 < t < 400 for t in TIMES_S]
    assert curve.notes[0] == "before resin start"
    assert curve.notes[-1] == "front reached the end"
    assert front.filled
    assert front.stalled_at_mm is None
    assert front.frames_used == 13
    assert np.isnan(curve.semi_major_mm).all()


def test_the_uncertainty_joins_edge_and_scale_and_grows_with_what_is_hidden():
    seen, _ = read_curve(measured(straight()), frames(), SCALE)
    assert seen.front_sd_mm[5] == pytest.approx(np.hypot(0.3, 0.2))
    hidden, _ = read_curve(measured(straight(), hidden=0.15), frames(), SCALE)
    assert hidden.front_sd_mm[5] > 2 * seen.front_sd_mm[5]
    assert hidden.used[5]
    # Less than half of it, but in one broad hole: nobody knows where in it the front stands.
    wide, _ = read_curve(measured(straight(), hidden=0.4), frames(), SCALE)
    assert wide.front_sd_mm[5] > WIDEST * 200.0
    assert wide.notes[5] == TOO_WIDE
    mostly, _ = read_curve(measured(straight(), hidden=0.6), frames(), SCALE)
    assert mostly.notes[5] == "front mostly hidden"
    assert not mostly.used.any()


def test_what_was_hidden_for_a_frame_is_off_by_less_than_a_front_nobody_saw():
    # Thin stripes along the panel's edges, where nothing tells what the front does beyond: narrow
    # holes, each for itself, under a front that moves fast.
    stripes = replace(measured(straight()), row_doubts=("",) * len(TIMES_S))
    seen = stripes.arrival.seen.copy()
    seen[:2] = seen[-2:] = False
    stripes = replace(stripes, arrival=replace(stripes.arrival, seen=seen))
    curve, _ = read_curve(stripes, frames(), SCALE)
    advance_mm = (curve.front_mean_mm[4] - curve.front_mean_mm[2]) / 2
    # Triangular over the advance to either side; two holes of two lanes in sixty.
    likely = np.sqrt(2) * 2 / 60 * advance_mm / np.sqrt(6)
    assert likely > 0.1
    assert curve.front_sd_mm[3] == pytest.approx(np.linalg.norm([0.3, 0.2, likely]), rel=1e-3)


def test_a_stalled_front_is_used_until_it_stands():
    curve, front = read_curve(measured(straight(reach_mm=120.0)), frames(), SCALE)
    assert front.stalled_at_mm == pytest.approx(120.0)
    assert front.stalled_at_s == 150.0
    assert not front.filled
    assert curve.notes[-1] == "front stalled"
    assert "the front stalled at 120 mm, 2.5 min after start" in front.warnings


def test_a_front_that_seems_to_stand_because_nobody_saw_it_has_not_stalled():
    gone = np.flatnonzero(TIMES_S > 150)
    curve, front = read_curve(measured(straight(reach_mm=120.0)), frames(lost=gone), SCALE)
    assert front.stalled_at_mm is None
    assert curve.notes[-1] == "panel not found in this frame"
    assert not curve.used[gone].any()
    hidden = measured(straight(reach_mm=120.0))
    hidden.arrival.seen[:, 118:] = False
    _, front = read_curve(hidden, frames(), SCALE)
    assert front.stalled_at_mm is None
    once = gone[::2]
    _, front = read_curve(measured(straight(reach_mm=120.0)), frames(lost=once), SCALE)
    assert front.stalled_at_mm == pytest.approx(120.0)


def test_a_frame_without_the_panel_is_not_used():
    curve, front = read_curve(measured(straight()), frames(lost=(4,)), SCALE)
    assert curve.notes[4] == "panel not found in this frame"
    assert not curve.used[4]
    assert "the panel could not be found in 1 picture" in front.warnings


def test_a_frame_without_the_panel_is_off_by_what_the_front_may_have_moved():
    curve, _ = read_curve(measured(straight()), frames(lost=(4,)), SCALE)
    moved_mm = (curve.front_mean_mm[5] - curve.front_mean_mm[3]) / 2
    assert curve.front_sd_mm[4] > moved_mm / np.sqrt(3) > 2 * curve.front_sd_mm[3]
    assert np.isnan(curve.front_min_mm[4])
    assert np.isnan(curve.front_max_mm[4])


def test_lanes_left_out_do_not_count():
    time_s = straight()
    time_s[:20] *= 4.0
    lanes = np.arange(60) >= 20
    curve, front = read_curve(measured(time_s), frames(), SCALE, lanes)
    assert np.allclose(curve.front_min_mm, curve.front_max_mm)
    assert front.clean_lanes_mm == ((20.0, 60.0),)


def test_a_round_front_from_a_point():
    y_mm, x_mm = np.indices((60, 200)) + 0.5
    time_s = np.hypot(x_mm - 100.0, y_mm - 30.0) ** 2 / 2.0
    feed = Feed(point_mm=(100.0, 30.0), radius_mm=2.0, is_point=True)
    curve, front = read_curve(measured(time_s, feed), frames(), SCALE)
    assert curve.flow == "point"
    inside = curve.used
    truth = np.sqrt(2.0 * TIMES_S[inside])
    assert inside.sum() >= 10
    assert np.abs(curve.front_clean_mm[inside] - truth).max() < 0.3
    assert np.abs(curve.semi_major_mm[inside] - curve.semi_minor_mm[inside]).max() < 0.5
    assert front.dry_spots == ()


def test_a_run_that_cannot_be_measured_has_no_numbers():
    curve, front = blank_curve("edge", ["a", "b"], np.array([0.0, 9.0]), "lens covered")
    assert np.isnan(curve.front_mean_mm).all()
    assert curve.notes == ("front not measured",) * 2
    assert (front.usable, front.reason, front.frames_used) == (False, "lens covered", 0)
    _, unread = read_curve(replace(measured(straight()), reason="no light"), frames(), SCALE)
    assert (unread.usable, unread.reason) == (False, "no light")


def test_rows_and_runs_that_photos_do_not_bear_out_are_told():
    doubtful = [""] * len(TIMES_S)
    doubtful[8] = "this photo shows something else"
    run = replace(measured(straight()), row_doubts=tuple(doubtful), doubts=("odd light",))
    curve, front = read_curve(run, frames(), SCALE)
    assert not curve.used[8]
    assert curve.used[7]
    assert curve.notes[8] == "this photo shows something else"
    assert front.doubts == ("odd light",)


def test_a_racing_edge_at_the_end_leaves_the_lanes_behind_it_as_sure_as_before():
    lead = 1.0 + 0.8 * np.exp(-np.arange(60) / 4.0)
    run = measured(straight() / lead[:, None] ** 2)
    curve, front = read_curve(run, frames(), SCALE)
    raced = curve.used & (curve.front_max_mm >= 0.995 * run.arrival.length_mm)
    assert front.race_tracking_mm > 6.0
    assert np.count_nonzero(raced) >= 2
    assert curve.front_sd_mm[raced] == pytest.approx(np.hypot(0.3, 0.2), rel=0.2)
