"""Where the resin comes in, and how far each pixel is from there."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np

from vision.records import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class Feed:
    """Where the resin comes in.

    `point_mm` is None for edge feed, and where a point is to be found; `radius_mm` the feed's own
    radius.
    """

    point_mm: tuple[float, float] | None = None
    radius_mm: float = 0.0
    is_point: bool = False


@dataclass(frozen=True)
class FeedOnCanvas:
    """The feed of a panel, with the canvas that shows it.

    Attributes
    ----------
    feed : Feed
    shape : (int, int)
        Rows and columns of the canvas.
    mm_per_px : float
    planned : ndarray of shape (M, N), bool, or None
        Of a part: pixels at its planned feeds, any of which resin may come from.
    way_px : ndarray of shape (M, N), float, or None
        Of a part: each pixel's distance from them inside the part.
    """

    feed: Feed
    shape: tuple[int, int]
    mm_per_px: float
    planned: BoolArray | None = None
    way_px: FloatArray | None = None

    @property
    def is_known(self) -> bool:
        """Whether the place of the feed is known before the front is seen."""
        return not self.feed.is_point or self.feed.point_mm is not None or self.planned is not None

    @property
    def point_px(self) -> tuple[float, float] | None:
        """The feed point (x, y) in pixels, the first pixel's centre at 0.5."""
        if self.feed.point_mm is None:
            return None
        x_mm, y_mm = self.feed.point_mm
        return x_mm / self.mm_per_px, y_mm / self.mm_per_px

    @cached_property
    def distance_px(self) -> FloatArray:
        """Each pixel's distance from the feed in pixels, shape (M, N); x where it is not known."""
        if self.way_px is not None:
            return self.way_px
        y, x = np.indices(self.shape) + 0.5
        point = self.point_px
        if not self.feed.is_point or point is None:
            return x.astype(np.float32)
        away = np.hypot(x - point[0], y - point[1]) - self.feed.radius_mm / self.mm_per_px
        return np.maximum(away, 0.0).astype(np.float32)

    def place(self, wet_frame: IntArray, least_front: float) -> BoolArray:
        """Mark where the resin comes in: the feed edge, the feed point, or what wetted first."""
        if self.planned is not None:
            return self.planned
        if self.is_known:
            return np.asarray(self.distance_px < 1.0)
        first = first_front(wet_frame, int(wet_frame.max()), least_front)
        wet = np.asarray(wet_frame <= first)
        _, labels, stats, _ = cv2.connectedComponentsWithStats(wet.astype(np.uint8))
        if len(stats) < 2:
            return wet
        return np.asarray(labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA])))

    def at(self, point_px: tuple[float, float]) -> FeedOnCanvas:
        """Return the same with the feed point found."""
        x_mm, y_mm = point_px[0] * self.mm_per_px, point_px[1] * self.mm_per_px
        return replace(self, feed=replace(self.feed, point_mm=(x_mm, y_mm)))


def first_front(wet_frame: IntArray, count: int, least_front: float) -> int:
    """Return the first frame by which more than specks had wetted.

    Parameters
    ----------
    wet_frame : ndarray of shape (M, N), int
    count : int
        Frames.
    least_front : float
        Share of the panel that must be wet.
    """
    wetted = np.cumsum(np.bincount(wet_frame.ravel(), minlength=count + 1)[:count])
    some = np.flatnonzero(wetted > least_front * wet_frame.size)
    return int(some[0]) if len(some) else 0
