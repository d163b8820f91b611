"""A surface above the plane of the scale, against a camera that is known."""

from types import SimpleNamespace

import numpy as np
import pytest

from vision.errors import WetlineError
from vision.part_records import PartShape
from vision.parts.height import allow_height, find_focal
from vision.scale.plane_map import apply_homography

SIZE = (1200, 900)
FOCAL_PX = 900.0
OUTLINE = np.array([[0.0, 0], [1600, 0], [1600, 900], [0, 900]])


def camera(tilt_deg):
    """A camera 2 m from the middle of the part: plane map, and where a point in space is seen."""
    t = np.radians(tilt_deg)
    # Part coordinates x right, y down, z away from the camera; tilted about x.
    turn = np.array([[1, 0, 0], [0, np.cos(t), -np.sin(t)], [0, np.sin(t), np.cos(t)]])
    lens = np.array([[FOCAL_PX, 0, (SIZE[0] - 1) / 2], [0, FOCAL_PX, (SIZE[1] - 1) / 2], [0, 0, 1]])
    move = np.array([0, 0, 2000.0]) - turn @ np.array([800.0, 450.0, 0])
    matrix = lens @ np.column_stack([turn[:, 0], turn[:, 1], move])

    def seen(x, y, up):
        point = lens @ (turn @ np.array([x, y, -up]) + move)
        return point[:2] / point[2]

    return SimpleNamespace(homography=matrix / matrix[2, 2], image_size=SIZE), seen


def part(height, varies=0.0):
    return PartShape("hood", OUTLINE, (), (), "down", height, varies)


@pytest.mark.parametrize("tilt", [0, 20, -35])
def test_points_on_the_raised_surface_land_where_the_camera_sees_them(tilt):
    plane, seen = camera(tilt)
    focal_35 = FOCAL_PX / np.hypot(*SIZE) * 43.27
    found = allow_height(plane, part(40.0), "hood/part.toml", focal_35)
    for x, y in ((0, 0), (1600, 900), (300, 700)):
        px = apply_homography(found.homography, np.array([[x, y]], float))[0]
        assert px == pytest.approx(seen(x, y, 40.0), abs=0.05)


def test_shift_from_straight_above_is_height_over_distance():
    plane, _ = camera(0)
    focal_35 = FOCAL_PX / np.hypot(*SIZE) * 43.27
    found = allow_height(plane, part(40.0), "hood/part.toml", focal_35)
    # Similar triangles: r h / (Z - h), at the far corner.
    assert found.shift_mm == pytest.approx(np.hypot(800, 450) * 40 / 1960, rel=1e-3)
    assert "40 mm above" in found.notes[0]


def test_focal_length_from_perspective_where_nobody_tells_it():
    plane, _ = camera(35)
    focal, share = find_focal(plane, None)
    assert abs(np.log(focal / FOCAL_PX)) < 2 * share
    assert share < 0.1


def test_height_that_varies_too_much_is_refused_with_the_mend():
    plane, _ = camera(0)
    with pytest.raises(WetlineError, match=r"varies_mm = 80: .* lay the cards at the height"):
        allow_height(plane, part(100.0, 80.0), "hood/part.toml", 26.0)


def test_flat_part_stays_as_it_is():
    plane, _ = camera(10)
    assert allow_height(plane, part(0.0), "x").homography is plane.homography
