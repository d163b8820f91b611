"""Cloth too bright for the camera shows no change."""

import numpy as np

from vision.parts.timing.blown import find_blown
from vision.wetting.canvas_series import CanvasStack


def test_only_what_is_blown_out_on_both_sides_of_its_change_is_found():
    stack = CanvasStack((16, 16), np.zeros((0, 2)))
    wet_frame = np.full((16, 16), 3)
    wet_frame[:, 8:] = 6
    for k in range(6):
        canvas = np.full((16, 16, 3), 120, np.uint8)
        canvas[:4] = 255
        canvas[4:8] = 255 if k < 3 else 120
        canvas[8:12, :, :2] = 255
        stack.add(float(k), canvas, np.zeros((0, 3)))
    blown = find_blown(stack, wet_frame)
    assert blown[:4].all()
    # One that came out of the white as it wetted did show it; one that stayed dry did not.
    assert not blown[4:8].any()
    assert not blown[8:].any()
