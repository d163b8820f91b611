from dataclasses import replace

import numpy as np
import pytest

from vision.front.front_sight import (
    FrontSight,
    alone_mm,
    edges,
    filled_sd_mm,
    front_sight,
    hole_half_breadth_px,
)
from vision.records import ArrivalMap


def arrival(seen):
    time_s = np.tile(np.arange(seen.shape[1], dtype=float), (seen.shape[0], 1))
    return ArrivalMap(time_s, seen, np.zeros_like(seen), 0.5, 99.0)


def test_a_front_in_a_hole_is_not_seen_and_doubted_by_the_breadth_of_the_hole():
    seen = np.ones((40, 80), bool)
    seen[10:21, 20:60] = False
    x_px = np.array([[10.0] * 40, [40.0] * 40])
    y_px = np.broadcast_to(np.arange(40) + 0.5, (2, 40))
    sight = front_sight(arrival(seen), x_px, y_px)
    assert sight.hidden_share == pytest.approx([0.0, 11 / 40])
    # A front that goes up and down by as much as its hole is broad: the breadth alone bounds it.
    wavy = np.tile(np.where(np.arange(40) % 2, 0.0, 90.0), (2, 1))
    blind_mm = filled_sd_mm(wavy, sight, np.zeros(2), around=False)
    assert blind_mm[0] == 0.0
    # A hole eleven pixels of half a millimetre across: 6 pixels from its middle to what was seen.
    # Two lanes on either side lie at its rim.
    across_mm, share = 2 * 6 * 0.5, (11 + 4) / 40
    # Triangular and uniform law over a breadth: breadth / sqrt(24) and / sqrt(12), by definition.
    assert blind_mm[1] == pytest.approx(across_mm / np.sqrt(24) * share)
    assert sight.at_worst_mm[1] == pytest.approx(across_mm / np.sqrt(12) * share)


def sight_of(seen, half_mm):
    count = np.zeros(len(seen))
    return FrontSight(seen, np.where(seen, 0.0, half_mm), count, count)


def test_holes_apart_err_each_for_themselves():
    fronts, still = np.full((1, 60), 100.0), np.zeros(1)
    fronts[0, 20] = 900.0  # what is hidden now may be as far off: the breadth alone bounds it
    seen = np.ones((1, 60), bool)
    seen[0, 5:16] = False
    one = filled_sd_mm(fronts, sight_of(seen, 6.0), still, around=False)
    assert one[0] == pytest.approx(2 / np.sqrt(24) * 6.0 * 11 / 60)
    seen[0, 35:46] = False
    two = filled_sd_mm(fronts, sight_of(seen, 6.0), still, around=False)
    assert two[0] == pytest.approx(np.sqrt(2) * one[0])


def test_what_was_hidden_for_a_frame_alone_is_somewhere_in_its_advance():
    seen = np.ones((1, 60), bool)
    seen[0, :11] = False  # at the panel's edge: nothing tells what the front does beyond
    sd = filled_sd_mm(np.full((1, 60), 100.0), sight_of(seen, 1.0), np.array([30.0]), around=False)
    # Triangular over twice the advance: advance / sqrt(6), by definition.
    assert sd[0] == pytest.approx(30.0 / np.sqrt(6) * 11 / 60)


@pytest.mark.parametrize("around", [False, True])
def test_a_hole_between_seen_lanes_is_as_far_off_as_such_fronts_are_elsewhere(around):
    # Fronts as random walks across the lanes, filled straight from rim to rim: how far the mean of
    # the hole is off, over many, beside what each run alone says of it.
    rng = np.random.default_rng(4)
    off, told = [], []
    seen = np.ones((8, 120), bool)
    seen[3, 50:70] = False
    for _ in range(300):
        shape = np.cumsum(rng.normal(0.0, 0.6, (8, 120)), axis=1)
        fronts = 100.0 + 10.0 * np.arange(8)[:, None] + shape
        true = fronts[3].mean()
        fronts[3, 50:70] = np.linspace(fronts[3, 49], fronts[3, 70], 22)[1:-1]
        fronts = np.vstack([fronts, fronts.max(axis=0) + 1.0])
        shown = np.vstack([seen, np.ones((1, 120), bool)])
        off.append(fronts[3].mean() - true)
        told.append(filled_sd_mm(fronts, sight_of(shown, 40.0), np.zeros(9), around)[3])
    assert np.sqrt(np.mean(np.square(off))) == pytest.approx(np.median(told), rel=0.25)
    assert np.median(told) < 0.3 * (2 / np.sqrt(24) * 40.0 * 20 / 120)


def test_a_hole_filled_otherwise_than_its_rims_say_is_doubted_by_that():
    fronts = np.vstack([np.full(120, 100.0), np.full(120, 110.0), np.full(120, 120.0)])
    seen = np.ones(fronts.shape, bool)
    seen[1, 50:70] = False
    fronts[1, 50:70] += 6.0
    sd = filled_sd_mm(fronts, sight_of(seen, 40.0), np.zeros(3), around=False)
    assert sd == pytest.approx([0.0, 6.0 * 20 / 120, 0.0])


