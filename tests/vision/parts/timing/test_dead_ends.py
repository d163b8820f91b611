"""A front with a known law that ends at a wall, or closes round the last dry cloth."""

import numpy as np
from numpy.testing import assert_allclose

from vision.arrival.frame_strips import interpolate_arrival, measure_strips
from vision.parts.timing.dead_ends import time_dead_ends


def read(true_s, times_s, inside, way_px):
    """Arrival as photos at given times show it, between them interpolated; and put right."""
    wet_frame = np.searchsorted(times_s, true_s).astype(np.int16)
    offset = np.zeros(len(times_s))
    plain = interpolate_arrival(
        measure_strips(wet_frame, len(times_s)), times_s, 0.0, way_px, offset
    )
    return plain, time_dead_ends(plain, wet_frame, times_s, inside, inside, offset)


def plate(rows=60, cols=120):
    x = np.tile(np.arange(cols) + 0.5, (rows, 1))
    return x, np.ones((rows, cols), bool)


def test_front_goes_on_at_its_pace_to_a_wall_while_cloth_far_off_is_dry():
    x, inside = plate()
    true = x**2 / 36.0  # x^2 = 36 t (Washburn, Phys. Rev. 17, 273, 1921); wall at 400 s
    true[:8, :8] = 1e6  # dry to the end, far from the wall
    times = np.array([0.0, 50, 100, 200, 300, 600])
    plain, ends = read(true, times, inside, x)
    last = (true > 305) & (true < 1e5)
    off = np.abs(ends.arrival_s - true)[last]
    assert np.abs(plain - true)[last].max() > 50.0
    assert off.max() < 8.0
    assert (off < 3 * ends.doubt_s[last] + 3.0).all()


def test_nothing_changes_between_two_fronts():
    x, inside = plate()
    true = x**2 / 36.0
    times = np.arange(0.0, 420, 20)
    plain, ends = read(true, times, inside, x)
    between = (true < 380) & (x > 12)
    assert_allclose(ends.arrival_s[between], plain[between])
    assert (ends.doubt_s[between] == 0).all()


def test_last_dry_cloth_that_closes_has_wetted_by_the_photo_that_shows_it():
    y, x = np.indices((80, 80)) - 39.5
    radius = np.hypot(x, y)
    inside = radius < 39
    true = np.where(inside, (39 - radius) * 10.0, np.inf)
    times = np.array([0.0, 100, 200, 300, 500])
    _, ends = read(true, times, inside, 39 - radius)
    last = inside & (true > 310)
    assert np.abs(ends.arrival_s[last] - true[last]).max() < 30.0
    assert ends.arrival_s[last].max() <= 500.0


def test_where_no_pace_is_known_half_the_gap_is_taken_and_said():
    inside = np.ones((10, 12), bool)
    wet_frame = np.full((10, 12), 1, np.int16)
    wet_frame[:, 0] = 0
    times = np.array([0.0, 60.0])
    arrival = np.where(wet_frame == 0, 0.0, 50.0)
    ends = time_dead_ends(arrival, wet_frame, times, inside, inside, np.zeros(2))
    assert_allclose(ends.arrival_s[:, 1:], 30.0)
    assert_allclose(ends.doubt_s[:, 1:], 15.0)
