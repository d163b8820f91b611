"""What was wet before the first frame, in a run that was under way when the camera began."""

from __future__ import annotations

import cv2
import numpy as np

from vision.records import BoolArray, FloatArray
from vision.repair.inpaint import fill_from_around
from vision.wetting.change_point import WetLook
from vision.wetting.wetness import ONSET

RIM = 0.5
"""Least part of the rim of a patch at the feed that wets in the first frames after it."""

RIM_FRAMES = 2
"""Frames by which the rim must have wetted: a fitting on the feed looks wet too, but the resin
comes out of it later, when the run begins."""

FRAMES = 4
"""What changes by this frame may have been wet when the dry level was taken."""

LEAST_STEP = 0.5
"""What has changed by less than this, in steps, from the first frames to the last, has not."""

MOST_OF_FEED = 0.5
"""Share of a feed edge beyond which what looks the same throughout is no fitting on it."""

GAP = np.ones((9, 9), np.uint8)
"""Gaps in such a patch, and between it and the feed, that do not matter."""

WITHOUT_SPECKS = np.ones((25, 25), np.uint8)

LEAST_LATER = 0.05
"""Share of the panel that must have wetted later, for dry to be known."""

WET = (0.4, 1.6)
"""How wet such a patch looks beside what lies around it; a fitting or tape looks otherwise."""


def wet_before(
    change: np.ndarray, level: FloatArray, at_end: FloatArray, feed: BoolArray
) -> BoolArray:
    """Tell what was wet in the first frames already, which its own history does not show.

    It lies at the feed, looks the same at the end as at the start, wetter than the dry fabric
    beyond it looked at the start, and the front came out of it.

    Parameters
    ----------
    change : ndarray of shape (M, N), int
        First wet frame.
    level : ndarray of shape (M, N), float
        Projected level before the change (`WetLook.dry`); 1 apart for dry and wet.
    at_end : ndarray of shape (M, N), float
        The same in the last frames.
    feed : ndarray of shape (M, N), bool
        Where the resin comes in.
    """
    before = np.zeros(change.shape, bool)
    same = cv2.GaussianBlur((at_end - level).astype(np.float32), (0, 0), 2.0) < LEAST_STEP
    near = cv2.dilate(feed.astype(np.uint8), GAP) > 0
    if not (near & same).any():
        return before
    # Dry at first: what changed later, and what never changed and lies apart from the feed.
    _, unchanged = cv2.connectedComponents(same.astype(np.uint8), connectivity=4)
    apart = same & ~np.isin(unchanged, unchanged[near & same])
    since = ((~same & (change > FRAMES)) | apart).astype(np.uint8)
    # Without specks, which would pass for dry fabric within the patch.
    later = cv2.morphologyEx(since, cv2.MORPH_OPEN, WITHOUT_SPECKS) > 0
    if np.count_nonzero(later) < LEAST_LATER * later.size:
        return before
    above = cv2.GaussianBlur(level.astype(np.float32), (0, 0), 2.0) - fill_from_around(level, later)
    wet = same & (above > WET[0]) & (above < WET[1])
    for patch in _came_out_of(
        cv2.morphologyEx(wet.astype(np.uint8), cv2.MORPH_CLOSE, GAP), change, near
    ):
        before |= patch
    return before


def wet_along_edge(
    change: np.ndarray, level: FloatArray, at_end: FloatArray, share: FloatArray, feed: BoolArray
) -> BoolArray:
    """Tell what was wet in the first frames already, at a feed edge, whatever its level.

    Glare can hide how the level differs from the dry fabric's. But what looks the same throughout
    along most of the edge is no fitting on it, and the front cannot have come from elsewhere.

    Parameters
    ----------
    change, level, at_end, feed : ndarray of shape (M, N)
        As in `wet_before`.
    share : ndarray of shape (M, N), float
        Each pixel's own step from dry to wet (`WetLook.share`).
    """
    own_step = np.minimum(share, 1.0)
    same = cv2.GaussianBlur(((at_end - level) / own_step).astype(np.float32), (0, 0), 2.0)
    alike = cv2.morphologyEx((same < LEAST_STEP).astype(np.uint8), cv2.MORPH_OPEN, GAP)
    before = np.zeros(change.shape, bool)
    for patch in _came_out_of(alike, change, feed):
        if np.mean(patch[feed]) > MOST_OF_FEED:
            before |= patch
    return before


def _came_out_of(patches: np.ndarray, change: np.ndarray, near: BoolArray) -> list[BoolArray]:
    """Give the patches at the feed that the front came out of in the first frames."""
    _, labels = cv2.connectedComponents(patches, connectivity=4)
    found = []
    for label in np.unique(labels[near & (labels > 0)]):
        patch = labels == label
        rim = (cv2.dilate(patch.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0) & ~patch
        if rim.any() and np.mean(change[rim] <= RIM_FRAMES) >= RIM:
            found.append(patch)
    return found


def early_change(look: WetLook) -> np.ndarray:
    """Give the frame at which each pixel wetted, 0 to 2, where it was wet from the third on.

    The dry level is a median of the first three frames, so a pixel that was dry in one of them
    alone passes for one that never changed.
    """
    levels = [cv2.GaussianBlur(level, (0, 0), 1.0) for level in look.levels[:6]]
    wet = np.median(np.stack(levels[2:]), axis=0)
    dry_until = np.zeros(look.dry.shape, np.int16)
    for k in range(2):
        dry_until[wet - levels[k] > (1 - ONSET) * np.median(look.share)] = k + 1
    return dry_until
