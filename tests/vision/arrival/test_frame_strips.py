import numpy as np
from numpy.testing import assert_allclose

from vision.arrival.frame_strips import interpolate_arrival, measure_strips, signed_distance


def test_arrival_of_an_even_front_is_given_back():
    # x^2 = D t (Washburn, Phys. Rev. 17, 1921) at frames 20 s apart, columns 1 px.
    rate, times = 4.0, np.arange(0.0, 401.0, 20.0)
    truth = np.tile((np.arange(38) + 0.5) ** 2 / rate, (30, 1))
    change = np.searchsorted(times, truth)
    cut = measure_strips(change.astype(np.int16), len(times))
    feed = np.tile(np.arange(38) + 0.5, (30, 1))
    found = interpolate_arrival(cut, times, 0.0, feed, np.zeros(len(times)))
    wet = np.isfinite(found)
    assert_allclose(np.sqrt(found[wet]), np.sqrt(truth[wet]), atol=0.8)
    # At the frames themselves the front is back to within a pixel.
    for k, time in enumerate(times[1:], start=1):
        assert abs(np.mean(found <= time) - np.mean(change <= k)) < 1e-9


def test_offset_moves_the_front_ahead():
    times = np.arange(0.0, 101.0, 10.0)
    change = np.tile(1 + np.arange(40) // 4, (10, 1)).astype(np.int16)
    cut, feed = measure_strips(change, len(times)), np.tile(np.arange(40) + 0.5, (10, 1))
    plain = interpolate_arrival(cut, times, 0.0, feed, np.zeros(len(times)))
    ahead = interpolate_arrival(cut, times, 0.0, feed, np.full(len(times), 0.4))
    inside = (change > 1) & (change < 10)
    # The front moves 0.4 px a second: 0.4 px ahead is 1 s earlier.
    assert_allclose((plain - ahead)[inside], 1.0, atol=0.05)


def test_signed_distance_has_its_zero_between_the_pixels():
    wet = np.zeros((5, 10), bool)
    wet[:, :4] = True
    assert_allclose(signed_distance(wet)[2, 2:6], [-1.5, -0.5, 0.5, 1.5])
    assert np.isposinf(signed_distance(~wet & wet)).all()