def test_a_hole_over_the_last_direction_is_one_hole():
    fronts, still = np.full((1, 60), 100.0), np.zeros(1)
    seen = np.ones((1, 60), bool)
    seen[0, [57, 58, 59, 0, 1, 2]] = False
    wrapped = filled_sd_mm(fronts, sight_of(seen, 6.0), still, around=True)
    assert wrapped[0] == pytest.approx(2 / np.sqrt(24) * 6.0 * 6 / 60)
    split = filled_sd_mm(fronts, sight_of(seen, 6.0), still, around=False)
    assert split[0] == pytest.approx(wrapped[0] / np.sqrt(2))
    hidden = filled_sd_mm(fronts, sight_of(~np.ones((1, 60), bool), 6.0), still, around=True)
    assert hidden[0] == pytest.approx(2 / np.sqrt(24) * 6.0)


def test_a_pen_line_is_thin_though_a_large_hole_lies_far_away():
    seen = np.ones((60, 400), bool)
    seen[:, 20:22] = False
    seen[10:50, 300:340] = False
    half_px = hole_half_breadth_px(seen)
    assert half_px[:, 21].max() == pytest.approx(1.0)
    assert half_px[30, 320] == pytest.approx(20.0, abs=0.5)
    assert half_px[:, 100].max() == 0.0


def in_view(frames, lanes):
    nothing = np.zeros(frames)
    return FrontSight(np.ones((frames, lanes), bool), np.zeros((frames, lanes)), nothing, nothing)


def test_no_edge_is_told_where_a_hole_may_hide_it():
    fronts = np.tile(np.linspace(100, 110, 40), (2, 1))
    sight = replace(in_view(2, 40), broadest_mm=np.array([4.0, 30.0]))
    least, most = edges(fronts, 0.5, sight, around=False)
    assert np.isfinite(least).tolist() == np.isfinite(most).tolist() == [True, False]


def test_the_edges_are_those_of_what_is_as_wide_as_a_tow():
    fronts = np.full((1, 40), 100.0)
    fronts[0, 5] = 170.0  # a speck one lane of half a millimetre wide
    fronts[0, 20:26] = 112.0
    fronts[0, 30] = 40.0
    least, most = edges(fronts, 0.5, in_view(1, 40), around=False)
    assert (least[0], most[0]) == (100.0, 112.0)


def test_an_edge_that_one_frame_alone_shows_is_not_told():
    steady = 20.0 * np.arange(1, 6)[:, None] + np.where(np.arange(40) < 8, 15.0, 0.0)
    leaping = steady.copy()
    leaping[2, 20:28] += 40.0
    least, most = edges(leaping, 0.5, in_view(5, 40), around=False)
    assert least.tolist() == [20.0, 40.0, 60.0, 80.0, 100.0]
    # An edge that races ahead from frame to frame is told; the leap of one frame is not.
    np.testing.assert_array_equal(most, [35.0, 55.0, np.nan, 95.0, 115.0])


def test_an_edge_that_two_frames_show_far_behind_is_not_told():
    fronts = np.repeat(20.0 * np.arange(2, 9)[:, None], 40, axis=1)
    for lag_mm, told in ((6.0, True), (16.0, False)):
        held = fronts.copy()
        held[3:5, 20:28] -= lag_mm
        least, _ = edges(held, 0.5, in_view(7, 40), around=False)
        assert np.isfinite(least[[0, 1, 2, 5, 6]]).all()
        assert np.isfinite(least[3:5]).tolist() == [told, told]


def test_what_one_frame_alone_shows_of_the_shape_shifts_its_mean():
    steady = 20.0 * np.arange(1, 6)[:, None] + np.where(np.arange(40) < 8, 15.0, 0.0)
    assert alone_mm(steady).tolist() == [0.0] * 5
    leaping = steady.copy()
    leaping[2, 20:28] -= 10.0
    assert alone_mm(leaping) == pytest.approx([0.0, 0.0, 2.0, 0.0, 0.0])


def test_a_shape_that_changes_in_every_frame_is_no_frames_own():
    # Every photo shows another quarter of the lanes 8 mm ahead; one of them 40 mm.
    fronts = np.repeat(20.0 * np.arange(1, 10)[:, None], 40, axis=1)
    for k in range(9):
        fronts[k, 10 * (k % 4) : 10 * (k % 4) + 10] += 40.0 if k == 4 else 8.0
    alone = alone_mm(fronts)
    assert alone[4] == pytest.approx(np.sqrt(10.0**2 - 2.0**2))
    assert np.delete(alone, 4) == pytest.approx(np.zeros(8), abs=1e-6)


def test_no_edge_is_told_where_the_photo_does_not_show_the_front():
    fronts = np.full((3, 40), 100.0)
    borne_out = np.array([True, False, True])
    for edge in edges(fronts, 0.5, in_view(3, 40), around=False, borne_out=borne_out):
        np.testing.assert_array_equal(edge, [100.0, np.nan, 100.0])


def test_directions_close_round():
    radius = np.full((1, 36), 50.0)
    radius[0, [34, 35, 0, 1]] = 60.0
    assert edges(radius, 0.6, in_view(1, 36), around=True)[1][0] == 60.0
