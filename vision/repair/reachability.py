"""What resin cannot have reached: cut off from the feed, or wet before its turn."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from skimage.morphology import reconstruction

from vision.records import BoolArray, IntArray
from vision.repair.inpaint import Course, Sighting, fill_wet_frame
from vision.repair.jumps import find_jumps
from vision.repair.sun_patches import restore_sunlit
from vision.settings.repair_settings import RepairSettings


def reject_implausible(
    sighting: Sighting, onset: IntArray, course: Course, settings: RepairSettings
) -> tuple[IntArray, BoolArray]:
    """Fill the holes, and what turned "wet" where resin cannot have been yet.

    A cup set down, ink drawn ahead of the front, glare that moved with the bag: all of them
    last, but the resin comes from the feed.

    Parameters
    ----------
    sighting : Sighting
    onset : ndarray of shape (M, N), int
        Frame at which each pixel first looked wet for a while.
    course : Course
    settings : RepairSettings

    Returns
    -------
    wet_frame : ndarray of shape (M, N), int
    known : ndarray of shape (M, N), bool
        What was not filled.
    """
    place = course.feed.place(sighting.wet_frame, settings.least_front)
    lit = restore_sunlit(sighting, onset, course, settings)
    count = len(course.times_s)
    cut = unreachable_from_feed(lit.wet_frame, lit.seen, place, settings)
    reachable = replace(lit, seen=lit.seen & ~cut)
    # Round a point the front is small at first, and a frame's error of its shape is much of it.
    early = 1 if course.feed.feed.is_point else 0
    filled = fill_wet_frame(reachable, course, settings)
    wet_frame, known = keep_in_order(*filled, place, settings, early)
    if early:
        return wet_frame, known
    jumped = find_jumps(wet_frame, count, settings)
    if not jumped.any():
        return wet_frame, known
    steady = replace(reachable, wet_frame=wet_frame, seen=known & ~jumped)
    return keep_in_order(*fill_wet_frame(steady, course, settings), place, settings)


def keep_in_order(
    wet_frame: IntArray,
    known: BoolArray,
    feed: BoolArray,
    settings: RepairSettings,
    early: int = 0,
) -> tuple[IntArray, BoolArray]:
    """Let nothing be wet before there was a wet way to it, nor a hole stay dry behind the front.

    Parameters
    ----------
    wet_frame : ndarray of shape (M, N), int
        Holes filled.
    known : ndarray of shape (M, N), bool
        What was not.
    feed : ndarray of shape (M, N), bool
    settings : RepairSettings
    early : int
        Frames by which a place may be wet before its way and stay so.
    """
    wet_frame, known = _nothing_ahead(wet_frame, known, feed, settings, early)
    # Little islands of what was seen in a hole have no say: they are its rim.
    closed = cv2.morphologyEx(known.astype(np.uint8), cv2.MORPH_CLOSE, settings.speck_window)
    whole = np.asarray(cv2.morphologyEx(closed, cv2.MORPH_OPEN, settings.island_window) > 0)
    return dry_at_latest(wet_frame, feed, whole), known & whole


def dry_at_latest(wet_frame: IntArray, feed: BoolArray, seen: BoolArray) -> IntArray:
    """Return the wet frames, none later than the last at which dry cloth was seen to reach there.

    A dry way leads there from an edge of the panel, or from a dry spot that was seen.

    Parameters
    ----------
    wet_frame : ndarray of shape (M, N), int
    feed : ndarray of shape (M, N), bool
        Where the resin comes in: no way leads from there.
    seen : ndarray of shape (M, N), bool

    Notes
    -----
    Source: morphological reconstruction by dilation, as in `unreachable_from_feed`.
    """
    edge = np.ones(wet_frame.shape, bool)
    edge[1:-1, 1:-1] = False
    dry = wet_frame.copy()
    # What was seen stays as it is, and tells all that a way through it could.
    box = _around(~seen)
    own = wet_frame[box]
    if own.size:
        seeds = np.where(((edge & ~feed) | seen)[box], own, wet_frame.min()).astype(own.dtype)
        dry[box] = reconstruction(seeds, own, method="dilation")
    return dry


def _around(mask: BoolArray) -> tuple[slice, slice]:
    """Return the rows and columns in or beside which the mask is True; none where it never is."""
    rows, cols = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    if not rows.size:
        return slice(0), slice(0)
    return slice(max(rows[0] - 1, 0), rows[-1] + 2), slice(max(cols[0] - 1, 0), cols[-1] + 2)


def _nothing_ahead(
    wet_frame: IntArray, known: BoolArray, feed: BoolArray, settings: RepairSettings, early: int
) -> tuple[IntArray, BoolArray]:
    """Let nothing be wet before there was a wet way to it; what seemed to be was not seen."""
    # Nothing is left out any more, so that only what is as narrow as a line is bridged.
    narrow = replace(settings, bridge_share=settings.bridge_filled)
    way = _way_from_feed(wet_frame, np.ones_like(known), feed, narrow)
    apart = _apart(wet_frame, way, settings, early)
    return np.where(apart, way, wet_frame).astype(np.int16), known & ~apart


def unreachable_from_feed(
    wet_frame: IntArray, seen: BoolArray, feed: BoolArray, settings: RepairSettings
) -> BoolArray:
    """Find what turned "wet" while no wet way led there from the feed.

    Parameters
    ----------
    wet_frame : ndarray of shape (M, N), int
        Frame from which each is wet; the highest value where it stayed dry.
    seen : ndarray of shape (M, N), bool
        What was not seen may have been wet at any time.
    feed : ndarray of shape (M, N), bool
        Where the resin comes in.
    settings : RepairSettings

    Returns
    -------
    apart : ndarray of shape (M, N), bool
        All False when much of what wetted would be (`RepairSettings.most_ahead`).

    Notes
    -----
    Source: the earliest frame by which some way from the feed is wet all along is the
    morphological reconstruction by erosion of the frames of change, Vincent, IEEE Trans. Image
    Process. 2, 1993.
    """
    return _apart(wet_frame, _way_from_feed(wet_frame, seen, feed, settings), settings)


def _way_from_feed(
    wet_frame: IntArray, seen: BoolArray, feed: BoolArray, settings: RepairSettings
) -> IntArray:
    """Return the first frame by which some way from the feed to each pixel is wet all along."""
    late = int(wet_frame.max())
    reach = max(1, round(settings.bridge_share * wet_frame.shape[1]))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    open_way: IntArray = np.asarray(
        cv2.erode(np.where(seen, wet_frame, 0).astype(np.int16), disc), np.int16
    )
    from_feed = np.asarray(cv2.dilate(feed.astype(np.uint8), disc) > 0)
    # Half the resolution leaves out gaps narrower than those that do not count.
    return _reached_by(open_way, from_feed, late, 2 if reach >= 4 else 1)


def _apart(
    wet_frame: IntArray, way: IntArray, settings: RepairSettings, early: int = 1
) -> BoolArray:
    """Find what is wet before its way by more than some frames; nothing when much would be."""
    late = int(wet_frame.max())
    apart: BoolArray = (wet_frame < late) & ((wet_frame + early < way) | (way == late))
    wetted = np.count_nonzero(wet_frame < late)
    return apart & (np.count_nonzero(apart) < settings.most_ahead * wetted)


def _reached_by(open_way: IntArray, from_feed: BoolArray, late: int, step: int) -> IntArray:
    """Return when the way to each place was open; `step` by `step` pixels are taken as one."""
    rows, cols = open_way.shape

    def earliest(frames: IntArray) -> IntArray:
        room = ((0, -rows % step), (0, -cols % step))
        blocks = np.pad(frames, room, constant_values=late)
        high, wide = blocks.shape
        least: IntArray = blocks.reshape(high // step, step, wide // step, step).min(axis=(1, 3))
        return least

    seeds = earliest(np.where(from_feed, open_way, late).astype(open_way.dtype))
    least = earliest(open_way)
    # Mostly nothing is cut off, and that is told far sooner than how long it is.
    clear = has_no_hollow(least, seeds)
    way = least if clear else reconstruction(seeds, least, method="erosion")
    full: IntArray = np.repeat(np.repeat(way, step, axis=0), step, axis=1)[:rows, :cols]
    return full


def has_no_hollow(frames: IntArray, seeds: IntArray) -> bool:
    """Return whether a way leads from every pixel to a seed on which the frame never rises.

    Parameters
    ----------
    frames : ndarray of shape (M, N), int16
    seeds : ndarray of shape (M, N), int16
        The same where a pixel is a seed, else the highest value.

    Notes
    -----
    A hollow is a patch of one value with nothing lower beside it (a regional minimum; Vincent,
    IEEE Trans. Image Process. 2, 1993). Where each of them holds a seed, reconstruction by
    erosion changes nothing.

    Examples
    --------
    >>> seeds = np.array([[1, 9, 9, 9]], np.int16)
    >>> has_no_hollow(np.array([[1, 2, 2, 5]], np.int16), seeds)
    True
    >>> has_no_hollow(np.array([[1, 2, 4, 3]], np.int16), seeds)
    False
    """
    around = np.ones((3, 3), np.uint8)
    low = frames == cv2.erode(frames, around)
    # What is low and touches its like that is not can be left by it.
    beside = cv2.erode(np.where(low, np.iinfo(np.int16).max, frames).astype(np.int16), around)
    open_ended = low & ((frames == beside) | (frames == seeds))
    count, patches = cv2.connectedComponents(low.astype(np.uint8), connectivity=8)
    return bool(np.count_nonzero(np.bincount(patches[open_ended])) == count - 1)
