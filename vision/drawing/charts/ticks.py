"""Round values to mark along an axis, and their words."""

from __future__ import annotations

import math

import numpy as np

from vision.records import FloatArray

STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
MOST = 9
"""Ticks on an axis, at most one more than this."""
_PLAIN = (1e-3, 1e5)
"""Values of this size are written in full; others beside a power of ten."""


def round_ticks(low: float, high: float, most: int = MOST) -> FloatArray:
    """Return the multiples of a round step from `low` to `high`.

    Parameters
    ----------
    low, high : float
        Ends of the axis, `low` below `high`.
    most : int
        Steps there may be.

    Returns
    -------
    ticks : ndarray of shape (K,), float
        In order.

    Raises
    ------
    ValueError
        If `low` is not below `high`, or one is not finite.

    Examples
    --------
    >>> round_ticks(0.0, 106.0)
    array([  0.,  20.,  40.,  60.,  80., 100.])
    >>> round_ticks(-1.0, 4.0, 5)
    array([-1.,  0.,  1.,  2.,  3.,  4.])
    """
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        raise ValueError(f"low must be below high and both finite, got {low} and {high}")
    power = 10.0 ** math.floor(math.log10((high - low) / most))
    slack = 1e-9 * (high - low)
    for step in (share * power for share in STEPS):
        first, last = math.ceil((low - slack) / step), math.floor((high + slack) / step)
        if last - first <= most and (high - low) / step <= most:
            break
    return np.asarray(np.arange(first, last + 1) * step)


def tick_words(ticks: FloatArray) -> tuple[list[str], str]:
    """Return the numbers beside the ticks, and the power of ten they are to be taken times.

    Parameters
    ----------
    ticks : ndarray of shape (K,), float
        Evenly spaced, as `round_ticks` returns them.

    Returns
    -------
    words : list of str
    times : str
        Such as ``1e8``; empty where the numbers stand as they are.

    Examples
    --------
    >>> tick_words(np.array([0.0, 2.5, 5.0]))
    (['0.0', '2.5', '5.0'], '')
    >>> tick_words(np.array([0.0, 1e8, 2e8]))
    (['0', '1', '2'], '1e8')
    """
    largest = float(np.max(np.abs(ticks), initial=0.0))
    power = 0
    if largest and not _PLAIN[0] <= largest < _PLAIN[1]:
        power = math.floor(math.log10(largest))
    shown = ticks / 10.0**power
    step = float(np.min(np.diff(shown))) if len(shown) > 1 else 1.0
    places = next((n for n in range(12) if abs(round(step, n) - step) < 1e-6 * step), 12)
    words = [f"{value + 0.0:.{places}f}" for value in np.round(shown, places)]
    return words, f"1e{power}" if power else ""
