"""A front that stopped short of the end: the one rule for recordings, pen marks and live runs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.records import FloatArray

STILL_SHARE = 0.15
"""Stalled: the squared front grows at less than this share of its earlier rate."""

LEAST_DUE_MM, LEAST_DUE_SD = 5.0, 5.0
"""Advance that must have failed to come, in mm and in standard uncertainties of the front: what
is due by less may be a wave of the cloth. Common practice, no source."""

STANDS_WITHIN = 0.01
"""A front stands from where it first came within this share of where it ends up."""

FEWEST_STANDING = 4
"""Frames of a standing front: what one or two show may be a hand."""

FEWEST_MOVING = 3
"""Frames of a moving front from which its earlier rate is taken."""

MOVING_SHARE = 0.7
"""The earlier rate is taken while the squared front is under this share of its last."""

NEAR_END = 0.97
"""Past this share of the length a front that stands has arrived."""


@dataclass(frozen=True)
class Stall:
    """Where the front came to a stop, and when (seconds since resin start)."""

    front_mm: float
    since_s: float

    @property
    def warning(self) -> str:
        """The stall in words."""
        minutes = self.since_s / 60
        return f"the front stalled at {self.front_mm:.0f} mm, {minutes:.1f} min after start"


def find_stall(
    time_s: FloatArray, front_mm: FloatArray, length_mm: float, sd_mm: float = 0.0
) -> Stall | None:
    """Find where and when the front stopped short of the end.

    Parameters
    ----------
    time_s, front_mm : ndarray of shape (K,), float
        Since resin start, in time order; the mean front of the clean lanes. NaN is left out.
    length_mm : float
        Where the front would be at the end.
    sd_mm : float
        Standard uncertainty of the front.

    Returns
    -------
    stall : Stall or None

    Notes
    -----
    With a steady drive the squared front grows evenly (Darcy), so its rate, not the front's own
    slowing, is what shows a stall.

    Examples
    --------
    >>> time_s = np.arange(0.0, 600.0, 10.0)
    >>> moving_mm = np.sqrt(100 * time_s)
    >>> find_stall(time_s, moving_mm, 300.0) is None
    True
    >>> find_stall(time_s, moving_mm.clip(max=180.0), 300.0).front_mm
    180.0
    """
    use = np.isfinite(front_mm) & (time_s > 0) & (front_mm > 0)
    time, front = time_s[use], front_mm[use]
    if len(time) < FEWEST_STANDING + FEWEST_MOVING or front[-1] > NEAR_END * length_mm:
        return None
    level = float(np.median(front[-FEWEST_STANDING:]))
    first = int(np.argmax(front >= (1.0 - STANDS_WITHIN) * level))
    early = front**2 < MOVING_SHARE * level**2
    if len(time) - first < FEWEST_STANDING or np.count_nonzero(early) < FEWEST_MOVING:
        return None
    rate = float(np.polyfit(time[early], front[early] ** 2, 1)[0])
    late = float(np.polyfit(time[first:], front[first:] ** 2, 1)[0])
    due_mm = rate * float(time[-1] - time[first]) / (2.0 * level)
    if due_mm < max(LEAST_DUE_MM, LEAST_DUE_SD * sd_mm) or late > STILL_SHARE * rate:
        return None
    return Stall(float(np.median(front[first:])), float(time[first]))
