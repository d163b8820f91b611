"""The part on its canvas: what of the box is part, where its feeds lie, how far each pixel is.

Tested in tests/vision/parts/test_part_canvas.py.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import cv2
import numpy as np
from skimage.graph import MCP_Geometric

from vision.part_records import FeedPlace, PartShape
from vision.parts.part_settings import box_map
from vision.records import BoolArray, FloatArray, IntArray
from vision.repair.feed import Feed, FeedOnCanvas

FEED_MM = 6.0
"""Half the breadth of a feed line with its hose, under which the cloth is not seen. Common
practice, no source."""

HOSE_MM = 12.0
"""Half the breadth of what is as narrow as a hose. Common practice, no source."""

BESIDE_MM = 25.0
"""Cloth so far from a feed shows whether resin came out of it."""


@dataclass(frozen=True)
class PartCanvas:
    """A part on its canvas.

    Attributes
    ----------
    mm_per_px : float
    inside : ndarray of shape (M, N), bool
    under : ndarray of shape (M, N), bool
        Under a feed's own hose: not cloth.
    vents : ndarray of shape (M, N), bool
        Under a vent's own hose: what changes there shows, what does not may be hidden.
    beside : dict of str to ndarray of shape (M, N), bool
        Cloth beside each planned feed.
    feeds : FeedOnCanvas
        All planned feeds, and the way from the first ones inside the part, in pixels.
    from_any_px : ndarray of shape (M, N), float
        The way from the nearest planned feed.
    """

    mm_per_px: float
    inside: BoolArray
    under: BoolArray
    vents: BoolArray
    beside: dict[str, BoolArray]
    feeds: FeedOnCanvas
    from_any_px: FloatArray


def lay_part(shape: PartShape, canvas: tuple[int, int], mm_per_px: float) -> PartCanvas:
    """Lay a part on a canvas of its outline's box.

    Parameters
    ----------
    shape : PartShape
    canvas : (int, int)
        Rows and columns.
    mm_per_px : float
    """
    inside = fill_outline(shape, canvas, mm_per_px)
    away = {feed.name: _away_mm(feed, shape, canvas, mm_per_px) for feed in shape.feeds}
    close = max(mm_per_px, FEED_MM)
    places = {name: (far <= close) & inside for name, far in away.items()}
    vents = np.zeros(canvas, bool)
    for vent in shape.vents:
        vents |= (_away_mm(vent, shape, canvas, mm_per_px) <= close) & inside
    everywhere = np.zeros(canvas, bool)
    for place in places.values():
        everywhere |= place
    first = np.zeros(canvas, bool)
    for feed in shape.feeds:
        if feed.first:
            first |= places[feed.name]
    beside = {
        name: (far > close) & (far <= close + max(BESIDE_MM, 3 * mm_per_px)) & inside
        for name, far in away.items()
    }
    way = geodesic_px(inside, first if first.any() else everywhere)
    point = Feed(is_point=True)
    return PartCanvas(
        mm_per_px=mm_per_px,
        inside=inside,
        under=everywhere,
        vents=vents,
        beside=beside,
        feeds=FeedOnCanvas(point, canvas, mm_per_px, planned=everywhere, way_px=way),
        from_any_px=geodesic_px(inside, everywhere),
    )


def fill_outline(shape: PartShape, canvas: tuple[int, int], mm_per_px: float) -> BoolArray:
    """Return which pixels' centres lie on the part, to a 16th of a pixel."""
    mask = np.zeros(canvas, np.uint8)
    for value, ring in ((1, shape.outline_mm), *((0, hole) for hole in shape.holes_mm)):
        px = to_px(shape, ring, mm_per_px)
        cv2.fillPoly(mask, [np.round(px * 16).astype(np.int32)], value, cv2.LINE_8, shift=4)
    return mask.astype(bool)


def to_px(shape: PartShape, points_mm: FloatArray, mm_per_px: float) -> FloatArray:
    """Return places of the plan in pixels of the canvas, the first centred at 0."""
    matrix = box_map(shape)
    on = np.asarray(points_mm, float) @ matrix[:2, :2].T + matrix[:2, 2]
    return np.asarray(on / mm_per_px - 0.5)


def _away_mm(
    feed: FeedPlace, shape: PartShape, canvas: tuple[int, int], mm_per_px: float
) -> FloatArray:
    """Return the straight distance of each pixel's centre from a feed."""
    points = to_px(shape, np.atleast_2d(feed.points_mm), mm_per_px)
    y, x = np.indices(canvas)
    here = np.stack([x, y], axis=-1).astype(float)
    ends = [(points[0], points[0])] if len(points) == 1 else list(itertools.pairwise(points))
    best = np.full(canvas, np.inf)
    for a, b in ends:
        along = b - a
        length = float(along @ along)
        share = np.clip((here - a) @ along / length, 0, 1) if length > 0 else np.zeros(canvas)
        best = np.minimum(best, np.hypot(*np.moveaxis(here - a - share[..., None] * along, -1, 0)))
    return np.maximum(best * mm_per_px - feed.radius_mm, 0.0)


def geodesic_px(inside: BoolArray, source: BoolArray) -> FloatArray:
    """Return the shortest way inside the part from a source, in pixels; the longest where none.

    Notes
    -----
    Source: Dijkstra's shortest paths over the eight neighbours, Numer. Math. 1, 1959.
    """
    starts = np.argwhere(source & inside)
    if not len(starts):
        return np.ones(inside.shape, np.float32)
    costs = np.where(inside, 1.0, -1.0)
    way = MCP_Geometric(costs).find_costs(starts.tolist())[0]
    reached = inside & np.isfinite(way)
    longest = float(way[reached].max())
    return np.where(reached, way, longest).astype(np.float32)


def hose_disc(mm_per_px: float) -> IntArray:
    """Return a disc somewhat wider than a hose."""
    reach = max(1, round(HOSE_MM / mm_per_px))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    return np.asarray(disc, np.uint8)
