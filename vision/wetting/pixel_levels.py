"""Each pixel's dry level, its step to wet, and the scatter of one frame."""

from __future__ import annotations

import cv2
import numpy as np

from vision.common.robust import robust_scale
from vision.illumination.cell_levels import expected_step_ratio
from vision.illumination.light_basis import LOG_TABLE
from vision.records import BoolArray, FloatArray, IntArray
from vision.settings.wetting_settings import WettingSettings
from vision.wetting.canvas_series import CanvasStack, middle_of
from vision.wetting.wetness import PixelScale

BLIND = 0.02
"""Least part of the typical step that a pixel is taken to show, so that nothing divides by 0."""


def expected_ratio(
    stack: CanvasStack,
    n_reference: int,
    settings: WettingSettings,
    cloth: BoolArray | None = None,
) -> FloatArray:
    """Return the part of the typical step that each pixel can show, less where glare lies on it.

    Parameters
    ----------
    stack : CanvasStack
    n_reference : int
        Frames before the front came.
    settings : WettingSettings
    cloth : ndarray of shape (M, N), bool, optional
        Where there is fabric; left out, everywhere.

    Returns
    -------
    expected : ndarray of shape (M, N), float32
    """
    middle = middle_of(stack.canvases[:n_reference])
    logs: FloatArray = np.asarray(cv2.LUT(middle, LOG_TABLE), np.float32)
    expected = expected_step_ratio(logs, cloth).astype(np.float32)
    expected[np.maximum.reduce(cv2.split(middle)) >= settings.blown] = BLIND
    return np.maximum(expected, BLIND)


def find_pixel_scale(
    levels: list[FloatArray],
    wet_frame: IntArray,
    expected: FloatArray,
    n_reference: int,
    safe_px: int,
    settings: WettingSettings,
) -> PixelScale:
    """Find each pixel's dry level, its step just after wetting, and the noise of one frame.

    Both levels are running means that leave out or bound what is far off, so that a hand moves
    them little. The wet level is taken over the first frames after the change: the wet look goes
    on deepening, and the edge must be placed by what it is at the front.

    Parameters
    ----------
    levels : list of K ndarrays of shape (M, N), float
        Each frame's projected level, light removed.
    wet_frame : ndarray of shape (M, N), int
        A first guess.
    expected : ndarray of shape (M, N), float
        As from `expected_ratio`.
    n_reference : int
        Frames before the front came.
    safe_px : int
        Width of a window in which nothing may have wetted yet for a pixel to count as dry.
    settings : WettingSettings
    """
    count = len(levels)
    scatter = frame_noise(levels, 1)
    window = np.ones((safe_px, safe_px), np.uint8)
    dry_until: IntArray = np.asarray(cv2.erode(wet_frame, window), np.int16)
    gate = np.maximum(0.5 * expected, 2.5 * scatter)
    dry = _mean_dry(levels, dry_until, gate, n_reference, settings.dry_looks)
    wet, wet_count = _mean_wet(levels, wet_frame, dry, expected, settings.wet_looks)
    pairs = range(1, count, max(1, count // settings.noise_looks))
    noise = float(np.median([frame_noise(levels, k) for k in pairs]))
    clear = (wet_count >= 3) & (expected > 0.5)
    usual = float(np.median((wet / expected)[clear])) if np.count_nonzero(clear) > 100 else 1.0
    expected = expected * float(np.clip(usual, 0.3, 1.5))
    wet = np.where(wet_frame < count - 1, wet, expected)
    ratio = np.clip(wet, 0.5 * expected, 2.0 * np.maximum(expected, 0.3)).astype(np.float32)
    return PixelScale(dry, ratio, noise)


def _mean_dry(
    levels: list[FloatArray],
    dry_until: IntArray,
    gate: FloatArray,
    n_reference: int,
    dry_looks: int,
) -> FloatArray:
    """Return the mean of each pixel's levels near its first, before anything near it wetted."""
    dry = middle_of(levels[:n_reference]).copy()
    used = np.ones_like(dry)
    count = len(levels)
    for k in range(0, count, max(1, count // dry_looks)):
        above = levels[k] - dry
        is_dry = ((dry_until > k + 1) & (np.abs(above) < gate)).astype(dry.dtype)
        used += is_dry
        above *= is_dry
        above /= used
        dry += above
    return dry


def _mean_wet(
    levels: list[FloatArray],
    wet_frame: IntArray,
    dry: FloatArray,
    expected: FloatArray,
    wet_looks: int,
) -> tuple[FloatArray, FloatArray]:
    """Return the mean wetness over the first frames after each change, and the frames behind it."""
    count = len(levels)
    order = np.argsort(wet_frame, axis=None, kind="stable")
    starts = np.searchsorted(wet_frame.ravel()[order], np.arange(count + 1))
    # In the order of their change, so that the pixels of a frame lie in one piece.
    in_turn, own_dry = expected.ravel()[order], dry.ravel()[order]
    looks = np.full_like(own_dry, 0.25)
    for k, level in enumerate(levels):
        fresh = slice(starts[max(k - wet_looks, 0)], starts[k])
        looks[fresh] += 1
        above = level.ravel()[order[fresh]] - own_dry[fresh] - in_turn[fresh]
        in_turn[fresh] += np.clip(above, -0.75, 0.75) / looks[fresh]
    wet, used = np.empty(dry.shape, expected.dtype), np.empty(dry.shape, dry.dtype)
    wet.ravel()[order], used.ravel()[order] = in_turn, looks
    return wet, used


def frame_noise(levels: list[FloatArray], k: int) -> float:
    """Return the scatter of one frame, from its difference to the frame before."""
    sample = (levels[k][::4, ::4] - levels[k - 1][::4, ::4]).ravel()
    return float(robust_scale(sample - np.median(sample)) / np.sqrt(2))
