"""What was wet before the first frame, in a run that was under way when the camera began."""

from __future__ import annotations

import cv2
import numpy as np

from vision.arrival import fill_from_around
from vision.project import ONSET
from vision.records import BoolArray, FloatArray
from vision.wetting import WetLook

RIM = 0.5
"""Least part of the rim of a patch at the feed that wets in the first frames after it."""

FRAMES = 4
"""First frames, in which the front has just come out of such a patch."""

DRY_FRAMES = 2
"""The dry level is a median of three frames: what changed by this one may not be told from it."""

GAP = np.ones((9, 9), np.uint8)
"""Gaps in such a patch, and between it and the feed, that do not matter."""

WITHOUT_SPECKS = np.ones((25, 25), np.uint8)

LEAST_LATER = 0.05
"""Share of the panel that must have wetted later, for dry to be known."""

WET = (0.3, 1.6)
"""How wet such a patch looks beside what lies around it; a fitting or tape looks otherwise."""


def wet_before(change: np.ndarray, level: FloatArray, feed: BoolArray, count: int) -> BoolArray:
    """Tell what was wet in the first frames already, which its own history does not show.

    It lies at the feed, looks wetter at the start than the dry fabric beyond it, and the front
    came out of it.

    Parameters
    ----------
    change : ndarray of shape (M, N), int
        First wet frame; `count` where nothing changed.
    level : ndarray of shape (M, N), float
        Projected level before the change (`WetLook.dry`); 1 apart for dry and wet.
    feed : ndarray of shape (M, N), bool
        Where the resin comes in.
    count : int
        Frames.
    """
    before = np.zeros(change.shape, bool)
    since = ((change > FRAMES) & (change < count)).astype(np.uint8)
    # Without specks, which would pass for dry fabric within the patch.
    later = cv2.morphologyEx(since, cv2.MORPH_OPEN, WITHOUT_SPECKS) > 0
    near = cv2.dilate(feed.astype(np.uint8), GAP) > 0
    if not (near & ~later).any() or np.count_nonzero(later) < LEAST_LATER * later.size:
        return before
    above = cv2.GaussianBlur(level.astype(np.float32), (0, 0), 2.0) - fill_from_around(level, later)
    wet = ~later & (above > WET[0]) & (above < WET[1])
    whole = cv2.morphologyEx(wet.astype(np.uint8), cv2.MORPH_CLOSE, GAP) > 0
    _, labels = cv2.connectedComponents((whole & ~later).astype(np.uint8), connectivity=4)
    for label in np.unique(labels[near & (labels > 0)]):
        patch = labels == label
        if np.mean((change[patch] >= count) | (change[patch] <= DRY_FRAMES)) < RIM:
            continue
        rim = (cv2.dilate(patch.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0) & ~patch
        if rim.any() and np.mean(change[rim] <= FRAMES + 1) >= RIM:
            before |= patch
    return before


def early_change(look: WetLook) -> np.ndarray:
    """Give the frame at which each pixel wetted, 0 to 2, where it was wet from the third on.

    The dry level is a median of the first three frames, so a pixel that was dry in one of them
    alone passes for one that never changed.
    """
    levels = [cv2.GaussianBlur(level, (0, 0), 1.0) for level in look.levels[:6]]
    wet = np.median(np.stack(levels[2:]), axis=0)
    dry_until = np.zeros(look.dry.shape, np.int16)
    for k in range(2):
        dry_until[wet - levels[k] > ONSET * np.median(look.share)] = k + 1
    return dry_until
