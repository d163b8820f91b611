"""What was not seen of the wetting, filled from around it within what is possible.

A steady front keeps its shape while it moves, so a hole is filled lane by lane; where it has
stopped, the line it stopped at is carried over from the lanes beside.
"""

from __future__ import annotations

import cv2
import numpy as np

from vision.records import BoolArray, FloatArray

ALONG_FLOW = 4
"""How much nearer a place along the flow counts than one across it, where the feed is an edge."""

STILL = 2e-4
"""Share of the panel that wets at a frame by chance once the front has stopped."""

NEAR_FEED = 0.1
"""Share of the run's length added to the distance from the feed, so that it is nowhere 0."""

RIM_PX = 9
"""Width of the window that makes the rim of a hole."""

OUT_OF_STEP = 0.04
"""Share of the front's distance by which the rim of a hole may be out of step."""

STOPPED = 3
"""Frames at the end in which nothing wets: the front has stopped."""

WIDE_GAP = 2.0
"""Where the front stopped, a hole so many times as long as in most lanes hides more than a line."""

LONGEST_GAP = 6
"""A change with no clear frame on either side for longer than this is filled from around it."""


def fill_from_around(values: FloatArray, known: BoolArray) -> FloatArray:
    """Fill unknown places smoothly from the known ones.

    Parameters
    ----------
    values : ndarray of shape (M, N), float
        Anything where not known.
    known : ndarray of shape (M, N), bool

    Returns
    -------
    filled : ndarray of shape (M, N), float32
        Known places unchanged. All zeros if nothing is known.

    Notes
    -----
    Source: pull-push interpolation on an image pyramid, Gortler et al., Proc. SIGGRAPH 1996,
    followed by Gauss relaxation of the holes towards the mean of their neighbours (Laplace).
    """
    weight = known.astype(np.float32)
    levels: list[tuple[FloatArray, FloatArray]] = [
        (np.where(known, values, 0).astype(np.float32) * weight, weight)
    ]
    while min(levels[-1][1].shape) > 2 and not np.all(levels[-1][1] > 0):
        total, share = levels[-1]
        size = ((total.shape[1] + 1) // 2, (total.shape[0] + 1) // 2)
        levels.append(
            (
                np.asarray(cv2.resize(total, size, interpolation=cv2.INTER_AREA), total.dtype),
                np.asarray(cv2.resize(share, size, interpolation=cv2.INTER_AREA), share.dtype),
            )
        )
    total, share = levels[-1]
    coarse = total / np.maximum(share, 1e-9)
    if not np.all(share > 0):
        mean = float(total.sum() / share.sum()) if share.sum() > 0 else 0.0
        coarse = np.where(share > 0, coarse, mean).astype(np.float32)
    for total, share in reversed(levels[:-1]):
        wide = cv2.resize(coarse, share.shape[::-1], interpolation=cv2.INTER_LINEAR)
        own = total / np.maximum(share, 1e-9)
        mix = np.minimum(share * 4, 1.0)
        coarse = np.where(share > 0, mix * own + (1 - mix) * wide, wide).astype(np.float32)
    return _relax(np.where(known, values, coarse).astype(np.float32), known)


def fill_along_flow(values: FloatArray, known: BoolArray, along: int) -> FloatArray:
    """Fill unknown places (see `fill_from_around`), what lies along x counting as so much nearer.

    A front keeps its shape while it moves, so a hole is best filled lane by lane.

    Parameters
    ----------
    values : ndarray of shape (M, N), float
    known : ndarray of shape (M, N), bool
    along : int
        How much nearer; 1 for no difference.
    """
    if along <= 1:
        return fill_from_around(values, known)
    rows, cols = known.shape
    size = (-(-cols // along), rows)
    share = cv2.resize(known.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    held = np.where(known, values, 0).astype(np.float32)
    total = cv2.resize(held, size, interpolation=cv2.INTER_AREA)
    some = share > 0
    narrow = fill_from_around(total / np.where(some, share, 1), some)
    wide = cv2.resize(narrow, (cols, rows), interpolation=cv2.INTER_LINEAR)
    return np.where(known, values, wide).astype(np.float32)


def _relax(filled: FloatArray, known: BoolArray, rounds: int = 40) -> FloatArray:
    if known.all():
        return filled
    hole, mean = ~known, np.empty_like(filled)
    for _ in range(rounds):
        cv2.blur(filled, (3, 3), dst=mean, borderType=cv2.BORDER_REPLICATE)
        np.copyto(filled, mean, where=hole)
    return filled


def fill_change(
    change: np.ndarray,
    last_dry: np.ndarray,
    first_wet: np.ndarray,
    seen: BoolArray,
    blank: BoolArray,
    times_s: FloatArray,
    distance_px: FloatArray | None = None,
    along: int = 1,
) -> tuple[np.ndarray, BoolArray]:
    """Fill the frame of change of unsettled pixels from around them, within what is possible.

    Parameters
    ----------
    change, last_dry, first_wet : ndarray of shape (M, N), int
        As in `wetting.WetLook`.
    seen : ndarray of shape (M, N), bool
        False for a hole: nothing is known there.
    blank : ndarray of shape (M, N), bool
        Hidden as the front went by: the change lies after `last_dry` and by `first_wet`.
    times_s : ndarray of shape (K,), float
    distance_px : ndarray of shape (M, N), float, optional
        From the feed, where that is known.
    along : int
        As in `fill_along_flow`.

    Returns
    -------
    filled : ndarray of shape (M, N), int
    known : ndarray of shape (M, N), bool
        What was not filled.

    Notes
    -----
    What is filled is the root of time over the distance from the feed, which a steady front keeps
    even (Darcy): a hole that reaches to the far end then goes on as the front did, and does not
    take the time of its rim.
    """
    count = len(times_s)
    step = float(np.median(np.diff(times_s)))
    marks = np.concatenate([times_s, [times_s[-1] + 2 * step]])
    # About resin start: half a step before the first frame with a front.
    first = int(np.quantile(change, 0.02))
    marks = np.maximum(marks - marks[first] + step / 2, step / 20)
    late = np.where(change < count, first_wet, count) - last_dry > LONGEST_GAP
    known = seen & ~blank & ~late
    if known.all():
        return change.astype(np.int16), known
    if distance_px is None:
        away = np.ones(change.shape, np.float32)
    else:
        away = distance_px + np.float32(NEAR_FEED * float(distance_px.max()))
    pace = np.sqrt(marks)[change] / away
    wetted = known & (change < count)
    if wetted.any():
        pace = np.where(change < count, pace, np.maximum(pace, np.median(pace[wetted])))
    known &= ~(out_of_step(pace, known) & (change > first))
    filled = (fill_along_flow(pace, known, along) * away) ** 2
    frame = np.searchsorted(marks - step / 2, filled, side="right") - 1
    wetted = np.bincount(change[known], minlength=count + 1)
    last = last_moved(wetted)
    frame = once_stopped(frame, filled, marks, last)
    if along > 1 and last < count - STOPPED:
        frame = stop_in_lanes(frame, change, known, last, count)
    bounded = np.clip(frame, last_dry + 1, np.maximum(first_wet, last_dry + 1))
    frame = np.clip(np.where(seen, bounded, frame), 0, count)
    return np.where(known, change, frame).astype(np.int16), known


def once_stopped(frame: np.ndarray, mark: FloatArray, marks: FloatArray, last: int) -> np.ndarray:
    """Let nothing wet after the front has stopped for good: it is wet by then, or stays dry.

    Parameters
    ----------
    frame : ndarray of shape (M, N), int
    mark : ndarray of shape (M, N), float
        The same, between the marks of the frames.
    marks : ndarray of shape (K + 1,), float
    last : int
        Frame at which it stopped.
    """
    count = len(marks) - 1
    nearer = np.where(mark < (marks[last] + marks[count]) / 2, last, count)
    return np.where((frame > last) & (frame < count), nearer, frame)


def last_moved(wetted: np.ndarray) -> int:
    """Give the last frame at which more than a few pixels wetted; their numbers given by frame."""
    moved = np.flatnonzero(wetted[:-1] > STILL * wetted.sum())
    return int(moved[-1]) if len(moved) else 0


def stop_in_lanes(
    frame: np.ndarray, change: np.ndarray, known: BoolArray, last: int, count: int
) -> np.ndarray:
    """Let the front stand at the end, in lanes where a hole hides it, as in the lanes beside.

    Parameters
    ----------
    frame : ndarray of shape (M, N), int
        First wet frame, filled.
    change : ndarray of shape (M, N), int
        First wet frame; `count` where it stayed dry.
    known : ndarray of shape (M, N), bool
        Where `change` is seen.
    last : int
        Frame at which the front stopped.
    count : int
        Frames.
    """
    place = np.arange(change.shape[1])
    last_wet = np.where(known & (change < count), place, -1).max(axis=1)
    dry = known & (change >= count) & (place > last_wet[:, None])
    first_dry = np.where(dry, place, len(place)).min(axis=1)
    gap = first_dry - last_wet
    wide = gap > WIDE_GAP * np.median(gap)
    if not wide.any():
        return frame
    own_px = np.count_nonzero((frame < count) & (place < first_dry[:, None]), axis=1)
    stop_px = np.interp(np.arange(len(gap)), np.flatnonzero(~wide), own_px[~wide])
    stop_px = np.clip(stop_px, last_wet + 1, first_dry)
    beyond = np.where(place + 0.5 < stop_px[:, None], np.minimum(frame, last), count)
    return np.where(wide[:, None] & (place > last_wet[:, None]), beyond, frame)


def out_of_step(pace: FloatArray, known: BoolArray) -> BoolArray:
    """Tell pixels on the rim of a hole that wetted out of step with what lies beyond the rim.

    Ink, glare and tools spread a little over the pixels around them.

    Parameters
    ----------
    pace : ndarray of shape (M, N), float
        Root of time over distance, or any field that is even along the front.
    known : ndarray of shape (M, N), bool
        False in the holes.
    """
    rim = known & (cv2.dilate((~known).astype(np.uint8), np.ones((RIM_PX, RIM_PX), np.uint8)) > 0)
    beyond = known & ~rim
    if not rim.any() or np.count_nonzero(beyond) < np.count_nonzero(rim):
        return np.zeros(known.shape, bool)
    expected = fill_from_around(pace, beyond)
    return rim & (pace < (1 - OUT_OF_STEP) * expected)
