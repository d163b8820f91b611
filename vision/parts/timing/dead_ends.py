"""When cloth wetted at a wall that the front ran into between two photos.

Between two photos the time is shared out by the distances to the front before and to the front
after. Where the front ends at a wall, or closes round the last dry cloth, no front after it lies
ahead: the nearest one is elsewhere on the part and says nothing. There the front is taken to go
on at the pace it had, and to have arrived by the photo that shows it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.arrival.frame_strips import bounding_slices
from vision.records import BoolArray, FloatArray, IntArray

OPPOSED = -0.5
"""Cosine between the ways to the front before and to the front after, past which a place does not
lie between the two."""

LOOK_BACK_PX = (5.0, 15.0)
"""The pace is that over the way behind the front, as long as what is to be told, within these."""

MOST_SLOWER = 1.5
"""The front slows down as it goes: its pace is carried on, up to so much."""

DOUBT_SHARE = 0.25
"""Share of the time so added, and of the photos' gap where no pace is known, that is in doubt."""


@dataclass(frozen=True)
class DeadEnds:
    """Arrival with dead ends put right.

    Attributes
    ----------
    arrival_s : ndarray of shape (M, N), float
    doubt_s : ndarray of shape (M, N), float
        What that adds to the standard uncertainty; 0 elsewhere.
    """

    arrival_s: FloatArray
    doubt_s: FloatArray


def time_dead_ends(
    arrival_s: FloatArray,
    wet_frame: IntArray,
    times_s: FloatArray,
    inside: BoolArray,
    known: BoolArray,
    offset_px: FloatArray,
) -> DeadEnds:
    """Return arrival in which the front goes on at its pace where no later front is ahead.

    Parameters
    ----------
    arrival_s : ndarray of shape (M, N), float
        As interpolated between the fronts, on the clock of `times_s`; infinity where dry.
    wet_frame : ndarray of shape (M, N), int
        Frame from which each is wet, holes filled; K where it stayed dry.
    times_s : ndarray of shape (K,), float
    inside : ndarray of shape (M, N), bool
        The part.
    known : ndarray of shape (M, N), bool
        What was seen and not filled: a hole that stays dry for want of better is no front.
    offset_px : ndarray of shape (K,), float
        How far ahead of the half-way contour the true front stands at each frame.
    """
    out, doubt = arrival_s.copy(), np.zeros(arrival_s.shape)
    moved = np.flatnonzero(np.bincount(wet_frame[inside], minlength=len(times_s))[: len(times_s)])
    for k in moved[1:]:
        box = bounding_slices((wet_frame == k) & inside, ROOM_PX)
        if box is None:
            continue
        fresh = (wet_frame[box] == k) & inside[box]
        behind = _nearest((wet_frame[box] < k) & inside[box])
        if behind is None:
            continue
        ahead = _nearest((wet_frame[box] > k) & inside[box])
        at = np.argwhere(fresh)
        back = behind[fresh] - at
        if ahead is not None:
            place = ahead[fresh]
            closed = _cosine(back, place - at) > OPPOSED
            closed |= ~known[box][tuple(place.T)]
            at, back = at[closed], back[closed]
        if not len(at):
            continue
        span = (float(times_s[k - 1]), float(times_s[k]))
        time_s, sd = _carried_on(arrival_s[box], at, back, span, float(offset_px[k - 1]))
        out[box][tuple(at.T)], doubt[box][tuple(at.T)] = time_s, sd
    return DeadEnds(out, doubt)


ROOM_PX = 40
"""Cloth around a strip in which the fronts before and after it, and the pace, are looked for."""


def _nearest(target: BoolArray) -> IntArray | None:
    """Return the nearest place of a region for every pixel, shape (M, N, 2); None if empty."""
    if not target.any():
        return None
    _, labels = cv2.distanceTransformWithLabels(
        (~target).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    places = np.zeros((int(labels.max()) + 1, 2), int)
    places[labels[target]] = np.argwhere(target)
    return np.asarray(places[labels])


def _cosine(a: IntArray, b: IntArray) -> FloatArray:
    size = np.hypot(a[:, 0], a[:, 1]) * np.hypot(b[:, 0], b[:, 1])
    return np.asarray(np.sum(a * b, axis=1) / np.maximum(size, 1e-9), float)


def _carried_on(
    arrival_s: FloatArray,
    at: IntArray,
    back: IntArray,
    span_s: tuple[float, float],
    offset_px: float,
) -> tuple[FloatArray, FloatArray]:
    """Return when places were reached at the pace of the front behind them, and the doubt."""
    far = np.hypot(back[:, 0], back[:, 1])
    way = back / far[:, None]
    reach = np.clip(far, *LOOK_BACK_PX)
    one = _arrival_at(arrival_s, at + back + way * reach[:, None])
    two = _arrival_at(arrival_s, at + back + 2 * way * reach[:, None])
    edge = _arrival_at(arrival_s, (at + back).astype(float))
    pace = (edge - one) / reach
    before = np.nan_to_num((one - two) / reach, nan=0.0)
    known = np.isfinite(pace) & (pace > 0)
    pace = np.where(known, pace, 1.0)
    pace = pace * np.clip(2 - np.where(before > 0, before, pace) / pace, 1.0, MOST_SLOWER)
    added, gap = np.maximum(far - 0.5 - offset_px, 0.0) * pace, span_s[1] - span_s[0]
    added = np.where(known, np.clip(added, 0.0, gap), gap / 2)
    doubt = DOUBT_SHARE * np.where(known, added, gap)
    return span_s[0] + added, doubt


def _arrival_at(arrival_s: FloatArray, at: FloatArray) -> FloatArray:
    """Return arrival at places; NaN where dry or off the canvas."""
    row, col = np.rint(at).astype(int).T
    rows, cols = arrival_s.shape
    on = (row >= 0) & (row < rows) & (col >= 0) & (col < cols)
    found = arrival_s[np.clip(row, 0, rows - 1), np.clip(col, 0, cols - 1)]
    return np.where(on & np.isfinite(found), found, np.nan)
