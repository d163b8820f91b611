"""Medians, scales and ranks: statistics that a few odd values do not sway."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.records import BoolArray, FloatArray


def median_of_few(values: FloatArray) -> FloatArray:
    """Return the median along the first axis, far quicker than NumPy's own for some dozen values.

    Parameters
    ----------
    values : ndarray of shape (N, ...), float
        At least one, none of them NaN.

    Examples
    --------
    >>> float(median_of_few(np.array([4.0, 1.0, 9.0, 2.0])))
    3.0
    """
    ordered = np.sort(values, axis=0)
    count = len(ordered)
    middle: FloatArray = (ordered[(count - 1) // 2] + ordered[count // 2]) / 2
    return middle


TUKEY_C = 4.685
"""Tuning constant of Tukey's biweight for 95 % efficiency on normal noise (Holland and Welsch,
Commun. Stat. A6, 1977)."""


def robust_scale(values: FloatArray, axis: int = 0) -> FloatArray:
    """Estimate the standard deviation from the median absolute value (zero-centred)."""
    return 1.4826 * np.median(np.abs(values), axis=axis)


def root_mean_square(values: FloatArray) -> FloatArray:
    """Return the root mean square over the last axis.

    Examples
    --------
    >>> root_mean_square(np.array([[3.0, 3.0], [1.0, 7.0]]))
    array([3., 5.])
    """
    return np.sqrt(np.einsum("...c,...c->...", values, values) / values.shape[-1])


def biweight(ratio: FloatArray) -> FloatArray:
    """Weigh residuals, given over the width of Tukey's biweight."""
    share = 1 - np.minimum(ratio, 1.0) ** 2
    return share * share


def rank_correlation(first: ArrayLike, second: ArrayLike) -> float:
    """Return Spearman's rank correlation of two series; NaN where one of them never changes.

    Parameters
    ----------
    first, second : array of shape (N,)
        Equal values share the mean of their ranks.

    Notes
    -----
    Source: Spearman, American Journal of Psychology 15, 72, 1904. SciPy has it too, in a module
    that takes longer to load than the whole of the first look at a run.

    Examples
    --------
    >>> round(rank_correlation([1, 2, 3, 4], [10, 20, 40, 30]), 6)
    0.8
    """
    ranks = [_ranks(np.asarray(values)) for values in (first, second)]
    spread = float(np.sqrt(np.sum(ranks[0] ** 2) * np.sum(ranks[1] ** 2)))
    return float(ranks[0] @ ranks[1]) / spread if spread > 0 else math.nan


def _ranks(values: NDArray[np.generic]) -> FloatArray:
    """Return the rank of each value, over the mean of all ranks."""
    _, place, counts = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(counts)
    return np.asarray((last - (counts - 1) / 2)[place] - (len(values) + 1) / 2, dtype=float)


def row_medians(values: FloatArray, use: BoolArray) -> FloatArray:
    """Return the (upper) median of each row over the places in use; 0 where there is none.

    Examples
    --------
    >>> row_medians(np.array([[3.0, 1.0, 9.0]]), np.array([[True, True, False]]))
    array([3.])
    """
    ordered = np.sort(np.where(use, values, np.inf), axis=1)
    counts = np.count_nonzero(use, axis=1)
    middle = ordered[np.arange(len(ordered)), np.minimum(counts // 2, values.shape[1] - 1)]
    return np.where(counts > 0, middle, 0.0)
