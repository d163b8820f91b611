"""Sizes and patches that the masks of what is hidden share."""

from __future__ import annotations

import cv2
import numpy as np

from vision.records import BoolArray

CELL_RIM = np.ones((3, 3), np.uint8)
"""What is hidden reaches a cell farther than the cells that tell it by their colour."""


def at_size(mask: BoolArray, shape: tuple[int, ...]) -> BoolArray:
    """Return a mask at another resolution, of rows and columns `shape`."""
    resized = cv2.resize(mask.astype(np.uint8), shape[::-1], interpolation=cv2.INTER_NEAREST)
    return np.asarray(resized > 0)


def whole_patches(cells: BoolArray) -> BoolArray:
    """Return what stands before the panel, as seen on the coarse cells, filled in and widened."""
    closed = cv2.morphologyEx(cells.astype(np.uint8), cv2.MORPH_CLOSE, CELL_RIM)
    return np.asarray(cv2.dilate(closed, CELL_RIM) > 0)


def out_of_view(hidden: BoolArray, in_view: BoolArray | None) -> BoolArray:
    """Add to a mask of what is hidden what lies outside of the photo.

    Parameters
    ----------
    hidden : ndarray of shape (h, w), bool
    in_view : ndarray of shape (M, N), bool, or None
        None where all lies inside.
    """
    if in_view is None:
        return hidden
    size = hidden.shape[::-1]
    share = cv2.resize(in_view.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    return np.asarray(hidden | (np.asarray(share) < ALL_OF_PIXEL), bool)


ALL_OF_PIXEL = 0.999
"""Share of a place that must lie in the photo for it to be seen."""
