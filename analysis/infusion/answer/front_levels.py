"""Front lines of a part of any outline: where the front stood at a time, as polylines in mm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from skimage.measure import find_contours

from vision.records import BoolArray, FloatArray

SHORT_SHARE = 0.02
"""A piece shorter than this share of the part's longest side is left out."""


@dataclass(frozen=True)
class Level:
    """One piece of a front line.

    Attributes
    ----------
    time_s : float
    points_mm : ndarray of shape (N, 2)
    seen : ndarray of shape (N,), bool
        False where the times were filled in from around.
    """

    time_s: float
    points_mm: FloatArray
    seen: BoolArray

    @property
    def length_mm(self) -> float:
        """Length of the polyline."""
        return float(np.hypot(*np.diff(self.points_mm, axis=0).T).sum())


def front_levels(
    time_s: FloatArray,
    x_mm: FloatArray,
    y_mm: FloatArray,
    times_s: list[float],
    seen: BoolArray | None = None,
) -> list[Level]:
    """Draw the front at some times from a map of arrival.

    Parameters
    ----------
    time_s : ndarray of shape (ny, nx)
        Seconds; infinity where dry, NaN outside the part.
    x_mm, y_mm : ndarray of shape (nx,) and (ny,)
        Centres of columns and rows.
    times_s : list of float
    seen : ndarray of shape (ny, nx), bool, optional
        Where the time was seen; everywhere where left out.

    Returns
    -------
    lines : list of Level
        In order of time, the longest piece first. A line ends where the part ends.

    Notes
    -----
    Level sets by marching squares of the square root of time, which grows about evenly with the
    way (as in `vision.front`). Times at the rim are carried outwards so that lines reach it.
    """
    outside = np.isnan(time_s)
    if outside.all():
        return []
    root = np.sqrt(np.clip(np.where(outside, 0.0, time_s), 0.0, None))
    dry = np.isinf(root)
    wet = root[~outside & ~dry]
    beyond = 1.05 * float(wet.max()) + 1.0 if wet.size else np.inf
    root = np.where(dry, beyond, root)
    _, (row, col) = ndimage.distance_transform_edt(outside, return_indices=True)
    root = root[row, col]
    told = np.ones(time_s.shape, bool) if seen is None else seen[row, col]
    shortest = SHORT_SHARE * max(np.ptp(x_mm), np.ptp(y_mm))
    lines: list[Level] = []
    for at in times_s:
        pieces: list[Level] = []
        if min(root.shape) > 1 and at > 0 and wet.size:
            for contour in find_contours(root, float(np.sqrt(at))):
                pieces += _inside(contour, outside, told, x_mm, y_mm, at)
        lines += sorted((p for p in pieces if p.length_mm > shortest), key=lambda p: -p.length_mm)
    return lines


def _inside(
    contour: FloatArray,
    outside: BoolArray,
    told: BoolArray,
    x_mm: FloatArray,
    y_mm: FloatArray,
    time_s: float,
) -> list[Level]:
    """Cut one contour (row, col) to the part."""
    near = np.rint(contour).astype(int)
    keep = ~outside[near[:, 0], near[:, 1]]
    points = np.column_stack(
        [
            np.interp(contour[:, 1], np.arange(len(x_mm)), x_mm),
            np.interp(contour[:, 0], np.arange(len(y_mm)), y_mm),
        ]
    )
    seen = told[near[:, 0], near[:, 1]]
    index = np.flatnonzero(keep)
    runs = np.split(index, np.flatnonzero(np.diff(index) > 1) + 1)
    return [Level(time_s, points[run], seen[run]) for run in runs if len(run) > 1]
