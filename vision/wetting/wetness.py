"""From the colours of a canvas to one number per pixel: how far it is from dry to wet."""

from __future__ import annotations

import cv2
import numpy as np

from vision.illumination.coarse_wetting import CellLook
from vision.illumination.light_basis import LOG_TABLE, cell_centres
from vision.records import FloatArray

ONSET = 0.32
"""Share of a pixel's step from which it counts as wet: what a blurred edge with the usual
deepening behind it shows at the front itself. `edge` then corrects what is left."""


class Projector:
    """Turns a canvas into its wetness scale: 0 dry to 1 typically wet, up to each pixel's level.

    Parameters
    ----------
    coarse : CellLook
        Light and direction.
    shape : (int, int)
        Canvas rows and columns.
    """

    def __init__(self, coarse: CellLook, shape: tuple[int, int]) -> None:
        direction = np.linalg.solve(coarse.noise, coarse.wet_vector)
        direction = direction / float(direction @ coarse.wet_vector)
        self.table = (LOG_TABLE[:, None] * direction).astype(np.float32).reshape(256, 1, 3)
        self.sum = np.ones((1, 3), np.float32)
        rows, cols = 32, 48
        self.grid = coarse.shapes(*cell_centres(rows, cols))
        self.grid_shape = (rows, cols)
        self.light = coarse.light @ direction
        self.shape = shape

    def brightness(self) -> FloatArray:
        """Give each frame's mean light on the wetness scale; shape (K,)."""
        return np.asarray((self.light @ self.grid.T).mean(axis=1))

    def __call__(self, canvas: np.ndarray, k: int) -> FloatArray:
        """Project canvas number `k` and take its light away."""
        level = cv2.transform(cv2.LUT(canvas, self.table), self.sum)
        light = (self.grid @ self.light[k]).reshape(self.grid_shape).astype(np.float32)
        size = (self.shape[1], self.shape[0])
        level -= cv2.resize(light, size, interpolation=cv2.INTER_LINEAR)
        return np.asarray(level, np.float32)
