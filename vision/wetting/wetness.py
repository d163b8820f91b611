"""From the colours of a canvas to one number per pixel: how far it is from dry to wet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from vision.illumination.coarse_wetting import CoarseWetting
from vision.illumination.light_basis import LOG_TABLE, cell_centres
from vision.illumination.side_by_side import at_once
from vision.records import FloatArray
from vision.settings.wetting_settings import WettingSettings

LEAST_RATIO = 0.5
"""A pixel that hardly shows the wetting is bounded as one that shows half the step."""


class Projector:
    """Turns a canvas into its wetness scale: 0 dry to 1 typically wet, up to each pixel's level.

    Parameters
    ----------
    coarse : CoarseWetting
        Light and direction.
    shape : (int, int)
        Canvas rows and columns.
    """

    def __init__(self, coarse: CoarseWetting, shape: tuple[int, int]) -> None:
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
        """Return each frame's mean light on the wetness scale; shape (K,)."""
        return np.asarray((self.light @ self.grid.T).mean(axis=1))

    def __call__(self, canvas: np.ndarray, k: int) -> FloatArray:
        """Return the level of canvas number `k` at each pixel, its light taken away."""
        level: FloatArray = np.asarray(cv2.transform(cv2.LUT(canvas, self.table), self.sum))
        light = (self.grid @ self.light[k]).reshape(self.grid_shape).astype(np.float32)
        size = (self.shape[1], self.shape[0])
        level -= cv2.resize(light, size, interpolation=cv2.INTER_LINEAR)
        return level


def project_all(canvases: Sequence[np.ndarray], project: Projector) -> list[FloatArray]:
    """Return each frame's level, light removed; ndarrays of shape (M, N), float."""
    # One block: the system hands out a large one far quicker than many of a canvas's size.
    block = np.empty((len(canvases), *project.shape), np.float32)

    def one(k: int) -> None:
        block[k] = project(canvases[k], k)

    at_once(one, len(canvases))
    return list(block)


@dataclass(frozen=True)
class PixelScale:
    """What each pixel shows when dry, and how far that is from wet.

    Attributes
    ----------
    dry : ndarray of shape (M, N), float
        Projected dry level.
    step_ratio : ndarray of shape (M, N), float
        Each pixel's own step from dry to wet, in units of the panel's typical step.
    sigma : float
        Standard deviation of the wetness of one pixel in one frame.
    """

    dry: FloatArray
    step_ratio: FloatArray
    sigma: float

    def bounds(self, settings: WettingSettings) -> tuple[FloatArray, FloatArray]:
        """Return the wetness below and above which a pixel shows something else than fabric."""
        far = settings.strange * np.maximum(self.step_ratio, LEAST_RATIO)
        return -far, self.step_ratio + far

    def bright_bound(self, settings: WettingSettings) -> FloatArray:
        """Return the wetness below which something shines on a pixel."""
        return -settings.sunlit * np.maximum(self.step_ratio, LEAST_RATIO)
