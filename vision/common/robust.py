"""Medians of a few numbers, many times over."""

from __future__ import annotations

import numpy as np

from vision.records import FloatArray


def median_of_few(values: FloatArray) -> FloatArray:
    """Give the median along the first axis, far quicker than NumPy's own for some dozen values.

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
