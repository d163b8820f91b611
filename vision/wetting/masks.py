"""Rims, bounds and sizes that the masks of what is hidden share."""

from __future__ import annotations

import cv2
import numpy as np

from vision.records import BoolArray, FloatArray

STRANGE = 1.6
"""Wetness this far beyond the dry or the wet level is something else: skin, ink, a tool."""


INK_RIM = np.ones((5, 5), np.uint8)
"""The blurred rim of ink looks wet: it does not vote either."""


GLARE_RIM = np.ones((3, 3), np.uint8)


JOIN = np.ones((9, 9), np.uint8)
"""Hidden patches this near each other, at a quarter of the resolution, are one."""


CELL_RIM = np.ones((3, 3), np.uint8)
"""What is hidden reaches a cell farther than the cells that tell it by their colour."""


def strange_bounds(share: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give the wetness below and above which a pixel shows something else than fabric.

    Parameters
    ----------
    share : ndarray of shape (M, N), float
        Each pixel's own step from dry to wet (`wetting.WetLook.share`).
    """
    far = STRANGE * np.maximum(share, 0.5)
    return -far, share + far


def at_size(mask: BoolArray, shape: tuple[int, ...]) -> BoolArray:
    """Bring a mask to another resolution, of rows and columns `shape`."""
    return cv2.resize(mask.astype(np.uint8), shape[::-1], interpolation=cv2.INTER_NEAREST) > 0


def whole_patches(cells: BoolArray) -> BoolArray:
    """Fill in and widen what stands before the panel, as seen on the coarse cells."""
    closed = cv2.morphologyEx(cells.astype(np.uint8), cv2.MORPH_CLOSE, CELL_RIM)
    return cv2.dilate(closed, CELL_RIM) > 0
