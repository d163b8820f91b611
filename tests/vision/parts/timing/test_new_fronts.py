"""A feed that opened between two photos, ahead of the front of another."""

import numpy as np
from numpy.testing import assert_array_equal

from vision.arrival.frame_strips import interpolate_arrival, measure_strips
from vision.parts.timing.dead_ends import time_dead_ends
from vision.parts.timing.new_fronts import time_new_fronts


def two_feeds(opens_s):
    """x^2 = 25 t from the left, and from a line at column 100 once it opens; photos 40 s apart."""
    x = np.tile(np.arange(160) + 0.5, (50, 1))
    left = x**2 / 25.0
    middle = opens_s + (x - 100) ** 2 / 25.0
    true = np.minimum(left, middle)
    times = np.arange(0.0, 500, 40)
    wet_frame = np.searchsorted(times, true).astype(np.int16)
    inside, offset = np.ones(x.shape, bool), np.zeros(len(times))
    plain = interpolate_arrival(measure_strips(wet_frame, len(times)), times, 0.0, x, offset)
    ends = time_dead_ends(plain, wet_frame, times, inside, inside, offset)
    feeds = (np.abs(x - 100) < 2) | (x < 2)
    return true, ends, time_new_fronts(ends, wet_frame, times, inside, feeds), wet_frame


def test_resin_from_a_feed_that_opened_unseen_is_right_within_its_doubt():
    for opens_s in (101.0, 118.0, 104.0):
        true, _, found, wet_frame = two_feeds(opens_s)
        new = (wet_frame == 3) & (true >= opens_s) & (np.abs(np.arange(160) - 99.5) < 40)
        off = np.abs(found.arrival_s - true)[new]
        assert off.max() < 21.0
        assert (off < 3 * found.doubt_s[new] + 4.0).all()


def test_what_spreads_from_resin_that_was_there_is_left():
    _, ends, found, wet_frame = two_feeds(118.0)
    other = wet_frame != 3
    assert_array_equal(found.arrival_s[other], ends.arrival_s[other])
    assert_array_equal(found.doubt_s[other], ends.doubt_s[other])
