"""From "wet from this frame on" to the arrival map: a time at every millimetre, holes filled.

Between two frames the front passes over a strip. Within it the time is shared out by the
distance to the front of the earlier frame and to that of the later one, so that the map is
smooth and gives the front back exactly at each frame. What was never seen, or was hidden while
the front went by, is filled from around it within the times that are still possible there.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from skimage.morphology import reconstruction

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

LONGEST_GAP = 6
"""A change with no clear frame on either side for longer than this is filled from around it."""


BRIDGE_SHARE = 0.015
"""Gaps up to this share of the panel's length do not cut off what lies beyond them."""

MOST_AHEAD = 0.4
"""Share of what wetted past which the feed must have been misjudged."""


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
                cv2.resize(total, size, interpolation=cv2.INTER_AREA),
                cv2.resize(share, size, interpolation=cv2.INTER_AREA),
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


def signed_distance(wet: BoolArray) -> FloatArray:
    """Give the distance in pixels from the wet edge, positive on the dry side.

    The edge runs half-way between a wet and a dry pixel. Infinite where there is no edge.
    """
    return np.where(wet, -distance_to(~wet), distance_to(wet))


def cut_off(change: np.ndarray, seen: BoolArray, feed: BoolArray) -> BoolArray:
    """Tell what turned "wet" while no wet way led there from the feed.

    Parameters
    ----------
    change : ndarray of shape (M, N), int
        First wet frame; the highest value where it stayed dry.
    seen : ndarray of shape (M, N), bool
        What was not seen may have been wet at any time.
    feed : ndarray of shape (M, N), bool
        Where the resin comes in.

    Returns
    -------
    apart : ndarray of shape (M, N), bool
        All False when much of what wetted would be (`MOST_AHEAD`).

    Notes
    -----
    Source: the earliest frame by which some way from the feed is wet all along is the
    morphological reconstruction by erosion of the frames of change, Vincent, IEEE Trans. Image
    Process. 2, 1993.
    """
    late = int(change.max())
    reach = max(1, round(BRIDGE_SHARE * change.shape[1]))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    open_way = cv2.erode(np.where(seen, change, 0).astype(np.int16), disc)
    from_feed = cv2.dilate(feed.astype(np.uint8), disc) > 0
    # Half the resolution leaves out gaps narrower than those that do not count.
    way = _reached_by(open_way, from_feed, late, 2 if reach >= 4 else 1)
    apart: BoolArray = (change < late) & ((change + 1 < way) | (way == late))
    wetted = np.count_nonzero(change < late)
    return apart & (np.count_nonzero(apart) < MOST_AHEAD * wetted)


def _reached_by(open_way: np.ndarray, from_feed: BoolArray, late: int, step: int) -> np.ndarray:
    """Give when the way to each place was open all along, `step` by `step` pixels taken as one."""
    rows, cols = open_way.shape

    def earliest(frames: np.ndarray) -> np.ndarray:
        room = ((0, -rows % step), (0, -cols % step))
        blocks = np.pad(frames, room, constant_values=late)
        high, wide = blocks.shape
        least: np.ndarray = blocks.reshape(high // step, step, wide // step, step).min(axis=(1, 3))
        return least

    seeds = earliest(np.where(from_feed, open_way, late).astype(open_way.dtype))
    way = reconstruction(seeds, earliest(open_way), method="erosion")
    full: np.ndarray = np.repeat(np.repeat(way, step, axis=0), step, axis=1)[:rows, :cols]
    return full


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
    frame = once_stopped(frame, filled, marks, np.bincount(change[known], minlength=count + 1))
    bounded = np.clip(frame, last_dry + 1, np.maximum(first_wet, last_dry + 1))
    frame = np.clip(np.where(seen, bounded, frame), 0, count)
    return np.where(known, change, frame).astype(np.int16), known


def once_stopped(
    frame: np.ndarray, mark: FloatArray, marks: FloatArray, wetted: np.ndarray
) -> np.ndarray:
    """Let nothing wet after the front has stopped for good: it is wet by then, or stays dry.

    Parameters
    ----------
    frame : ndarray of shape (M, N), int
    mark : ndarray of shape (M, N), float
        The same, between the marks of the frames.
    marks : ndarray of shape (K + 1,), float
    wetted : ndarray of shape (K + 1,), int
        Pixels known to have wetted at each frame; the last stayed dry.
    """
    count = len(wetted) - 1
    moved = np.flatnonzero(wetted[:-1] > STILL * wetted.sum())
    last = int(moved[-1]) if len(moved) else 0
    nearer = np.where(mark < (marks[last] + marks[count]) / 2, last, count)
    return np.where((frame > last) & (frame < count), nearer, frame)


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
