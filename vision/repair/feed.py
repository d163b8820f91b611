"""Where the resin comes in, and how far each pixel is from there."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.records import BoolArray, FloatArray

LEAST_FRONT = 0.002
"""Share of the panel that must be wet before it counts as a front."""


@dataclass(frozen=True)
class Feed:
    """Where the resin comes in.

    `point_mm` is None for edge feed; `radius_mm` the feed's own radius.
    """

    point_mm: tuple[float, float] | None = None
    radius_mm: float = 0.0
    is_point: bool = False


def first_front(change: np.ndarray, count: int) -> int:
    """Give the first frame by which more than specks had wetted."""
    wetted = np.cumsum(np.bincount(change.ravel(), minlength=count + 1)[:count])
    some = np.flatnonzero(wetted > LEAST_FRONT * change.size)
    return int(some[0]) if len(some) else 0


def feed_place(change: np.ndarray, mm_per_px: float, feed: Feed) -> BoolArray:
    """Mark where the resin comes in: the feed edge, the feed point, or what wetted first."""
    if feed.is_point and feed.point_mm is None:
        first = first_front(change, int(change.max()))
        wet = np.asarray(change <= first)
        _, labels, stats, _ = cv2.connectedComponentsWithStats(wet.astype(np.uint8))
        if len(stats) < 2:
            return wet
        return np.asarray(labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA])))
    return from_feed_px(change.shape, mm_per_px, feed) < 1.0


def from_feed_px(shape: tuple[int, int], mm_per_px: float, feed: Feed) -> FloatArray:
    """Give each pixel's distance from the feed, in pixels."""
    y, x = np.indices(shape) + 0.5
    if not feed.is_point or feed.point_mm is None:
        return x.astype(np.float32)
    away = np.hypot(x - feed.point_mm[0] / mm_per_px, y - feed.point_mm[1] / mm_per_px)
    return np.maximum(away - feed.radius_mm / mm_per_px, 0.0).astype(np.float32)
