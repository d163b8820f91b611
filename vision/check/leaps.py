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
    stretch = np.arange(STRETCH)
    for before, after in NEAREST:
        rows = np.arange(before + STRETCH - 1, len(time_s) - after - STRETCH + 1)
        if not len(rows):
            continue
        first = rows[:, None] - before - stretch[::-1]
        last = rows[:, None] + after + stretch
        both = np.concatenate([first, last], axis=1)
        due = np.maximum(_due(time_s, square, first, rows, 1), _due(time_s, square, last, rows, 1))
        due = np.maximum(due, _due(time_s, square, both, rows, 2))
        most[rows] = np.maximum(most[rows], front_mm[rows] - np.sqrt(np.maximum(due, 0.0)))
    return most


def _due(
    time_s: FloatArray, square: FloatArray, others: IntArray, rows: IntArray, degree: int
) -> FloatArray:
    """Return the squared front that others put at each row; infinity where times are not apart.

    Parameters
    ----------
    time_s, square : ndarray of shape (K,), float
    others : ndarray of shape (N, R), int
        The rows that tell of each.
    rows : ndarray of shape (N,), int
    degree : int
    """
    times, values = time_s[others], square[others]
    apart = (np.diff(times, axis=1) > 0).all(axis=1)
    due = np.full(len(rows), np.inf)
    span = (times[apart, -1] - times[apart, 0])[:, None]
    along = (times[apart] - time_s[rows[apart]][:, None]) / span
    # Times about the row itself, in spans: the constant is what is due there.
    powers = along[:, :, None] ** np.arange(degree + 1)
    turned = powers.transpose(0, 2, 1)
    fitted = np.linalg.solve(turned @ powers, turned @ values[apart][:, :, None])
    due[apart] = fitted[:, 0, 0]
    return due
