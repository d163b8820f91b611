"""The front curve read from the arrival map: where the leading wet edge of each lane stands."""

from __future__ import annotations

import numpy as np

from vision.records import FloatArray


def lane_fronts_px(arrival_s: FloatArray, times_s: FloatArray) -> FloatArray:
    """Find the leading wet position in each lane at each time, to a part of a pixel.

    Parameters
    ----------
    arrival_s : ndarray of shape (M, N), float
        Arrival times; infinity where dry. Lanes are rows, the flow runs along the columns.
    times_s : ndarray of shape (K,), float

    Returns
    -------
    front_px : ndarray of shape (K, M), float
        From 0 (nothing wet) to N (wet to the end).

    Examples
    --------
    >>> arrival = np.array([[1.0, 3.0, 5.0], [1.0, np.inf, np.inf]])
    >>> lane_fronts_px(arrival, np.array([0.0, 2.0, 4.0, 9.0]))
    array([[0., 0.],
           [1., 1.],
           [2., 1.],
           [3., 1.]])
    """
    rows, cols = arrival_s.shape
    lanes = np.arange(rows)
    # When the last of a pixel and all beyond it wets: in order along each lane.
    beyond = np.minimum.accumulate(arrival_s[:, ::-1], axis=1)[:, ::-1]
    found = [np.searchsorted(lane, times_s, side="right") - 1 for lane in beyond]
    last = np.maximum(np.stack(found, axis=1), 0)
    padded = np.concatenate([arrival_s, np.full((rows, 1), np.inf)], axis=1)
    here, next_one = padded[lanes, last], padded[lanes, last + 1]
    with np.errstate(invalid="ignore", divide="ignore"):
        part = (np.asarray(times_s)[:, None] - here) / (next_one - here)
    part = np.where(np.isfinite(next_one), part, 0.5)
    # Between two pixel centres; past the last one that ever wets, its far side.
    place = last + 0.5 + np.clip(np.nan_to_num(part, nan=0.5), 0.0, 1.0)
    place = np.where(last == cols - 1, float(cols), place)
    return np.where(here <= np.asarray(times_s)[:, None], place, 0.0)
