"""The other of two changes that passed over a panel: how far it had come, and when.

Tested in tests/vision/wetting/test_earlier_step.py.
"""

from __future__ import annotations

import cv2
import numpy as np

from vision.check.front_grid import FrontGrid, front_grid
from vision.records import BoolArray, FloatArray, IntArray, SecondFront
from vision.repair.feed import FeedOnCanvas
from vision.wetting.earlier_step import TwoSteps
from vision.wetting.masks import at_size

PIXEL_SD_PX = 1.0
"""Standard uncertainty of a front read pixel by pixel, without the care that the followed one
gets."""


FRESH_FRAMES = 5
"""A change known on coarse cells only must have shown so long to be told from one that passes."""

BESIDE = np.ones((3, 3), np.uint8)
"""A cell and its neighbours."""

FEWEST_BANDS = 0.5
"""Share of the bands that must show the change where it stands."""


def read_second_front(steps: TwoSteps, times_s: FloatArray, feed: FeedOnCanvas) -> SecondFront:
    """Return the front of the change that is not followed.

    Parameters
    ----------
    steps : TwoSteps
    times_s : ndarray of shape (K,), float
        Seconds since resin start of the frames.
    feed : FeedOnCanvas
        With the point found.

    Notes
    -----
    In each band of lanes (or directions) the wet share of the places from the feed on is summed
    to a length; the front is the median over the bands, so that glare in some of them has no say.
    A change known on coarse cells only is taken as straight between their middles, and told
    only where the cells show it themselves and for long enough.
    """
    grid, count = front_grid(feed), len(times_s)
    at_feed = feed.feed.radius_mm if feed.feed.is_point else 0.0
    if steps.is_first_followed:
        wet_by: FloatArray = steps.other_frame.astype(float)
        shown = np.ones(feed.shape, bool)
    else:
        wet_by = _on_canvas(steps.earlier.wet_frame, feed.shape)
        # A cell beside one that does not show the change is straightened towards a guess.
        shown = at_size(cv2.erode(steps.earlier.shown.astype(np.uint8), BESIDE) > 0, feed.shape)
    wet_at = np.asarray(grid.sampled(wet_by), float)
    front = _fronts_mm(grid, wet_at, grid.sampled(shown), count)
    front = np.where(front > 0, front + at_feed, front)
    if steps.is_first_followed:
        sd = np.full(count, PIXEL_SD_PX * feed.mm_per_px)
        return SecondFront("second", np.asarray(times_s, float), front, sd)
    front[max(count - FRESH_FRAMES, 0) :] = np.nan
    cell_mm = feed.shape[1] * feed.mm_per_px / steps.earlier.wet_frame.shape[1]
    advance = np.gradient(front)
    most = np.max(advance, initial=0.0, where=np.isfinite(advance))
    sd = np.hypot(cell_mm, np.where(np.isfinite(advance), advance, most)) / np.sqrt(12)
    return SecondFront("first", np.asarray(times_s, float), front, sd)


def _fronts_mm(grid: FrontGrid, wet_by: FloatArray, shown: BoolArray, count: int) -> FloatArray:
    """Return the median over the bands of how far each is wet; NaN where few show it there."""
    full = np.maximum(grid.total(np.ones(wet_by.shape)), 1e-9)
    told = grid.total(shown.astype(float)) / full > 0.5
    bands = np.arange(grid.sectors)
    fronts = np.full(count, np.nan)
    for k in range(count):
        along = (grid.total((wet_by <= k).astype(float)) / full).sum(axis=1)
        place = np.minimum(along.astype(int), grid.bins - 1)
        sure = told[bands, place] | (along <= 0)
        if sure.mean() >= FEWEST_BANDS:
            fronts[k] = float(np.median(along[sure])) * grid.bin_mm
    return fronts


HALF_FRAME = 0.5
"""A cell that first shows wet at a frame turned so between it and the frame before."""


def _on_canvas(frame: IntArray, shape: tuple[int, int]) -> FloatArray:
    """Return the frame from which each pixel is wet, straight between the middles of cells."""
    wide = cv2.resize(frame.astype(np.float32), shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(wide - HALF_FRAME, float)
