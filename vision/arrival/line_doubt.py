"""How far off a front line may be that is asked for at any time, between photos too."""

from __future__ import annotations

import numpy as np

from vision.records import FloatArray, FrontDoubt

LAW_SD = 1 / np.sqrt(6)
"""Standard uncertainty of the front between two photos, over what parts the square law from an even
advance, as a feed that resists brings: rather near the law (triangular)."""


def line_sd_mm(doubt: FrontDoubt, times_s: FloatArray) -> FloatArray:
    """Compute the standard uncertainty of the front line at each time, its mean over the width.

    Parameters
    ----------
    doubt : FrontDoubt
        How sure the fronts of the photos are, and the resin start.
    times_s : ndarray of shape (T,), float
        Seconds since resin start.

    Returns
    -------
    sd_mm : ndarray of shape (T,), float
        NaN where no photo shows a front.

    Notes
    -----
    Three parts, which err apart: the front at the photos about that time; where it was between
    them, for the advance may be even or slow down as Darcy's law has it; and the resin start, from
    which the time of a line counts. A start that is off by s moves a line by the way of the front
    in s; before the first photo of the front by less, x s / (2 t1), for at t1 it was seen.

    Examples
    --------
    >>> time_s = np.array([60.0, 120.0, 240.0])
    >>> doubt = FrontDoubt(6.0, time_s, 10 * np.sqrt(time_s), np.full(3, 0.5))
    >>> line_sd_mm(doubt, np.array([30.0, 120.0])).round(1)
    array([7.1, 2.8])
    """
    times = np.asarray(times_s, float)
    begun = (doubt.time_s > 0) & (doubt.front_mm > 0)
    if not begun.any():
        return np.full(times.shape, np.nan)
    ends = np.concatenate([[0.0], doubt.time_s[begun]])
    ways = np.concatenate([[0.0], np.maximum.accumulate(doubt.front_mm[begun])])
    sd = np.concatenate([[0.0], doubt.sd_mm[begun]])

    def way(at_s: FloatArray) -> FloatArray:
        return np.asarray(np.sqrt(np.interp(at_s, ends, ways**2)))

    first, shift = ends[1], doubt.start_sd_s
    moved = 0.5 * (way(times + shift) - way(np.maximum(times - shift, 0.0)))
    by_start = np.where(times < first, way(times) * shift / (2 * first), moved)
    by_law = LAW_SD * (way(times) - np.interp(times, ends, ways))
    return np.asarray(np.sqrt(np.interp(times, ends, sd) ** 2 + by_law**2 + by_start**2))
