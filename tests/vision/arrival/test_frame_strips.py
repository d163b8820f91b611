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


def test_between_two_photos_the_square_of_the_way_grows_evenly():
    # x^2 = D t (Washburn, Phys. Rev. 17, 1921), photos so rare that a strip is half the way.
    rate, times = 9.0, np.array([0.0, 100.0, 400.0])
    truth = np.tile((np.arange(80) + 0.5) ** 2 / rate, (30, 1))
    change = np.searchsorted(times, truth).astype(np.int16)
    feed = np.tile(np.arange(80) + 0.5, (30, 1))
    found = interpolate_arrival(measure_strips(change, 3), times, 0.0, feed, np.zeros(3))
    wet = change < 3
    assert_allclose(np.sqrt(rate * found[wet]), np.sqrt(rate * truth[wet]), atol=0.6)


def test_a_speck_behind_the_front_does_not_hold_back_what_lies_around_it():
    times = np.arange(0.0, 101.0, 20.0)
    change = np.tile(1 + np.arange(40) // 8, (30, 1)).astype(np.int16)
    speck = change.copy()
    speck[14:16, 18:20] = 4  # two pixels of glare turn late, in a strip that wets at frame 3
    feed = np.tile(np.arange(40) + 0.5, (30, 1))
    plain, spotted = (
        interpolate_arrival(measure_strips(each, 6), times, 0.0, feed, np.zeros(6))
        for each in (change, speck)
    )
    around = (change == 3) & (speck == 3)
    assert_allclose(spotted[around], plain[around], atol=1e-3)


def test_offset_moves_the_front_ahead():
    # x^2 = D t: a front 0.4 px farther on comes to x when this one comes to x - 0.4.
    rate, times = 16.0, np.arange(11.0) ** 2  # four columns a frame
    change = np.tile(1 + np.arange(40) // 4, (10, 1)).astype(np.int16)
    cut, feed = measure_strips(change, len(times)), np.tile(np.arange(40) + 0.5, (10, 1))
    plain = interpolate_arrival(cut, times, 0.0, feed, np.zeros(len(times)))
    ahead = interpolate_arrival(cut, times, 0.0, feed, np.full(len(times), 0.4))
    inside = (change > 1) & (change < 10)
    earlier = (feed**2 - (feed - 0.4) ** 2) / rate
    assert_allclose((plain - ahead)[inside], earlier[inside], rtol=0.05)


def test_signed_distance_has_its_zero_between_the_pixels():
    wet = np.zeros((5, 10), bool)
    wet[:, :4] = True
    assert_allclose(signed_distance(wet)[2, 2:6], [-1.5, -0.5, 0.5, 1.5])
    assert np.isposinf(signed_distance(~wet & wet)).all()
