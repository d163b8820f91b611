"""How well the time at which each spot of a part wetted is known, and its wet share with it.

Tested in tests/vision/parts/test_wet_share.py and test_track_part.py.
"""

from __future__ import annotations

import cv2
import numpy as np
from scipy.ndimage import distance_transform_edt, label, minimum, minimum_filter
from scipy.special import ndtr

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


def may_be_wet_from(time_s: FloatArray, seen: BoolArray, inside: BoolArray) -> FloatArray:
    """Return from when cloth that was not seen, and never showed wet, may have been wet.

    Parameters
    ----------
    time_s : ndarray of shape (M, N), float
        Seconds since resin start; infinity where it never showed wet.
    seen, inside : ndarray of shape (M, N), bool

    Returns
    -------
    from_s : ndarray of shape (M, N), float
        When the first of what lies around the hidden place wetted: resin cannot come in sooner
        without passing there. Infinity for all other cloth.
    """
    hidden = inside & ~seen & np.isinf(time_s)
    near = np.ones((3, 3), bool)
    places, count = label(hidden, near)
    from_s = np.full(time_s.shape, np.inf)
    if not count:
        return from_s
    around = np.where(inside & ~hidden, time_s, np.inf)
    first = minimum_filter(around, size=3, mode="constant", cval=np.inf)
    told = np.append(np.inf, minimum(first, places, np.arange(1, count + 1)))
    return np.asarray(told[places], float)


def unseen_share(
    time_s: FloatArray, seen: BoolArray, inside: BoolArray, at_s: FloatArray
) -> FloatArray:
    """Return the share of the part that nobody can tell wet from dry at each time, shape (K,)."""
    from_s = np.sort(may_be_wet_from(time_s, seen, inside)[inside])
    return np.searchsorted(from_s, at_s, side="right") / max(len(from_s), 1)


def wet_share(
    time_s: FloatArray, sd_s: FloatArray, seen: BoolArray, inside: BoolArray, at_s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the wet share of a part at some times, and what was not seen adds to its doubt.

    Parameters
    ----------
    time_s, sd_s : ndarray of shape (M, N), float
        Seconds since resin start and their standard uncertainty.
    seen, inside : ndarray of shape (M, N), bool
    at_s : ndarray of shape (K,), float

    Returns
    -------
    share : ndarray of shape (K,), float
        Of the cloth that can be told: what was seen, what was filled from around it, and what was
        hidden with nothing but dry cloth about it.
    sd : ndarray of shape (K,), float
        Of the whole part's share. What cannot be told may be wet from none of it to all of it,
        evenly likely (JCGM 100:2008, 4.3.7), instead of as wet as the rest; what was filled is wet
        or dry by its own time and doubt, all of it wrong together.
    """
    area = max(int(np.count_nonzero(inside)), 1)
    lost = unseen_share(time_s, seen, inside, at_s)
    wet = np.searchsorted(np.sort(time_s[inside]), at_s, side="right") / area
    share = wet / np.maximum(1.0 - lost, 1.0 / area)
    even = lost * np.sqrt(1.0 / 12.0 + (share - 0.5) ** 2)
    doubt = filled_sd(time_s, sd_s, seen, inside, at_s)
    return np.asarray(share), np.where(at_s > 0, np.hypot(even, doubt), 0.0)


def filled_sd(
    time_s: FloatArray, sd_s: FloatArray, seen: BoolArray, inside: BoolArray, at_s: FloatArray
) -> FloatArray:
    """Return what cloth that was filled from around it adds to the doubt of the wet share.

    Parameters
    ----------
    time_s, sd_s, seen, inside, at_s
        As for `wet_share`, whose `sd` holds it.

    Returns
    -------
    sd : ndarray of shape (K,), float
    """
    filled = inside & ~seen & np.isfinite(time_s)
    off = (at_s[:, None] - time_s[filled]) / np.maximum(np.nan_to_num(sd_s[filled]), 1e-9)
    chance = ndtr(off)
    doubt = np.sqrt(chance * (1.0 - chance)).sum(axis=1) / max(int(np.count_nonzero(inside)), 1)
    return np.asarray(np.where(at_s > 0, doubt, 0.0))
