"""What was not seen of the wetting, filled from around it within what is possible.

A steady front keeps its shape while it moves, so a hole is filled lane by lane; where it has
stopped, the line it stopped at is carried over from the lanes beside.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.records import BoolArray, FloatArray, IntArray
from vision.repair.feed import FeedOnCanvas
from vision.settings.repair_settings import RepairSettings
from vision.wetting.glare import PatchLooks


@dataclass(frozen=True)
class Sighting:
    """What the frames show of when each pixel turned wet; arrays as in `Wetting`.

    Attributes
    ----------
    wet_frame, last_dry, first_wet : ndarray of shape (M, N), int
    seen : ndarray of shape (M, N), bool
        False for a hole: nothing is known there.
    blank : ndarray of shape (M, N), bool
        Hidden as the front went by: the change lies after `last_dry` and by `first_wet`.
    looks : PatchLooks or None
        As in `Wetting`; None where nothing shone on the panel.
    """

    wet_frame: IntArray
    last_dry: IntArray
    first_wet: IntArray
    seen: BoolArray
    blank: BoolArray
    looks: PatchLooks | None = None


@dataclass(frozen=True)
class Course:
    """What the front went by: the times of the frames, and the way from the feed.

    Attributes
    ----------
    times_s : ndarray of shape (K,), float
    feed : FeedOnCanvas
    """

    times_s: FloatArray
    feed: FeedOnCanvas


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
        smaller = cv2.resize(total, size, interpolation=cv2.INTER_AREA)
        weight = np.asarray(cv2.resize(share, size, interpolation=cv2.INTER_AREA), np.float32)
        levels.append((np.asarray(smaller, np.float32), weight))
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


def fill_wet_frame(
    sighting: Sighting, course: Course, settings: RepairSettings
) -> tuple[IntArray, BoolArray]:
    """Fill the wet frame of unsettled pixels from around them, within what is possible.

    Parameters
    ----------
    sighting : Sighting
    course : Course
    settings : RepairSettings

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
    wet_frame, count = sighting.wet_frame, len(course.times_s)
    known = _settled(sighting, count, settings.longest_gap_frames)
    if known.all() or not settings.fill_holes:
        return wet_frame.astype(np.int16), known
    along = 1 if course.feed.feed.is_point else settings.along_flow
    marks, half_step, first = _frame_marks(wet_frame, course.times_s)
    away = _way_px(course.feed, settings.near_feed)
    pace = np.sqrt(marks)[wet_frame] / away
    wetted = known & (wet_frame < count)
    if wetted.any():
        late = np.maximum(pace, np.median(pace[wetted]))
        pace = np.where(wet_frame < count, pace, late)
    known &= ~(out_of_step(pace, known, settings) & (wet_frame > first))
    filled = (fill_along_flow(pace, known, along) * away) ** 2
    frame: IntArray = np.searchsorted(marks - half_step, filled, side="right") - 1
    moved = np.bincount(wet_frame[known], minlength=count + 1)
    last = last_moved(moved, settings.still)
    frame = once_stopped(frame, filled, marks, last)
    if along > 1 and last < count - settings.stopped_frames:
        gap = settings.wide_gap
        frame = stop_in_lanes(frame, wet_frame, known, last=last, count=count, wide_gap=gap)
    earliest = sighting.last_dry + 1
    bounded = np.clip(frame, earliest, np.maximum(sighting.first_wet, earliest))
    if last < count - settings.stopped_frames:
        # Seen dry until the front had stopped, and never wet.
        bounded = np.where((earliest > last) & (sighting.first_wet >= count), count, bounded)
    frame = np.clip(np.where(sighting.seen, bounded, frame), 0, count)
    return np.where(known, wet_frame, frame).astype(np.int16), known


def _settled(sighting: Sighting, count: int, longest_gap: int) -> BoolArray:
    """Find the pixels whose change was seen between two frames not far apart."""
    by = np.where(sighting.wet_frame < count, sighting.first_wet, count)
    late = by - sighting.last_dry > longest_gap
    return np.asarray(sighting.seen & ~sighting.blank & ~late)


