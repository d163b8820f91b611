import numpy as np
from numpy.testing import assert_allclose

from vision.arrival import fill_change, fill_from_around, share_out_time, signed_distance, strips


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
