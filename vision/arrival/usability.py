"""Whether the run could be seen at all: a reason in plain words instead of a wrong curve."""

from __future__ import annotations

import numpy as np

from vision.illumination.coarse_wetting import CoarseWetting
from vision.records import BoolArray, FloatArray, IntArray
from vision.repair.feed import FeedOnCanvas
from vision.settings.repair_settings import UsabilitySettings
from vision.settings.tracker_settings import TrackerSettings

NOTHING = (
    "nothing changed on the panel in a way that looks like resin. Check that (1) the photos are "
    "of the run, (2) corners or cards are those of this panel, (3) the lens was clear. If resin "
    "did run, wet and dry look alike to the camera: light the panel from the side next time, and "
    "mark the front with a few points in fix.csv now"
)
NOT_FROM_FEED = (
    "the panel looks unchanged beside the feed edge though resin shows farther on: the run was "
    "under way before the first frame, or the light changed there; record from before the resin "
    "is let in, or mark the front with a few points in fix.csv"
)
NO_CONTRAST = (
    "wet and dry look the same to the camera beside what the light did: light the panel from the "
    "side and keep shadows off it, or mark the front with a few points in fix.csv"
)
NOT_A_FRONT = (
    "what changed does not spread from the feed: check the lighting, and that the corners are "
    "listed from the feed edge"
)
WRONG_END = (
    "the front runs towards the feed edge: the corners or markers are listed from the wrong end; "
    "start with the corner at the feed"
)
MOSTLY_HIDDEN = (
    "most of the wetted panel was hidden or in glare: move the lamp or the camera, or mark the "
    "front with a few points in fix.csv"
)
BLURRED = "the pictures are too blurred to place the front: clean the lens and focus on the panel"


def cannot_see(
    coarse: CoarseWetting,
    filled: IntArray,
    known: BoolArray,
    feed: FeedOnCanvas,
    edge_mm: float,
    settings: TrackerSettings,
) -> str:
    """Return why the front cannot be measured; empty text when it can.

    Parameters
    ----------
    coarse : CoarseWetting
    filled : ndarray of shape (M, N), int
        Frame from which each is wet, holes filled; the number of frames where dry.
    known : ndarray of shape (M, N), bool
        What was seen rather than filled.
    feed : FeedOnCanvas
        With the point found.
    edge_mm : float
        Blur of the front across the flow (standard deviation).
    settings : TrackerSettings
    """
    own = settings.usability
    count = len(coarse.light)
    wetted = filled < count
    # What is wet from the first frame on never changed; it does not show a front.
    changed = wetted & (filled > 0) & known
    if coarse.contrast < settings.causes.least_contrast(coarse.off_colour.size):
        return NO_CONTRAST if np.mean(changed) > 0.02 else NOTHING
    if np.mean(changed) < own.least_wetted:
        return NOTHING
    if np.count_nonzero(known & wetted) < own.least_seen * np.count_nonzero(wetted):
        return MOSTLY_HIDDEN
    order = rank_order(feed.distance_px[changed], filled[changed])
    if order < -own.least_order:
        return WRONG_END
    if order < own.least_order:
        return NOT_A_FRONT
    if edge_mm > own.widest_edge_mm:
        return BLURRED
    if not feed.feed.is_point and dry_at_feed(wetted, own) > own.most_dry_lanes:
        return NOT_FROM_FEED
    return ""


def dry_at_feed(wetted: BoolArray, settings: UsabilitySettings) -> float:
    """Return the share of lanes (rows) that wetted farther on but not beside the feed edge."""
    beside = max(1, round(settings.beside_feed * wetted.shape[1]))
    farther = wetted.mean(axis=1) > settings.farther_on
    return float(np.mean(farther & ~wetted[:, :beside].any(axis=1)))


def rank_order(distance: FloatArray, frame: IntArray) -> float:
    """Return Spearman's rank correlation on a sample of at most 5000 pixels.

    Source: Spearman, Am. J. Psychol. 15, 1904.
    """
    step = max(1, len(distance) // 5000)
    a = np.argsort(np.argsort(distance[::step], kind="stable"), kind="stable")
    b = np.argsort(np.argsort(frame[::step], kind="stable"), kind="stable")
    if len(a) < 10:
        return 0.0
    if np.ptp(frame) == 0:
        return 0.0
    return float(np.corrcoef(a, b)[0, 1])
