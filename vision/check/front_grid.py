"""The panel in coarse places along and across the flow, on which photos are drawn again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from vision.records import BoolArray, FloatArray, IntArray
from vision.repair.feed import FeedOnCanvas

Pixel = TypeVar("Pixel", bound=np.generic)

SECTORS = 24
"""Bands of lanes, or directions around a point feed, each with a front of its own."""

MOST_BINS = 200
"""Places along the flow, at most: half a per cent of the longest way each."""

PLACE_PX = 4
"""Least size of a place either way: a front is blurred over two or three pixels."""

SAMPLE_PX, LARGE_PX = 2, 40_000
"""On a canvas of so many pixels every second one either way is looked at."""


@dataclass(frozen=True)
class FrontGrid:
    """Coarse places by sector and by distance from the feed.

    Attributes
    ----------
    place : ndarray of shape (P,), int
        Place of each pixel looked at: sector times `bins`, plus the bin.
    sectors, bins : int
    bin_mm : float
        Length of a place along the flow.
    step_px : int
        Pixels between two that are looked at.
    """

    place: IntArray
    sectors: int
    bins: int
    bin_mm: float
    step_px: int

    def sampled(self, values: NDArray[Pixel]) -> NDArray[Pixel]:
        """Return the pixels looked at of an array of the canvas's shape; shape (P,)."""
        return values[:: self.step_px, :: self.step_px].ravel()

    def total(self, weight: FloatArray) -> FloatArray:
        """Return the sum of a value per pixel over each place; shape (sectors, bins)."""
        size = self.sectors * self.bins
        summed = np.bincount(self.place, weight, size)
        return np.asarray(summed.reshape(self.sectors, self.bins), float)

    def on_canvas(self, places: BoolArray, shape: tuple[int, int]) -> BoolArray:
        """Return a mask of places, shape (sectors, bins), on the canvas."""
        step = self.step_px
        rows, cols = (-(-side // step) for side in shape)
        small = places.ravel()[self.place].reshape(rows, cols)
        wide = np.repeat(np.repeat(small, step, axis=0), step, axis=1)
        return np.asarray(wide[: shape[0], : shape[1]])


def front_grid(feed: FeedOnCanvas) -> FrontGrid:
    """Return the coarse places of a panel, the feed known.

    Parameters
    ----------
    feed : FeedOnCanvas
    """
    rows, cols = feed.shape
    step_px = SAMPLE_PX if rows * cols > LARGE_PX else 1
    y, x = np.indices(feed.shape) + 0.5
    point = feed.point_px
    if feed.feed.is_point and point is not None:
        turn = np.arctan2(y - point[1], x - point[0]) / (2 * np.pi) + 0.5
        sectors = SECTORS
    else:
        turn = y / rows
        sectors = max(1, min(SECTORS, rows // PLACE_PX))
    longest = float(feed.distance_px.max()) + 1.0
    bins = int(np.clip(longest // PLACE_PX, 1, MOST_BINS))
    sector = np.minimum((turn * sectors).astype(int), sectors - 1)
    along = np.minimum((feed.distance_px / longest * bins).astype(int), bins - 1)
    place = (sector * bins + along)[::step_px, ::step_px].ravel()
    return FrontGrid(place, sectors, bins, longest / bins * feed.mm_per_px, step_px)
