import numpy as np
import pytest
from numpy.testing import assert_allclose
from skimage.measure import EllipseModel

from vision.arrival.rays import centred_ellipse, find_feed_point, read_rays

ANGLE = np.deg2rad(np.arange(360))


def radii(major, minor, angle_deg):
    turn = ANGLE - np.deg2rad(angle_deg)
    return 1 / np.sqrt((np.cos(turn) / major) ** 2 + (np.sin(turn) / minor) ** 2)


@pytest.mark.parametrize("angle_deg", [-35.0, 0.0, 70.0])
def test_axes_and_angle_are_given_back(angle_deg):
    noise = np.random.default_rng(1).normal(0, 0.5, 360)
    major, minor, angle = centred_ellipse(radii(90, 60, angle_deg) + noise, np.ones(360, bool))
    assert_allclose([major, minor], [90, 60], rtol=0.01)
    assert abs((angle - angle_deg + 90) % 180 - 90) < 1.0


def test_ellipse_agrees_with_another_library():
    # Independent reference: scikit-image's direct ellipse fit (free centre).
    r = radii(80, 50, 25) + np.random.default_rng(2).normal(0, 0.3, 360)
    points = np.stack([r * np.cos(ANGLE), r * np.sin(ANGLE)], axis=1)
    model = EllipseModel.from_estimate(points)
    major, minor, _ = centred_ellipse(r, np.ones(360, bool))
    assert_allclose([major, minor], sorted(model.axis_lengths, reverse=True), rtol=0.01)


def test_a_quarter_of_the_directions_cut_off_changes_little():
    inside = np.ones(360, bool)
    inside[80:170] = False
    cut = np.where(inside, radii(90, 60, 20), 55.0)
    assert_allclose(centred_ellipse(cut, inside)[:2], [90, 60], rtol=0.01)


def test_too_few_directions_give_no_ellipse():
    assert np.isnan(centred_ellipse(np.ones(360), np.zeros(360, bool))).all()


def spreading(rows=120, cols=150, feed=(60.0, 70.0)):
    y, x = np.indices((rows, cols)) + 0.5
    return ((x - feed[0]) ** 2 + (1.5 * (y - feed[1])) ** 2) / 10.0


def test_rays_read_the_radius_and_stop_at_the_edge():
    rays = read_rays(spreading(), np.array([40.0, 1e6]), (60.0, 70.0))
    assert_allclose(rays.radius_px[0, [0, 90, 180]], [20, 20 / 1.5, 20], atol=0.4)
    assert_allclose(rays.radius_px[1], rays.limit_px, atol=1.0)
    assert rays.inside[0].all()
    assert not rays.inside[1].any()


def test_feed_point_is_found():
    arrival = spreading()
    found = find_feed_point(arrival, np.ones(arrival.shape, bool))
    assert_allclose(found, (60.0, 70.0), atol=1.5)
