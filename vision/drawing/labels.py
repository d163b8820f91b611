"""Places for labels along lines, so that none covers another."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from vision.records import BoolArray, FloatArray

# Shares of a line's length to try, the middle first.
PLACES = (0.5, *(0.5 + side * 0.04 * i for i in range(1, 12) for side in (-1, 1)))
# What it costs to hide one label height of another line, against a share of one's own length.
HIDING = 0.8


@dataclass(frozen=True)
class Box:
    """An upright rectangle: centre, width and height, in pixels."""

    x: float
    y: float
    width: float
    height: float

    def overlaps(self, other: Box, gap: float = 0.0) -> bool:
        """Return whether the two come nearer than `gap`."""
        near_x = abs(self.x - other.x) < (self.width + other.width) / 2 + gap
        return near_x and abs(self.y - other.y) < (self.height + other.height) / 2 + gap

    def inside(self, width: float, height: float) -> bool:
        """Return whether it lies wholly in a picture of that size."""
        half_w, half_h = self.width / 2, self.height / 2
        fits_x = half_w <= self.x <= width - half_w
        return fits_x and half_h <= self.y <= height - half_h

    def holds(self, points: FloatArray) -> BoolArray:
        """Find which points of shape (N, 2) lie in the box."""
        away = np.abs(points - [self.x, self.y]) <= [self.width / 2, self.height / 2]
        return np.asarray(away.all(axis=1))


def point_along(points: FloatArray, share: ArrayLike) -> FloatArray:
    """Return the point at a share of the length of a polyline of shape (N, 2), or at several.

    Examples
    --------
    >>> point_along(np.array([[0.0, 0.0], [10.0, 0.0]]), 0.25)
    array([2.5, 0. ])
    >>> point_along(np.array([[0.0, 0.0], [10.0, 0.0]]), (0.25, 0.5))
    array([[2.5, 0. ],
           [5. , 0. ]])
    """
    steps = np.hypot(*np.diff(points, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    wanted = np.asarray(share) * along[-1]
    return np.array([np.interp(wanted, along, axis) for axis in points.T]).T


def place_labels(
    lines: Sequence[FloatArray],
    sizes: Sequence[tuple[float, float]],
    picture: tuple[float, float],
    taken: Iterable[Box] = (),
    gap: float = 2.0,
) -> list[Box | None]:
    """Choose a place for one label on each line.

    Parameters
    ----------
    lines : sequence of ndarray of shape (N, 2)
        Polylines in pixels (x, y).
    sizes : sequence of (width, height)
        Size of each label in pixels.
    picture : (width, height)
        Size of the picture in pixels; a label stays inside, if need be
        beside the middle of its line.
    taken : iterable of Box
        Places already used.
    gap : float
        Least distance between labels, in pixels.

    Returns
    -------
    places : list of Box or None
        None where there is no room. A place near the middle of its line is preferred, and one
        that hides little of the other lines.

    Notes
    -----
    Source: greedy placement from a list of candidates, common practice in map drawing.
    """
    used = list(taken)
    nothing = np.zeros((0, 2))
    middles = np.vstack([nothing, *((line[1:] + line[:-1]) / 2 for line in lines)])
    lengths = np.hypot(*np.vstack([nothing, *(np.diff(line, axis=0) for line in lines)]).T)
    owner = np.repeat(np.arange(len(lines)), [len(line) - 1 for line in lines])
    places: list[Box | None] = []
    for i, (line, (width, height)) in enumerate(zip(lines, sizes, strict=True)):
        best: Box | None = None
        best_cost = np.inf
        half = np.array([width, height]) / 2
        middle = np.clip(point_along(line, PLACES), half, np.maximum(picture - half, half))
        for share, (x, y) in zip(PLACES, middle.tolist(), strict=True):
            if abs(share - 0.5) >= best_cost:  # whatever it hides, it costs no less
                continue
            box = Box(x, y, width, height)
            if not box.inside(*picture) or any(box.overlaps(b, gap) for b in used):
                continue
            hidden_px = float(lengths[box.holds(middles) & (owner != i)].sum())
            cost = abs(share - 0.5) + HIDING * hidden_px / height
            if cost < best_cost:
                best, best_cost = box, cost
        places.append(best)
        if best is not None:
            used.append(best)
    return places
