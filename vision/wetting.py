"""Wet or dry: the frame from which each canvas pixel is wet for good.

Wetting goes one way, so each pixel is given the single lasting change that explains its whole
history best. Per frame the colour, with the light removed, is projected on the direction that
parts wet from dry on this very panel (found on coarse cells); that wetness gives a bounded
log-likelihood for wet, and the frame at which the running sum is least is the change. A hand, a
shadow or a flash comes and goes: it is outvoted. Ink stays, but looks like neither dry nor wet:
it does not vote, and the hole is filled from around it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.cells import CellLook, expected_gain, look
from vision.light import LOG_TABLE, cell_centres, polynomial_basis, robust_scale
from vision.records import BoolArray, FloatArray
from vision.stack import CanvasStack

CLIP = 4.0
"""Most that one frame may say about one pixel, in log-likelihood."""

SURE = 1.0
"""Evidence beyond which a frame is taken to show the pixel wet or dry by itself."""

STRANGE = 1.6
"""Wetness this far beyond the dry or the wet level is something else: skin, ink, a tool."""


@dataclass(frozen=True)
class WetLook:
    """When each pixel turned wet, in frames of the stack.

    Attributes
    ----------
    change : ndarray of shape (M, N), int
        First wet frame; K (their number) where it stayed dry.
    last_dry, first_wet : ndarray of shape (M, N), int
        Frames that show the pixel dry and wet by themselves on either side of the change; -1
        and K where there is none.
    seen : ndarray of shape (M, N), bool
        Whether the change, or the lack of one, was seen at all.
    share : ndarray of shape (M, N), float
        Each pixel's own step from dry to wet, in units of the panel's typical step.
    dry : ndarray of shape (M, N), float
        Projected dry level.
    noise : float
        Standard deviation of the wetness of one pixel in one frame.
    coarse : CellLook
    """

    change: np.ndarray
    last_dry: np.ndarray
    first_wet: np.ndarray
    seen: BoolArray
    share: FloatArray
    dry: FloatArray
    noise: float
    coarse: CellLook


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
        rows, cols = 12, 16
        self.grid = polynomial_basis(*cell_centres(rows, cols))
        self.grid_shape = (rows, cols)
        self.light = coarse.light @ direction
        self.shape = shape

    def __call__(self, canvas: np.ndarray, k: int) -> FloatArray:
        """Project canvas number `k` and take its light away."""
        level = cv2.transform(cv2.LUT(canvas, self.table), self.sum)
        light = (self.grid @ self.light[k]).reshape(self.grid_shape).astype(np.float32)
        size = (self.shape[1], self.shape[0])
        level -= cv2.resize(light, size, interpolation=cv2.INTER_CUBIC)
        return level


def find_wetting(stack: CanvasStack) -> WetLook:
    """Find when each pixel of a run turned wet.

    Parameters
    ----------
    stack : CanvasStack
        At least 4 canvases.

    Returns
    -------
    look : WetLook

    Raises
    ------
    ValueError
        If there are fewer than 4 canvases.

    Notes
    -----
    Source: the running sum is that of Page, Biometrika 41, 1954, with each frame's say bounded
    after Huber, Ann. Math. Statist. 36, 1965.
    """
    count = len(stack)
    if count < 4:
        raise ValueError(f"at least 4 canvases are needed, got {count}")
    border = np.stack(stack.borders) if stack.border_xy.size else None
    coarse = look(np.stack(stack.cells), border, stack.border_xy if border is not None else None)
    project = Projector(coarse, stack.shape)
    change = _spread(coarse.change, stack.shape, count)
    expected = _expected_share(coarse, stack.shape)
    for _ in range(2):
        dry, share, noise = _levels(stack, project, change, expected)
        sigma = float(np.hypot(noise, 1.0 / max(coarse.contrast, 1e-6)))
        change, last_dry, first_wet, told = _changes(stack, project, dry, share, sigma)
    seen = told & (share > 0.15)
    return WetLook(change, last_dry, first_wet, seen, share, dry, sigma, coarse)


def _spread(change: np.ndarray, shape: tuple[int, int], count: int) -> np.ndarray:
    size = (shape[1], shape[0])
    wide = cv2.resize(change.astype(np.float32), size, interpolation=cv2.INTER_NEAREST)
    return np.clip(np.rint(wide), 0, count).astype(np.int16)


def _expected_share(coarse: CellLook, shape: tuple[int, int]) -> FloatArray:
    share = expected_gain(coarse.dry).astype(np.float32)
    return cv2.resize(share, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR)


def _levels(
    stack: CanvasStack, project: Projector, change: np.ndarray, expected: FloatArray
) -> tuple[FloatArray, FloatArray, float]:
    """Find each pixel's dry level, its step just after wetting, and the noise of one frame.

    Both levels are running means whose every step is bounded, so that a hand moves them little.
    The wet level is taken over the first frames after the change: the wet look goes on
    deepening, and the edge must be placed by what it is at the front.
    """
    first = min(3, len(stack))
    early = [project(stack.canvases[k], k) for k in range(first)]
    dry = np.median(np.stack(early), axis=0).astype(np.float32)
    dry_count = np.ones_like(dry)
    wet = expected.copy()
    wet_count = np.ones_like(dry)
    noises = []
    before: FloatArray | None = None
    for k in range(len(stack)):
        level = project(stack.canvases[k], k)
        if before is not None:
            sample = (level - before)[::3, ::3]
            noises.append(float(robust_scale(sample.ravel() - np.median(sample)) / np.sqrt(2)))
        before = level
        is_dry = (change > k + 1).astype(np.float32)
        dry_count += is_dry
        dry += is_dry * np.clip(level - dry, -0.5, 0.5) / dry_count
        is_wet = ((change + 2 <= k) & (change + 7 >= k)).astype(np.float32)
        wet_count += is_wet
        wet += is_wet * np.clip(level - dry - wet, -0.75, 0.75) / wet_count
    share = np.clip(wet, 0.3 * expected, 2.5 * np.maximum(expected, 0.4)).astype(np.float32)
    return dry, share, float(np.median(noises))


def _changes(
    stack: CanvasStack, project: Projector, dry: FloatArray, share: FloatArray, sigma: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, BoolArray]:
    """Run through the frames once, keeping the least of each pixel's running sum of evidence."""
    count = len(stack)
    blur = float(np.clip(1.2 * sigma / 0.25, 0.6, 2.5))
    shape = dry.shape
    running = np.zeros(shape, np.float32)
    least = np.zeros(shape, np.float32)
    change = np.zeros(shape, np.int16)
    recent_dry = np.full(shape, -1, np.int16)
    last_dry = np.full(shape, -1, np.int16)
    first_wet = np.full(shape, count, np.int16)
    told = np.zeros(shape, np.int16)
    scale = (share / sigma**2).astype(np.float32)
    half = share / 2
    low, high = -STRANGE * np.maximum(share, 0.5), share + STRANGE * np.maximum(share, 0.5)
    for k in range(count):
        wetness = project(stack.canvases[k], k) - dry
        evidence = np.clip((wetness - half) * scale, -CLIP, CLIP)
        strange = (wetness < low) | (wetness > high)
        evidence[strange] = 0
        evidence = cv2.GaussianBlur(evidence, (0, 0), blur)
        told += np.abs(evidence) > SURE
        first_wet[(evidence > SURE) & (first_wet == count)] = k
        recent_dry[evidence < -SURE] = k
        running += evidence
        lower = running < least
        least[lower] = running[lower]
        change[lower] = k + 1
        last_dry[lower] = recent_dry[lower]
        first_wet[lower] = count
    return change, last_dry, first_wet, told >= max(3, count // 6)
