"""A front that stopped short of the end."""

from __future__ import annotations

import numpy as np

from vision.records import FloatArray

STALL_SHARE = 0.15
"""Stalled: the squared front grows at less than this share of its earlier rate."""


def find_stall(
    time_s: FloatArray, front_mm: FloatArray, length_mm: float
) -> tuple[float, float] | None:
    """Find where and when the front stopped short of the end.

    Parameters
    ----------
    time_s, front_mm : ndarray of shape (K,), float
        Since resin start; the mean front of the clean lanes.
    length_mm : float

    Returns
    -------
    stall : (position_mm, time_s) or None

    Notes
    -----
    With a steady drive the squared front grows evenly (Darcy), so its rate, not the front's own
    slowing, is what tells a stall.
    """
    use = (time_s > 0) & (front_mm > 0)
    time, front = time_s[use], front_mm[use]
    if len(time) < 8 or front[-1] > 0.97 * length_mm:
        return None
    square = front**2
    tail = time >= time[-1] - 0.2 * (time[-1] - time[0])
    if np.count_nonzero(tail) < 3:
        return None
    late = float(np.polyfit(time[tail], square[tail], 1)[0])
    early = square < 0.7 * square[-1]
    if np.count_nonzero(early) < 3:
        return None
    rate = float(np.polyfit(time[early], square[early], 1)[0])
    if rate <= 0 or late > STALL_SHARE * rate:
        return None
    where = float(np.median(front[tail]))
    reached = np.flatnonzero(front >= 0.99 * where)
    return where, float(time[reached[0]])
