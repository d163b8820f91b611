"""Cloth too bright for the camera while it is said to have wetted."""

from __future__ import annotations

import numpy as np

from vision.records import BoolArray, IntArray
from vision.wetting.canvas_series import CanvasStack

BLOWN = 250
"""A pixel this bright in every colour (of 255) shows no change: whatever more light there is."""


def find_blown(stack: CanvasStack, wet_frame: IntArray) -> BoolArray:
    """Find cloth that was blown out on both sides of its change, or at the end if it stayed dry.

    There nothing changed in the photos, and the light that was taken away is all that seems to.

    Parameters
    ----------
    stack : CanvasStack
    wet_frame : ndarray of shape (M, N), int
        Frame from which each is wet; K where it stayed dry.
    """
    count = len(stack)
    blown = np.zeros(wet_frame.shape, bool)
    for k in np.unique(wet_frame):
        here = wet_frame == k
        before, after = max(int(k) - 1, 0), min(int(k) + 1, count - 1)
        sides = [stack.canvases[one][here].min(axis=1) >= BLOWN for one in (before, after)]
        blown[here] = sides[0] & sides[1]
    return blown
