from dataclasses import replace

import numpy as np
import pytest

from vision.front.front_sight import FrontSight, alone_mm, edges, front_sight, hole_half_breadth_px
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
    assert sight.blind_mm[0] == 0.0
    # A hole eleven pixels of half a millimetre across: 6 pixels from its middle to what was seen.
    # Two lanes on either side lie at its rim.
    across_mm, share = 2 * 6 * 0.5, (11 + 4) / 40
    # Triangular and uniform law over a breadth: breadth / sqrt(24) and / sqrt(12), by definition.
    assert sight.blind_mm[1] == pytest.approx(across_mm / np.sqrt(24) * share)
    assert sight.at_worst_mm[1] == pytest.approx(across_mm / np.sqrt(12) * share)


def test_holes_apart_err_each_for_themselves():
    seen = np.ones((60, 80), bool)
    seen[5:16, 20:60] = False
    x_px = np.full((1, 60), 40.0)
    y_px = np.broadcast_to(np.arange(60) + 0.5, (1, 60))
    one = front_sight(arrival(seen), x_px, y_px)
    seen[35:46, 20:60] = False
    two = front_sight(arrival(seen), x_px, y_px)
    assert two.blind_mm[0] == pytest.approx(np.sqrt(2) * one.blind_mm[0])
    assert two.at_worst_mm[0] == pytest.approx(2 * one.at_worst_mm[0])
    # Eleven of sixty lanes in each hole.
    assert one.apart_share[0] == pytest.approx(11 / 60)
    assert two.apart_share[0] == pytest.approx(np.hypot(11 / 60, 11 / 60))
    assert two.hidden_share[0] == pytest.approx(22 / 60)


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
    return FrontSight(np.ones((frames, lanes), bool), nothing, nothing, nothing, nothing)


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


def test_no_edge_is_told_where_the_photo_does_not_show_the_front():
    fronts = np.full((3, 40), 100.0)
    borne_out = np.array([True, False, True])
    for edge in edges(fronts, 0.5, in_view(3, 40), around=False, borne_out=borne_out):
        np.testing.assert_array_equal(edge, [100.0, np.nan, 100.0])


def test_directions_close_round():
    radius = np.full((1, 36), 50.0)
    radius[0, [34, 35, 0, 1]] = 60.0
    assert edges(radius, 0.6, in_view(1, 36), around=True)[1][0] == 60.0
