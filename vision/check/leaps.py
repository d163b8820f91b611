"""Rows at which the front leaps ahead and waits for the flow to catch up: light, not resin."""

from __future__ import annotations

import numpy as np

from vision.records import BoolArray, FloatArray, IntArray

LEAPT = "the front leaps ahead here and waits, as resin does not"

LEAP_MM = 3.0
"""A mean front that is so far ahead of where the flow before and the flow after put it has leapt:
the fronts of channelled cores waver by less. Common practice, no source."""

REST_SHARE = 0.5
"""Rows beside one that leapt have leapt too from this share of `LEAP_MM` on."""

STRETCH = 5
"""Rows before, and after, that tell the flow there."""

NEAREST = ((1, 1), (1, 2), (1, 4), (2, 2), (2, 4), (3, 3), (3, 4))
"""How many rows off the stretches before and after begin: a leap may last some rows."""


def leapt(time_s: FloatArray, front_mm: FloatArray, fit: BoolArray) -> BoolArray:
    """Find the rows at which a front leaps ahead for a while.

    Parameters
    ----------
    time_s : ndarray of shape (K,), float
        Since resin start, in time order.
    front_mm : ndarray of shape (K,), float
        Mean front.
    fit : ndarray of shape (K,), bool
        Rows of a front that is seen and on its way.

    Returns
    -------
    ndarray of shape (K,), bool

    Notes
    -----
    A front that does not go back must wait where it was read too far ahead. Under any drive the
    square of the front follows a line over a few rows, or a parabola where the feed resists
    (Darcy's law, see `analysis.fit.front_laws`); a stop, a start and a change of speed put no row
    ahead of both the line before and the line after, which a leap does.

    Examples
    --------
    >>> time_s = np.arange(10.0, 310.0, 10.0)
    >>> front_mm = np.sqrt(100 * time_s)
    >>> leapt(time_s, front_mm, front_mm > 0).any()
    np.False_
    >>> front_mm[14:16] = 135.0
    >>> np.flatnonzero(leapt(time_s, front_mm, front_mm > 0))
    array([14, 15])
    """
    found = np.zeros(len(time_s), bool)
    rows = np.flatnonzero(fit)
    ahead = _ahead_mm(time_s[rows], front_mm[rows])
    here = ahead > LEAP_MM
    for _ in range(STRETCH):
        padded = np.pad(here, 1)
        here = here | ((padded[:-2] | padded[2:]) & (ahead > REST_SHARE * LEAP_MM))
    found[rows] = here
    return found


def _ahead_mm(time_s: FloatArray, front_mm: FloatArray) -> FloatArray:
    """Return how far each row is ahead of the flow before it and of the flow after it."""
    square = front_mm**2
    most = np.zeros(len(time_s))
    for k in range(len(time_s)):
        for before, after in NEAREST:
            first = np.arange(k - before - STRETCH + 1, k - before + 1)
            last = np.arange(k + after, k + after + STRETCH)
            if first[0] < 0 or last[-1] >= len(time_s):
                continue
            due = max(
                _due(time_s, square, first, k, 1),
                _due(time_s, square, last, k, 1),
                _due(time_s, square, np.concatenate([first, last]), k, 2),
            )
            most[k] = max(most[k], front_mm[k] - np.sqrt(max(due, 0.0)))
    return most


def _due(time_s: FloatArray, square: FloatArray, rows: IntArray, at: int, degree: int) -> float:
    """Return the squared front that other rows put at one row."""
    span = time_s[rows[-1]] - time_s[rows[0]]
    fitted = np.polyfit((time_s[rows] - time_s[at]) / span, square[rows], degree)
    return float(fitted[-1])
