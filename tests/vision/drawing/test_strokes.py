"""Strokes and picture files."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.made_up.drawn_panel import Tilted
from vision.drawing.strokes import ScaledPlane, dashes, encode_image
from vision.errors import WetlineError


def test_only_picture_formats_are_written():
    with pytest.raises(WetlineError, match=r"cannot end in '.txt': use .png or .jpg"):
        encode_image(np.zeros((4, 4, 3), np.uint8), ".txt")


def test_resizing_a_photo_keeps_pixel_centres():
    whole, half = Tilted(), ScaledPlane(Tilted(), 0.5)
    point = np.array([[120.0, 60.0]])
    assert_allclose(half.to_px(point), (whole.to_px(point) + 0.5) / 2 - 0.5)
    assert_allclose(half.to_mm(half.to_px(point)), point)


def test_a_filled_in_stretch_is_dashed():
    points = np.column_stack([np.arange(101.0), np.zeros(101)])
    solid = points[:, 0] < 50
    strokes = dashes(points, solid, 10.0)
    inked = sum(np.ptp(part[:, 0]) for part in strokes)
    assert len(strokes) == 3
    assert 60 < inked < 85