def _frame_marks(wet_frame: IntArray, times_s: FloatArray) -> tuple[FloatArray, float, int]:
    """Return time since about resin start for each wet frame, half a step, and the first frame.

    About resin start is half a step before the first frame with a front.
    """
    step = float(np.median(np.diff(times_s)))
    marks = np.concatenate([times_s, [times_s[-1] + 2 * step]])
    first = int(np.quantile(wet_frame, 0.02))
    return np.maximum(marks - marks[first] + step / 2, step / 20), step / 2, first


def _way_px(feed: FeedOnCanvas, near_feed: float) -> FloatArray:
    """Return each pixel's distance from the feed, nowhere 0; the same everywhere if not known."""
    if not feed.is_known:
        return np.ones(feed.shape, np.float32)
    distance = feed.distance_px
    return distance + np.float32(near_feed * float(distance.max()))


def once_stopped(frame: IntArray, mark: FloatArray, marks: FloatArray, last: int) -> IntArray:
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


def last_moved(wetted: IntArray, still: float) -> int:
    """Return the last frame at which more than a few pixels wetted.

    Parameters
    ----------
    wetted : ndarray of shape (K + 1,), int
        Pixels that wetted at each frame, and those that did not.
    still : float
        Share of them that wets by chance.
    """
    moved = np.flatnonzero(wetted[:-1] > still * wetted.sum())
    return int(moved[-1]) if len(moved) else 0


def stop_in_lanes(
    frame: IntArray,
    wet_frame: IntArray,
    known: BoolArray,
    *,
    last: int,
    count: int,
    wide_gap: float,
) -> IntArray:
    """Let the front stand at the end, in lanes where a hole hides it, as in the lanes beside.

    Parameters
    ----------
    frame : ndarray of shape (M, N), int
        First wet frame, filled.
    wet_frame : ndarray of shape (M, N), int
        Frame from which each is wet; `count` where it stayed dry.
    known : ndarray of shape (M, N), bool
        Where `wet_frame` is seen.
    last : int
        Frame at which the front stopped.
    count : int
        Frames.
    wide_gap : float
        A hole so many times as long as in most lanes hides more than a line.
    """
    place = np.arange(wet_frame.shape[1])
    last_wet = np.where(known & (wet_frame < count), place, -1).max(axis=1)
    dry = known & (wet_frame >= count) & (place > last_wet[:, None])
    first_dry = np.where(dry, place, len(place)).min(axis=1)
    gap = first_dry - last_wet
    wide = gap > wide_gap * np.median(gap)
    if not wide.any():
        return frame
    own_px = np.count_nonzero((frame < count) & (place < first_dry[:, None]), axis=1)
    stop_px = np.interp(np.arange(len(gap)), np.flatnonzero(~wide), own_px[~wide])
    stop_px = np.clip(stop_px, last_wet + 1, first_dry)
    beyond = np.where(place + 0.5 < stop_px[:, None], np.minimum(frame, last), count)
    return np.where(wide[:, None] & (place > last_wet[:, None]), beyond, frame)


def out_of_step(pace: FloatArray, known: BoolArray, settings: RepairSettings) -> BoolArray:
    """Find pixels on the rim of a hole that wetted out of step with what lies beyond the rim.

    Ink, glare and tools spread a little over the pixels around them.

    Parameters
    ----------
    pace : ndarray of shape (M, N), float
        Root of time over distance, or any field that is even along the front.
    known : ndarray of shape (M, N), bool
        False in the holes.
    settings : RepairSettings
    """
    window = settings.window(settings.hole_rim_mm)
    rim = known & (cv2.dilate((~known).astype(np.uint8), window) > 0)
    beyond = known & ~rim
    if not rim.any() or np.count_nonzero(beyond) < np.count_nonzero(rim):
        return np.zeros(known.shape, bool)
    expected = fill_from_around(pace, beyond)
    return rim & (pace < (1 - settings.out_of_step) * expected)
