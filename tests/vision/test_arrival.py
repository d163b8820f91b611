import numpy as np
from numpy.testing import assert_allclose

from vision.arrival import (
    cut_off,
    fill_along_flow,
    fill_change,
    fill_from_around,
    once_stopped,
    share_out_time,
    signed_distance,
    strips,
)


def test_hole_in_a_ramp_is_filled_as_the_ramp():
    ramp = np.tile(np.linspace(0, 10, 60), (40, 1))
    known = np.ones(ramp.shape, bool)
    known[15:25, 25:33] = False
    filled = fill_from_around(np.where(known, ramp, 99.0), known)
    assert_allclose(filled, ramp, atol=0.25)
    assert_allclose(filled[known], ramp[known], rtol=1e-6)


def test_nothing_known_fills_with_zeros():
    assert not fill_from_around(np.full((9, 9), 5.0), np.zeros((9, 9), bool)).any()


def test_arrival_of_an_even_front_is_given_back():
    # x^2 = D t (Washburn, Phys. Rev. 17, 1921) at frames 20 s apart, columns 1 px.
    rate, times = 4.0, np.arange(0.0, 401.0, 20.0)
    truth = np.tile((np.arange(38) + 0.5) ** 2 / rate, (30, 1))
    change = np.searchsorted(times, truth)
    cut = strips(change.astype(np.int16), len(times))
    feed = np.tile(np.arange(38) + 0.5, (30, 1))
    found = share_out_time(cut, times, 0.0, feed, np.zeros(len(times)))
    wet = np.isfinite(found)
    assert_allclose(np.sqrt(found[wet]), np.sqrt(truth[wet]), atol=0.8)
    # At the frames themselves the front is back to within a pixel.
    for k, time in enumerate(times[1:], start=1):
        assert abs(np.mean(found <= time) - np.mean(change <= k)) < 1e-9


def test_offset_moves_the_front_ahead():
    times = np.arange(0.0, 101.0, 10.0)
    change = np.tile(1 + np.arange(40) // 4, (10, 1)).astype(np.int16)
    cut, feed = strips(change, len(times)), np.tile(np.arange(40) + 0.5, (10, 1))
    plain = share_out_time(cut, times, 0.0, feed, np.zeros(len(times)))
    ahead = share_out_time(cut, times, 0.0, feed, np.full(len(times), 0.4))
    inside = (change > 1) & (change < 10)
    # The front moves 0.4 px a second: 0.4 px ahead is 1 s earlier.
    assert_allclose((plain - ahead)[inside], 1.0, atol=0.05)


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
    filled, known = fill_change(wrong, last_dry, first_wet, seen, blank, times)
    assert not known[blank].any()
    assert np.abs(filled - change)[blank].max() <= 1


def test_signed_distance_has_its_zero_between_the_pixels():
    wet = np.zeros((5, 10), bool)
    wet[:, :4] = True
    assert_allclose(signed_distance(wet)[2, 2:6], [-1.5, -0.5, 0.5, 1.5])
    assert np.isposinf(signed_distance(~wet & wet)).all()


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
    wetted = np.array([50, 50, 50, 50, 50, 0, 0, 0, 0, 0, 0, 400])
    mark = np.array([[3.0, 5.5, 8.9]])
    frame = np.array([[3, 5, 8]])
    assert once_stopped(frame, mark, marks, wetted).tolist() == [[3, 4, 11]]


def test_what_wets_in_the_last_frame_alone_needs_a_way_from_the_feed():
    change = np.tile(np.minimum(np.arange(40) // 3, 11), (20, 1)).astype(np.int16)
    change[:, 33:] = 12
    change[8:12, 36:39] = 11
    feed = np.zeros(change.shape, bool)
    feed[:, 0] = True
    apart = cut_off(change, np.ones(change.shape, bool), feed)
    assert apart[9, 37]
    assert not apart[:, :33].any()
