"""Sizes and patches that the masks of what is hidden share."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.records import BoolArray, FloatArray, IntArray

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


def put(
    values: FloatArray | IntArray,
    where: BoolArray | NDArray[np.uint8],
    into: FloatArray | IntArray,
) -> None:
    """Copy values to the places of a mask, in place: what `numpy.copyto` does, in a fifth of it.

    Parameters
    ----------
    values : ndarray of shape (M, N)
    where : ndarray of shape (M, N), bool or uint8
    into : ndarray of shape (M, N)
        Of the same type as `values`; the other places stay as they are.

    Raises
    ------
    ValueError
        If the types or shapes differ: OpenCV would write to a copy.

    Examples
    --------
    >>> kept = np.array([[1, 2, 3]], np.int16)
    >>> put(np.array([[7, 8, 9]], np.int16), np.array([[True, False, True]]), kept)
    >>> kept
    array([[7, 2, 9]], dtype=int16)
    """
    if values.dtype != into.dtype or values.shape != into.shape:
        raise ValueError(f"{values.dtype} {values.shape} into {into.dtype} {into.shape}")
    cv2.copyTo(values, where.view(np.uint8), into)
