"""From "wet from this frame on" to the arrival map: a time at every millimetre, holes filled.

Between two frames the front passes over a strip. Within it the time is shared out by the
distance to the front of the earlier frame and to that of the later one, so that the map is
smooth and gives the front back exactly at each frame. What was never seen, or was hidden while
the front went by, has been filled before (see `holes`).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.records import BoolArray, FloatArray


@dataclass(frozen=True)
class Strips:
    """The strip that wetted between two frames, for every pixel.

    Attributes
    ----------
    change : ndarray of shape (M, N), int
        First wet frame, holes filled; K where it stayed dry.
    behind_px : ndarray of shape (M, N), float
        Distance from the front of the frame before.
    ahead_px : ndarray of shape (M, N), float
        Distance to the front of the first wet frame.
    """

    change: np.ndarray
    behind_px: FloatArray
    ahead_px: FloatArray


def signed_distance(wet: BoolArray) -> FloatArray:
    """Give the distance in pixels from the wet edge, positive on the dry side.

    The edge runs half-way between a wet and a dry pixel. Infinite where there is no edge.
    """
    return np.where(wet, -distance_to(~wet), distance_to(wet))


def strips(change: np.ndarray, count: int) -> Strips:
    """Measure each pixel's distances to the fronts of the frames before and at its wetting."""
    behind = np.full(change.shape, np.inf, np.float32)
    ahead = np.full(change.shape, np.inf, np.float32)
    for k in range(count):
        fresh = change == k
        box = around(fresh)
        if box is None:
            continue
        # Both fronts bound the strip, so looking at the box around it is enough.
        part, new = change[box], fresh[box]
        behind[box][new] = distance_to(part < k)[new]
        ahead[box][new] = distance_to(part > k)[new]
    return Strips(change, behind, ahead)


def around(mask: BoolArray, margin: int = 3) -> tuple[slice, slice] | None:
    """Give the rows and columns a mask spans, and a margin; None for an empty mask."""
    rows, cols = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    if not len(rows):
        return None
    return (
        slice(max(int(rows[0]) - margin, 0), int(rows[-1]) + margin + 1),
        slice(max(int(cols[0]) - margin, 0), int(cols[-1]) + margin + 1),
    )


def distance_to(target: BoolArray) -> FloatArray:
    """Give the distance in pixels to the near side of a region; infinite where there is none."""
    if not target.any():
        return np.full(target.shape, np.inf, np.float32)
    away = cv2.distanceTransform((~target).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    return away - np.float32(0.5)


def share_out_time(
    cut: Strips, times_s: FloatArray, start_s: float, feed_px: FloatArray, offset_px: FloatArray
) -> FloatArray:
    """Give each pixel its arrival time within its strip.

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
    frame = np.minimum(cut.change, count - 1)
    first = int(cut.change.min())
    moved = np.flatnonzero(np.bincount(cut.change.ravel(), minlength=count + 1)[:count])
    previous = np.full(count, -1)
    previous[moved[1:]] = moved[:-1]
    earlier = np.where(previous >= 0, previous, 0)
    # A front that stood still left its last place when it moved on: use the frame just before.
    from_s = np.where(previous >= 0, times_s[np.maximum(np.arange(count) - 1, 0)], start_s)
    back = np.where(np.isfinite(cut.behind_px), cut.behind_px - offset_px[earlier[frame]], feed_px)
    forth = np.where(np.isfinite(cut.ahead_px), cut.ahead_px, 0.5) + offset_px[frame]
    back, forth = np.maximum(back, 0.0), np.maximum(forth, 0.0)
    part = back / np.maximum(back + forth, 1e-3)
    part = np.where(cut.change == first, part**2, part)
    arrival = from_s[frame] + part * (times_s - from_s)[frame]
    return np.where(cut.change < count, arrival, np.inf)
