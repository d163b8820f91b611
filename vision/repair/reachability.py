"""What resin cannot have reached: cut off from the feed, or wet before its turn."""

from __future__ import annotations

import cv2
import numpy as np
from skimage.morphology import reconstruction

from vision.records import BoolArray, FloatArray
from vision.repair.feed import Feed, feed_place, from_feed_px
from vision.repair.inpaint import ALONG_FLOW, fill_change
from vision.repair.sun_patches import sunlit_later
from vision.wetting.change_point import WetLook


def plausible_change(
    look: WetLook, seen: BoolArray, times: FloatArray, mm_per_px: float, feed: Feed
) -> tuple[np.ndarray, BoolArray]:
    """Fill the holes, and what turned "wet" where resin cannot have been yet.

    A cup set down, ink drawn ahead of the front, glare that moved with the bag: all of them
    last, but the resin comes from the feed.
    """
    place = feed_place(look.change, mm_per_px, feed)
    known_feed = not feed.is_point or feed.point_mm is not None
    away = from_feed_px(look.change.shape, mm_per_px, feed) if known_feed else None
    along = 1 if feed.is_point else ALONG_FLOW
    change, seen = sunlit_later(look, seen, times, away, along)
    seen = seen & ~cut_off(change, seen, place)
    marks = (change, look.last_dry, np.where(change < look.change, len(times), look.first_wet))
    return fill_change(*marks, seen, look.blank, times, away, along)


BRIDGE_SHARE = 0.015
"""Gaps up to this share of the panel's length do not cut off what lies beyond them."""


MOST_AHEAD = 0.4
"""Share of what wetted past which the feed must have been misjudged."""


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
