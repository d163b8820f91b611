"""Factors that make a mean and a spread into a band for runs to come."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import chdtrc, ndtr, ndtri

from vision.records import FloatArray

_GRID = 401
_REACH = 8.0
_HALVINGS = 80


def tolerance_factor(count: int, coverage: float, confidence: float) -> float:
    """Compute the exact two-sided tolerance factor of a normal sample.

    Parameters
    ----------
    count : int
        Size of the sample, at least 2.
    coverage, confidence : float
        Mean plus and minus k standard deviations holds at least this share of all values to come,
        with this confidence; both between 0 and 1.

    Returns
    -------
    k : float

    Raises
    ------
    ValueError
        If a number is out of its range.

    Notes
    -----
    Source: ISO 16269-6:2014 (from memory); Wald and Wolfowitz 1946, Ann. Math. Statist. 17, 208
    (from memory). With mean off by z and spread s, the share held is that of a normal within
    z +- k s; k is solved so that it is large enough with the confidence asked for.

    Examples
    --------
    >>> round(tolerance_factor(10, 0.95, 0.95), 2)
    3.39
    """
    if count < 2 or not 0 < coverage < 1 or not 0 < confidence < 1:
        raise ValueError(
            f"count {count}, coverage {coverage}, confidence {confidence}: at least 2 values, and "
            "shares between 0 and 1"
        )
    off = np.linspace(0.0, _REACH, _GRID) / math.sqrt(count)
    weight = np.exp(-0.5 * count * off**2)
    weight[0] *= 0.5
    weight /= weight.sum()
    reach, freedom = _half_width(off, coverage), count - 1.0

    def held(k: float) -> float:
        return float(weight @ chdtrc(freedom, freedom * (reach / k) ** 2))

    low, high = 1e-3, 1.0
    while held(high) < confidence:
        low, high = high, 2.0 * high
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if held(middle) < confidence else (low, middle)
    return 0.5 * (low + high)


def _half_width(off: FloatArray, coverage: float) -> FloatArray:
    """Half width r about a centre that is off by z, such that a standard normal falls inside."""
    low, high = np.zeros_like(off), off + 10.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        short = ndtr(off + middle) - ndtr(off - middle) < coverage
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return 0.5 * (low + high)


def known_spread_factor(count: int, coverage: float) -> float:
    """Compute the factor for one more run where the spread is known and the mean is of `count`.

    Source: prediction interval of a normal with known standard deviation (textbook).

    Examples
    --------
    >>> round(known_spread_factor(1, 0.95), 3)
    2.772
    """
    return float(ndtri(0.5 + coverage / 2.0)) * math.sqrt(1.0 + 1.0 / count)
