"""From "wet from this frame on" to the arrival map: a time at every millimetre, holes filled.

Between two frames the front passes over a strip. Within it the time is shared out by the
distance to the front of the earlier frame and to that of the later one, so that the map is
smooth and gives the front back exactly at each frame. What was never seen, or was hidden while
the front went by, has been filled before (see `repair`).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.records import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class Strips:
    """The strip that wetted between two frames, for every pixel.

    Attributes
    ----------
    wet_frame : ndarray of shape (M, N), int
        Frame from which each is wet, holes filled; K where it stayed dry.
    behind_px : ndarray of shape (M, N), float
        Distance from the front of the frame before.
    ahead_px : ndarray of shape (M, N), float
        Distance to the front of the first wet frame.
    """

    wet_frame: IntArray
    behind_px: FloatArray
    ahead_px: FloatArray


def signed_distance(wet: BoolArray) -> FloatArray:
    """Return the distance in pixels from the wet edge, positive on the dry side.

    The edge runs half-way between a wet and a dry pixel. Infinite where there is no edge.
    """
    return np.where(wet, -distance_to(~wet), distance_to(wet))


def measure_strips(wet_frame: IntArray, count: int) -> Strips:
    """Measure each pixel's distances to the fronts of the frames before and at its wetting."""
    behind = np.full(wet_frame.shape, np.inf, np.float32)
    ahead = np.full(wet_frame.shape, np.inf, np.float32)
    for k in range(count):
        fresh = wet_frame == k
        box = bounding_slices(fresh)
        if box is None:
            continue
        # Both fronts bound the strip, so looking at the box around it is enough.
        part, new = wet_frame[box], fresh[box]
        behind[box][new] = distance_to(_without_specks(part < k))[new]
        ahead[box][new] = distance_to(_without_specks(part > k))[new]
    return Strips(wet_frame, behind, ahead)


SPECK_PX = 5
"""What is narrower than this either way is a speck of glare or weave: time is not shared out by
the way to it."""


def _without_specks(target: BoolArray) -> BoolArray:
    """Return a region without its specks; the whole of it where it is nothing but specks."""
    window = np.ones((SPECK_PX, SPECK_PX), np.uint8)
    opened = cv2.morphologyEx(target.astype(np.uint8), cv2.MORPH_OPEN, window) > 0
    return np.asarray(opened) if opened.any() else target


def bounding_slices(mask: BoolArray, margin: int = 3) -> tuple[slice, slice] | None:
    """Return the rows and columns a mask spans, and a margin; None for an empty mask."""
    rows, cols = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    if not len(rows):
        return None
    return (
        slice(max(int(rows[0]) - margin, 0), int(rows[-1]) + margin + 1),
        slice(max(int(cols[0]) - margin, 0), int(cols[-1]) + margin + 1),
    )


def distance_to(target: BoolArray) -> FloatArray:
    """Return the distance in pixels to the near side of a region; infinite where there is none."""
    if not target.any():
        return np.full(target.shape, np.inf, np.float32)
    away = cv2.distanceTransform((~target).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    return np.asarray(away, np.float32) - np.float32(0.5)


def interpolate_arrival(
    cut: Strips, times_s: FloatArray, start_s: float, feed_px: FloatArray, offset_px: FloatArray
) -> FloatArray:
    """Return each pixel's arrival time within its strip.

    Parameters
    ----------
    cut : Strips
    times_s : ndarray of shape (K,), float
    start_s : float
        Resin start on the same clock.
    feed_px : ndarray of shape (M, N), float
        Distance from the feed, for what was wet in the first wet frame.
    offset_px : ndarray of shape (K,), float
        How far ahead of the half-way contour the true front stands at each frame.

    Returns
    -------
    arrival_s : ndarray of shape (M, N), float
        On the clock of `times_s`; infinity where dry.
    """
    count = len(times_s)
    frame = np.minimum(cut.wet_frame, count - 1)
    first = int(cut.wet_frame.min())
    moved = np.flatnonzero(np.bincount(cut.wet_frame.ravel(), minlength=count + 1)[:count])
    previous = np.full(count, -1)
    previous[moved[1:]] = moved[:-1]
    earlier = np.where(previous >= 0, previous, 0)
    # A front that stood still left its last place when it moved on: use the frame just before.
    from_s = np.where(previous >= 0, times_s[np.maximum(np.arange(count) - 1, 0)], start_s)
    back = np.where(np.isfinite(cut.behind_px), cut.behind_px - offset_px[earlier[frame]], feed_px)
    forth = np.where(np.isfinite(cut.ahead_px), cut.ahead_px, 0.5) + offset_px[frame]
    back, forth = np.maximum(back, 0.0), np.maximum(forth, 0.0)
    strip_px = np.maximum(back + forth, 1e-3)
    part = back / strip_px
    # Darcy: the square of the way grows evenly in time, within a strip as over the run.
    before_px = np.where(cut.wet_frame == first, 0.0, np.maximum(feed_px - back, 0.0))
    part = part * (2 * before_px + part * strip_px) / (2 * before_px + strip_px)
    arrival = from_s[frame] + part * (times_s - from_s)[frame]
    return np.where(cut.wet_frame < count, arrival, np.inf)
