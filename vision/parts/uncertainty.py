"""How well the time at which each spot of a part wetted is known.

Tested in tests/vision/parts/test_track_part.py.
"""

from __future__ import annotations

import cv2
import numpy as np
from scipy.ndimage import distance_transform_edt

from vision.parts.part_canvas import PartCanvas
from vision.records import BoolArray, FloatArray

PHOTO_SHARE = 0.05
"""Share of the time between two photos that remains in doubt: between them the square of the
front's way is taken to grow evenly."""

HOLE_SHARE = 0.6
"""Share of the front's way into a hole by which what was filled may be off."""


def pixel_sd_s(
    arrival_s: FloatArray,
    known: BoolArray,
    part: PartCanvas,
    place_sd_mm: float,
    times_s: FloatArray,
) -> FloatArray:
    """Return the standard uncertainty of each pixel's time of wetting.

    Parameters
    ----------
    arrival_s : ndarray of shape (M, N), float
        Seconds since resin start; infinity where dry.
    known : ndarray of shape (M, N), bool
        False where it was filled from around.
    part : PartCanvas
    place_sd_mm : float
        How well the front's place is known, the scale with it.
    times_s : ndarray of shape (K,), float
        Times of the photos since resin start.

    Returns
    -------
    sd_s : ndarray of shape (M, N), float
        The front's place over its local speed, a share of the time between photos, and for what
        was filled its depth in the hole over that speed; independent of each other.
    """
    slope = slope_s_mm(arrival_s, part)
    gaps = np.diff(times_s, prepend=min(0.0, float(times_s[0])))
    index = np.clip(np.searchsorted(times_s, arrival_s), 0, len(times_s) - 1)
    step = np.maximum(gaps[index], np.median(gaps))
    seen = known & part.inside
    deep = distance_transform_edt(~seen) if seen.any() else np.zeros(known.shape)
    deep_mm = np.where(part.inside, deep, 0.0) * part.mm_per_px
    total = (slope * place_sd_mm) ** 2 + (PHOTO_SHARE * step) ** 2
    total = total + (HOLE_SHARE * slope * deep_mm) ** 2 + np.where(known, 0.0, step**2 / 12)
    return np.asarray(np.sqrt(total), float)


def slope_s_mm(arrival_s: FloatArray, part: PartCanvas) -> FloatArray:
    """Return the seconds the front needs for a millimetre at each pixel, smoothed over some."""
    good = np.isfinite(arrival_s)
    weight = cv2.GaussianBlur(good.astype(np.float32), (0, 0), 2.0)
    held = np.where(good, arrival_s, 0.0).astype(np.float32)
    smooth = cv2.GaussianBlur(held, (0, 0), 2.0) / np.maximum(weight, 1e-3)
    down, along = np.gradient(smooth, part.mm_per_px)
    slope = np.hypot(down, along)
    usual = float(np.median(slope[good & part.inside])) if (good & part.inside).any() else 0.0
    slope = np.where(weight > 0.5, slope, usual)
    return np.asarray(np.where(good, slope, 0.0), float)
