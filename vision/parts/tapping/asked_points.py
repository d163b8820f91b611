"""Which corners of a part to tap on a photo, and how each is called."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.errors import WetlineError
from vision.part_records import PartShape
from vision.parts.part_settings import box_map
from vision.records import FloatArray
from vision.scale.plane_map import apply_homography

FEWEST, MOST = 4, 8
LEAST_TURN_DEG = 20.0
"""A corner that turns by less cannot be found by a finger. Common practice, no source."""

SHORT_SIDE = 0.02
"""Share of the part's size below which a side is a step of a curve, not a side."""

BESIDE_SHARE = 0.08
"""A corner nearer than this share of the part's size to a feed is called after it too."""


@dataclass(frozen=True)
class AskedPoint:
    """One point to tap.

    Attributes
    ----------
    mm : (float, float)
        Its place on the plan.
    words : str
        Where that is, as the part is seen from above.
    """

    mm: tuple[float, float]
    words: str


def points_to_tap(shape: PartShape, file: str, most: int = MOST) -> tuple[AskedPoint, ...]:
    """Choose corners of a part's plan that lie well apart, four first and then those between.

    Parameters
    ----------
    shape : PartShape
    file : str
        For messages.
    most : int
        Greatest number of points.

    Returns
    -------
    points : tuple of AskedPoint
        The first four clockwise as seen from above, from the upper left; then the others.

    Raises
    ------
    WetlineError
        If the plan has fewer than four corners.
    """
    matrix = box_map(shape)
    rings = [apply_homography(matrix, ring) for ring in (shape.outline_mm, *shape.holes_mm)]
    size = float(np.ptp(rings[0], axis=0).max())
    outer = _corners(rings[0], size)
    holes = [(ring, corner) for ring in rings[1:] for corner in _corners(ring, size)]
    inner = [corner for _, corner in holes]
    if len(outer) + len(inner) < FEWEST:
        raise WetlineError(
            f"{file}: [outline]: has {len(outer) + len(inner)} corners that a finger can find, and "
            f"{FEWEST} are needed: lay the four cards round the part instead (`wetline sheet`)"
        )
    found = np.array([*outer, *inner])
    is_inner = np.arange(len(found)) >= len(outer)
    if len(outer) >= FEWEST:
        order = _spread(found[~is_inner], most)
        order += [len(outer) + k for k in _spread(found[is_inner], most - len(order))]
    else:
        order = _spread(found, most)
    order = _clockwise(found, order[:FEWEST]) + _clockwise(found, order[FEWEST:])
    around = [rings[0]] * len(outer) + [ring for ring, _ in holes]
    words = _told_apart(
        [_words(shape, found[k], rings[0], around[k], size) for k in order], found[order]
    )
    on_plan = apply_homography(np.linalg.inv(matrix), found[order])
    return tuple(
        AskedPoint((round(float(x), 3), round(float(y), 3)), text)
        for (x, y), text in zip(on_plan, words, strict=True)
    )


def _corners(ring: FloatArray, size: float) -> list[FloatArray]:
    """Return the corners of a ring that a finger can find."""
    into, out = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    long = np.minimum(np.hypot(*into.T), np.hypot(*out.T)) > SHORT_SIDE * size
    turn = np.arctan2(into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0], np.sum(into * out, axis=1))
    return list(ring[long & (np.abs(turn) > np.radians(LEAST_TURN_DEG))])


def _spread(points: FloatArray, most: int) -> list[int]:
    """Choose points far from each other, one after another, the farthest from the middle first."""
    if not len(points) or most < 1:
        return []
    chosen = [int(np.argmax(np.hypot(*(points - points.mean(axis=0)).T)))]
    while len(chosen) < min(most, len(points)):
        away = np.min([np.hypot(*(points - points[k]).T) for k in chosen], axis=0)
        chosen.append(int(np.argmax(away)))
    return chosen


def _clockwise(points: FloatArray, chosen: list[int]) -> list[int]:
    """Return chosen points clockwise as seen from above, from the upper left one."""
    if not chosen:
        return []
    here = points[chosen]
    middle = here.mean(axis=0)
    angle = np.arctan2(here[:, 1] - middle[1], here[:, 0] - middle[0])  # y down: clockwise
    around = [chosen[k] for k in np.argsort(angle, kind="stable")]
    first = int(np.argmin(points[around].sum(axis=1)))
    return around[first:] + around[:first]


def _words(
    shape: PartShape, at: FloatArray, outline: FloatArray, ring: FloatArray, size: float
) -> str:
    """Return where a corner of a ring lies, in words; places in canvas mm."""
    text = _where(at, ring)
    if ring is not outline:
        text = f"opening at the {_where(ring.mean(axis=0), outline)}, its {text} corner"
    beside = _beside(shape, at, BESIDE_SHARE * size)
    return f"{text}, by feed {beside!r}" if beside else text


def _where(at: FloatArray, ring: FloatArray) -> str:
    """Return where in a ring's box a place lies."""
    share = (at - ring.min(axis=0)) / np.ptp(ring, axis=0)
    down = "upper" if share[1] < 0.34 else "lower" if share[1] > 0.66 else ""
    along = "left" if share[0] < 0.34 else "right" if share[0] > 0.66 else "middle"
    return f"{down} {along}".strip()


def _told_apart(words: list[str], at: FloatArray) -> list[str]:
    """Return the words, those of two corners that are called alike told apart by which lies how."""
    out = list(words)
    for text in set(words):
        alike = [k for k, other in enumerate(words) if other == text]
        if len(alike) != 2:
            continue
        apart = at[alike[1]] - at[alike[0]]
        axis = int(np.argmax(np.abs(apart)))
        low, high = (("left", "right"), ("up", "down"))[axis]
        names = (low, high) if apart[axis] > 0 else (high, low)
        for k, name in zip(alike, names, strict=True):
            out[k] = f"{text}, of two the further {name}"
    return out


def _beside(shape: PartShape, at: FloatArray, reach: float) -> str:
    """Return the name of a feed that begins or ends by a corner; empty if none does."""
    matrix = box_map(shape)
    for feed in shape.feeds:
        ends = apply_homography(matrix, np.atleast_2d(feed.points_mm))[[0, -1]]
        if np.hypot(*(ends - at).T).min() < reach:
            return feed.name
    return ""
