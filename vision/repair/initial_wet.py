"""What was wet before the first frame, in a run that was under way when the camera began."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.records import BoolArray, FloatArray, IntArray
from vision.repair.inpaint import fill_from_around
from vision.settings.repair_settings import RepairSettings
from vision.wetting.canvas_series import middle_of
from vision.wetting.change_point import Wetting


@dataclass(frozen=True)
class BeforeAndAfter:
    """What each pixel showed at the start and at the end of the run.

    Attributes
    ----------
    wet_frame : ndarray of shape (M, N), int
        Frame from which each is wet.
    level : ndarray of shape (M, N), float
        Projected level before the change (`PixelScale.dry`); 1 apart for dry and wet.
    at_end : ndarray of shape (M, N), float
        The same in the last frames.
    step_ratio : ndarray of shape (M, N), float
        Each pixel's own step from dry to wet.
    feed : ndarray of shape (M, N), bool
        Where the resin comes in.
    """

    wet_frame: IntArray
    level: FloatArray
    at_end: FloatArray
    step_ratio: FloatArray
    feed: BoolArray


def find_initial_wet(
    wetting: Wetting, place: BoolArray, along_edge: bool, onset: float, settings: RepairSettings
) -> tuple[Wetting, BoolArray]:
    """Find what was wet in the first frames already, and put its wet frame right.

    Parameters
    ----------
    wetting : Wetting
    place : ndarray of shape (M, N), bool
        Where the resin comes in.
    along_edge : bool
        Whether that is the panel's edge and not a point.
    onset : float
        Share of its step from which a pixel counts as wet.
    settings : RepairSettings

    Returns
    -------
    wetting : Wetting
    before : ndarray of shape (M, N), bool
        What was wet before the dry level could be taken.
    """
    pixels = wetting.pixels
    at_end = np.asarray(middle_of(wetting.levels[-3:]))
    shown = BeforeAndAfter(wetting.wet_frame, pixels.dry, at_end, pixels.step_ratio, place)
    before = wet_before(shown, settings)
    if along_edge:
        before |= wet_along_edge(shown, settings)
    if before.any():
        early = early_wet_frame(wetting, onset)
        wetting = replace(wetting, wet_frame=np.where(before, early, wetting.wet_frame))
    return wetting, before


def wet_before(shown: BeforeAndAfter, settings: RepairSettings) -> BoolArray:
    """Find what was wet in the first frames already, which its own history does not show.

    It lies at the feed, looks the same at the end as at the start, wetter than the dry fabric
    beyond it looked at the start, and the front came out of it.
    """
    level, wet_frame = shown.level, shown.wet_frame
    gap = settings.window(settings.feed_gap_mm)
    before = np.zeros(wet_frame.shape, bool)
    same = _smooth(shown.at_end - level) < settings.least_step
    near = np.asarray(cv2.dilate(shown.feed.astype(np.uint8), gap) > 0)
    if not (near & same).any():
        return before
    # Dry at first: what changed later, and what never changed and lies apart from the feed.
    _, unchanged = cv2.connectedComponents(same.astype(np.uint8), connectivity=4)
    apart = same & ~np.isin(unchanged, unchanged[near & same])
    since = ((~same & (wet_frame > settings.causes.reference_frames)) | apart).astype(np.uint8)
    # Without specks, which would pass for dry fabric within the patch.
    later = np.asarray(cv2.morphologyEx(since, cv2.MORPH_OPEN, gap) > 0)
    if np.count_nonzero(later) < settings.least_later * later.size:
        return before
    above = _smooth(level) - fill_from_around(level, later)
    wet = same & (above > settings.least_wet)
    closed = cv2.morphologyEx(wet.astype(np.uint8), cv2.MORPH_CLOSE, gap)
    for patch in _came_out_of(closed > 0, wet_frame, near, settings):
        before |= patch
    return before


def wet_along_edge(shown: BeforeAndAfter, settings: RepairSettings) -> BoolArray:
    """Find what was wet in the first frames already, at a feed edge, whatever its level.

    Glare can hide how the level differs from the dry fabric's. But what looks the same throughout
    along most of the edge is no fitting on it, and the front cannot have come from elsewhere.
    """
    gap = settings.window(settings.feed_gap_mm)
    step = _smooth((shown.at_end - shown.level) / np.minimum(shown.step_ratio, 1.0))
    same = (step < settings.least_step).astype(np.uint8)
    alike = cv2.morphologyEx(same, cv2.MORPH_OPEN, gap) > 0
    before = np.zeros(same.shape, bool)
    for patch in _came_out_of(alike, shown.wet_frame, shown.feed, settings):
        if np.mean(patch[shown.feed]) > settings.most_of_feed:
            before |= patch
    return before


def _smooth(level: FloatArray) -> FloatArray:
    return np.asarray(cv2.GaussianBlur(level.astype(np.float32), (0, 0), 2.0), np.float32)


def _came_out_of(
    patches: BoolArray, wet_frame: IntArray, near: BoolArray, settings: RepairSettings
) -> list[BoolArray]:
    """Return the patches at the feed that the front came out of in the first frames."""
    _, labels = cv2.connectedComponents(patches.astype(np.uint8), connectivity=4)
    found = []
    for label in np.unique(labels[near & (labels > 0)]):
        patch = np.asarray(labels == label)
        rim = (cv2.dilate(patch.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0) & ~patch
        early = wet_frame[rim] <= settings.rim_frames
        if rim.any() and np.mean(early) >= settings.rim_share:
            found.append(patch)
    return found


def early_wet_frame(wetting: Wetting, onset: float) -> IntArray:
    """Return the frame at which each pixel wetted, 0 to 2, where it was wet from the third on.

    The dry level is a median of the first three frames, so a pixel that was dry in one of them
    alone passes for one that never changed.
    """
    levels = [cv2.GaussianBlur(level, (0, 0), 1.0) for level in wetting.levels[:6]]
    wet = np.median(np.stack(levels[2:]), axis=0)
    pixels = wetting.pixels
    dry_until = np.zeros(pixels.dry.shape, np.int16)
    for k in range(2):
        dry_until[wet - levels[k] > (1 - onset) * np.median(pixels.step_ratio)] = k + 1
    return dry_until
