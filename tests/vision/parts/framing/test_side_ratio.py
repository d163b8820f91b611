"""Length over width of tapped points: told by the lens, or said not to be."""

import numpy as np
import pytest

from tests.vision.parts.test_height import FOCAL_PX, SIZE, camera
from vision.parts.framing.side_ratio import find_side_ratio
from vision.scale.plane_map import apply_homography

MM = np.array([[0.0, 200], [250, 0], [1600, 0], [1600, 900], [900, 900], [0, 600]])
FOCAL_35MM = FOCAL_PX / np.hypot(*SIZE) * 43.27  # diagonal of 36 x 24 mm film


def tapped(tilt_deg, points=MM, seed=3):
    plane, _ = camera(tilt_deg)
    shake = np.random.default_rng(seed).normal(0, 0.4, points.shape)
    return apply_homography(plane.homography, points) + shake


@pytest.mark.parametrize("tilt_deg", [0, 15, 30])
@pytest.mark.parametrize("factor", [1.0, 1.1, 0.8])
def test_a_plan_that_is_too_wide_is_found_where_the_focal_length_is_told(tilt_deg, factor):
    ratio = find_side_ratio(MM * [1.0, factor], tapped(tilt_deg), SIZE, FOCAL_35MM)
    assert ratio.off == pytest.approx(np.log(factor), abs=3 * ratio.sd)
    assert ratio.contradicts == (factor != 1.0)
    assert not ratio.untold


def test_a_tilted_photo_without_a_focal_length_does_not_tell_it():
    for factor in (1.0, 1.1):
        ratio = find_side_ratio(MM * [1.0, factor], tapped(25), SIZE, None)
        assert ratio.untold
        assert not ratio.contradicts


def test_a_photo_from_straight_above_tells_it_by_itself():
    assert find_side_ratio(MM * [1.0, 1.1], tapped(0), SIZE, None).contradicts
    assert not find_side_ratio(MM, tapped(0), SIZE, None).contradicts


def test_four_points_fit_a_wrong_plan_exactly_and_are_still_found_out():
    four = MM[[0, 2, 3, 5]]
    ratio = find_side_ratio(four * [1.0, 1.15], tapped(20, four), SIZE, FOCAL_35MM)
    assert ratio.contradicts
    assert ratio.off == pytest.approx(np.log(1.15), abs=0.03)


def test_stated_uncertainty_holds_over_many_taps():
    errors = [find_side_ratio(MM, tapped(30, MM, seed), SIZE, FOCAL_35MM) for seed in range(40)]
    assert 0.1 < np.std([e.off / e.sd for e in errors]) < 1.3
