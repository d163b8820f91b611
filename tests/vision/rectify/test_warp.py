import numpy as np
import pytest

from vision.rectify.rectifier import canvas_points_mm
from vision.rectify.warp import canvas_px
from vision.scale.plane_map import PlaneMap

STEEP = np.array([[1.9, -0.5, 330.0], [0.15, 1.2, 140.0], [1e-4, -6e-4, 1.0]])
CAMERA = np.array([[1600.0, 0, 959.5], [0, 1600.0, 539.5], [0, 0, 1]])


@pytest.mark.parametrize("k1", [0.0, -0.12])
def test_places_between_the_nodes_are_exact_enough(k1):
    lens = (CAMERA, np.array([k1, 0, 0, 0, 0])) if k1 else (None, None)
    plane = PlaneMap(STEEP, *lens, (1920, 1080), 420, 240, "sheet", 0.2, 0.001)
    shape, mm_per_px = (261, 457), 0.919
    exact = plane.to_px(canvas_points_mm(shape, mm_per_px)).reshape(*shape, 2)
    found = np.stack(canvas_px(plane, shape, mm_per_px), axis=2)
    assert np.abs(found - exact).max() < 0.02
