import numpy as np
from numpy.testing import assert_allclose

from vision.arrival.frame_strips import share_out_time, signed_distance, strips
from vision.repair.reachability import cut_off


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


def test_signed_distance_has_its_zero_between_the_pixels():
    wet = np.zeros((5, 10), bool)
    wet[:, :4] = True
    assert_allclose(signed_distance(wet)[2, 2:6], [-1.5, -0.5, 0.5, 1.5])
    assert np.isposinf(signed_distance(~wet & wet)).all()


def test_what_wets_in_the_last_frame_alone_needs_a_way_from_the_feed():
    change = np.tile(np.minimum(np.arange(40) // 3, 11), (20, 1)).astype(np.int16)
    change[:, 33:] = 12
    change[8:12, 36:39] = 11
    feed = np.zeros(change.shape, bool)
    feed[:, 0] = True
    apart = cut_off(change, np.ones(change.shape, bool), feed)
    assert apart[9, 37]
    assert not apart[:, :33].any()
