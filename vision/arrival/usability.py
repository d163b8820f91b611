"""Whether the run could be seen at all: a reason in plain words instead of a wrong curve."""

from __future__ import annotations

import numpy as np

from vision.illumination.coarse_wetting import LEAST_CONTRAST
from vision.records import BoolArray, FloatArray
from vision.wetting.change_point import WetLook

LEAST_WETTED = 0.004
"""Share of the panel that must have wetted for a front to be measured."""

LEAST_SEEN = 0.25
"""Share of the wetted area that must have been seen rather than filled."""

WIDEST_EDGE_MM = 15.0
"""A front more blurred than this cannot be placed."""

LEAST_ORDER = 0.35
"""Rank correlation between distance from the feed and time of wetting."""

NOTHING = (
    "nothing changed on the panel in a way that looks like resin: check that the run was "
    "recorded, that the corners or markers belong to this panel, and that the lens was clear; if "
    "resin did run, wet and dry look the same to the camera: light the panel from the side, or "
    "mark the front with a few points in fix.csv"
)
MOST_DRY_LANES = 0.3
"""Share of the lanes that wetted farther on but not beside the feed edge: resin came from there."""

BESIDE_FEED, FARTHER_ON = 0.03, 0.1
"""Shares of the length that are beside the feed, and that must have wetted farther on."""

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
    look: WetLook,
    filled: np.ndarray,
    known: BoolArray,
    from_feed_px: FloatArray,
    edge_mm: float,
    along_edge: bool,
) -> str:
    """Say why the front cannot be measured; empty text when it can.

    Parameters
    ----------
    look : WetLook
    filled : ndarray of shape (M, N), int
        First wet frame with holes filled; the number of frames where dry.
    known : ndarray of shape (M, N), bool
        What was seen rather than filled.
    from_feed_px : ndarray of shape (M, N), float
        Distance from the feed.
    edge_mm : float
        Blur of the front across the flow (standard deviation).
    along_edge : bool
        Whether the feed is the panel's edge and not a point.
    """
    count = len(look.coarse.light)
    wetted = filled < count
    # What is wet from the first frame on never changed; it does not show a front.
    changed = wetted & (filled > 0) & known
    if look.coarse.contrast < LEAST_CONTRAST:
        return NO_CONTRAST if np.mean(changed) > 0.02 else NOTHING
    if np.mean(changed) < LEAST_WETTED:
        return NOTHING
    if np.count_nonzero(known & wetted) < LEAST_SEEN * np.count_nonzero(wetted):
        return MOSTLY_HIDDEN
    order = rank_order(from_feed_px[changed], filled[changed])
    if order < -LEAST_ORDER:
        return WRONG_END
    if order < LEAST_ORDER:
        return NOT_A_FRONT
    if edge_mm > WIDEST_EDGE_MM:
        return BLURRED
    if along_edge and dry_at_feed(wetted) > MOST_DRY_LANES:
        return NOT_FROM_FEED
    return ""


def dry_at_feed(wetted: BoolArray) -> float:
    """Give the share of lanes (rows) that wetted farther on but not beside the feed edge."""
    beside = max(1, round(BESIDE_FEED * wetted.shape[1]))
    farther = wetted.mean(axis=1) > FARTHER_ON
    return float(np.mean(farther & ~wetted[:, :beside].any(axis=1)))


def rank_order(distance: FloatArray, frame: np.ndarray) -> float:
    """Give Spearman's rank correlation on a sample of at most 5000 pixels.

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
