"""Strokes and picture files."""

import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.made_up.drawn_panel import Tilted
from vision.drawing.strokes import ScaledPlane, dashes, encode_image, shrunk_jpeg, small_jpeg
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


def test_a_photo_is_made_small_and_a_small_one_kept():
    noise = np.random.default_rng(1).integers(0, 255, (900, 1600, 3)).astype(np.uint8)
    small = cv2.imdecode(np.frombuffer(small_jpeg(noise), np.uint8), cv2.IMREAD_COLOR)
    assert small.shape == (562, 1000, 3)
    again = cv2.imdecode(np.frombuffer(shrunk_jpeg(small_jpeg(small)), np.uint8), cv2.IMREAD_COLOR)
    assert again.shape == small.shape
    assert shrunk_jpeg(b"no picture") == b"no picture"
    assert shrunk_jpeg(b"") == b""
