"""Which pixels of a panel's canvas the user wants looked at.

Tested in tests/vision/rectify/test_rectifier.py.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.errors import WetlineError
from vision.records import BoolArray
from vision.settings.panel_settings import PanelSetup
from vision.settings.scale_settings import Points

LEAST_LOOKED_AT = 0.02


def region_mask(setup: PanelSetup, shape: tuple[int, int], mm_per_px: float) -> BoolArray:
    """Canvas pixels to look at: inside the user's region, outside the patches to ignore.

    Returns
    -------
    mask : ndarray of shape (M, N), bool
        True where the canvas is to be looked at.

    Raises
    ------
    WetlineError
        If next to nothing of the panel is left to look at.
    """
    mask = np.full(shape, 1 if setup.region is None else 0, np.uint8)
    if setup.region is not None:
        _fill(mask, setup.region, mm_per_px, 1)
    for patch in setup.ignore:
        _fill(mask, patch, mm_per_px, 0)
    if setup.ignore and mask.mean() < LEAST_LOOKED_AT:
        raise WetlineError(
            f"{setup.shown_file}: [panel] ignore_mm leaves {100 * mask.mean():.0f} % of the panel "
            "to look at: take an outline out, or make it smaller"
        )
    return mask.astype(bool)


def _fill(mask: NDArray[np.uint8], outline_mm: Points, mm_per_px: float, value: int) -> None:
    """Fill an outline; a pixel counts by its centre, to a 16th of a pixel."""
    far = 16.0 * 1000 * max(mask.shape)
    corners = np.clip(np.round((np.array(outline_mm) / mm_per_px - 0.5) * 16), -far, far)
    corners = corners.astype(np.int32)
    cv2.fillPoly(mask, [corners], value, lineType=cv2.LINE_8, shift=4)
