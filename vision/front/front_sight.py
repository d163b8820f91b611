"""How much of the front was seen at each frame, and how far off the rest may be."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import maximum_filter, median_filter, minimum_filter

from vision.records import ArrivalMap, BoolArray, FloatArray

FILL_SD, ANYWHERE_SD = 2 / np.sqrt(24), 2 / np.sqrt(12)
"""Standard uncertainty of a front in a hole, over half its breadth: seen at both rims, it lies
rather in the middle of what is possible (triangular); at worst it lies anywhere in it (uniform)."""

REACH_PX, TURNS = 31, 3
"""A hole's breadth is looked for so far around, so often: over fifty pixels."""

BESIDE_PX = 5
"""Window in which a front lies in a hole, or at its rim: there it may have been filled to."""

EDGE_HOLE_MM = 10.0
"""A hole broader than this can hide an edge by more than the front's own waves. Common practice,
no source."""

TOW_MM = 2.0
"""What leads or trails on less width than this is a speck or a fibre, not the front: tows are two
to five millimetres wide. Common practice, no source."""

LASTS = ((3, 2 * TOW_MM), (5, 4 * TOW_MM))
"""An edge that leads or trails by so many millimetres more than in most of so many frames about it
is one frame's word, or two frames'. Common practice, no source."""


@dataclass(frozen=True)
class FrontSight:
    """What was seen of the front.

    Attributes
    ----------
    seen : ndarray of shape (K, L), bool
        Lanes (or directions) whose front was seen at each frame, and not filled in.
    blind_mm : ndarray of shape (K,), float
        Standard uncertainty of the mean front for what was filled in.
    at_worst_mm : ndarray of shape (K,), float
        The same if the front lay anywhere in its holes and they all erred together.
    broadest_mm : ndarray of shape (K,), float
        Breadth of the broadest hole in or beside which the front stands; 0 where in none.
    apart_share : ndarray of shape (K,), float
        Share of the front that was filled in, its holes erring each for themselves: their root
        sum of squares.
    """

    seen: BoolArray
    blind_mm: FloatArray
    at_worst_mm: FloatArray
    broadest_mm: FloatArray
    apart_share: FloatArray

    @property
    def hidden_share(self) -> FloatArray:
        """Share of the front that was filled in at each frame; shape (K,)."""
        return np.asarray(1.0 - self.seen.mean(axis=1))


def front_sight(arrival: ArrivalMap, x_px: FloatArray, y_px: FloatArray) -> FrontSight:
    """Return what was seen of a front.

    Parameters
    ----------
    arrival : ArrivalMap
    x_px, y_px : ndarray of shape (K, L), float
        Where the front stands in each lane, the first pixel's centre at 0.5.
    """
    sure = (arrival.seen | arrival.by_hand).astype(np.uint8)
    half_px = hole_half_breadth_px(sure > 0)
    rows, cols = sure.shape
    col = np.clip(x_px.astype(int), 0, cols - 1)
    row = np.clip(y_px.astype(int), 0, rows - 1)
    # The front stands between two pixels: the last wet one and the next.
    before = np.clip((x_px - 1).astype(int), 0, cols - 1)
    hidden = (sure[row, col] == 0) | (sure[row, before] == 0)
    half_mm = half_px[row, col] * arrival.mm_per_px
    return FrontSight(
        seen=np.asarray(~hidden),
        blind_mm=FILL_SD * _apart(np.asarray(half_mm)),
        at_worst_mm=np.asarray(ANYWHERE_SD * half_mm.mean(axis=1)),
        broadest_mm=2 * half_mm.max(axis=1),
        apart_share=_apart(hidden.astype(float)),
    )


def _apart(of_lane: FloatArray) -> FloatArray:
    """Return the mean over all lanes of what is above 0 in holes that err apart; shape (K,).

    Lanes beside each other lie in one hole and err together; holes err each for themselves, so
    their squares add up.
    """
    count, lanes = of_lane.shape
    begins = np.diff(of_lane > 0, axis=1, prepend=False)
    hole = np.cumsum(begins, axis=1) + np.arange(count)[:, None] * (lanes + 1)
    summed = np.bincount(hole.ravel(), of_lane.ravel(), count * (lanes + 1))
    squares = (summed.reshape(count, lanes + 1) / lanes) ** 2
    return np.asarray(np.sqrt(squares.sum(axis=1)))


def hole_half_breadth_px(sure: BoolArray) -> FloatArray:
    """Return half the breadth of the hole in or beside which each pixel lies; 0 away from any.

    Parameters
    ----------
    sure : ndarray of shape (M, N), bool
        False in the holes.

    Notes
    -----
    The radius of the largest disc in the hole near by, carried through the hole from its middle.
    """
    hole = (~sure).astype(np.uint8)
    if not hole.any():
        return np.zeros(sure.shape, np.float32)
    radius = np.asarray(cv2.distanceTransform(hole, cv2.DIST_L2, cv2.DIST_MASK_PRECISE))
    window = np.ones((REACH_PX, REACH_PX), np.uint8)
    for _ in range(TURNS):
        radius = np.asarray(cv2.dilate(radius, window)) * hole
    beside = np.ones((BESIDE_PX, BESIDE_PX), np.uint8)
    return np.asarray(cv2.dilate(radius, beside), np.float32)


def edges(
    fronts_mm: FloatArray,
    lane_mm: float,
    sight: FrontSight,
    around: bool,
    borne_out: BoolArray | None = None,
) -> tuple[FloatArray, FloatArray]:
    """Return the trailing and the leading edge at each frame, of what is as wide as a tow.

    NaN where the front stands in a hole broad enough to hide an edge: what was hidden is neither
    the trailing nor the leading edge, and may well be beyond what was seen. NaN too where only
    that one frame shows it so far ahead, or behind, or two of five much farther: a front keeps its
    shape while it moves.

    Parameters
    ----------
    fronts_mm : ndarray of shape (K, L), float
        Front of each lane, or in each direction.
    lane_mm : float
        Width of a lane.
    sight : FrontSight
    around : bool
        Whether the last lane lies beside the first, as directions do.
    borne_out : ndarray of shape (K,), bool, optional
        False for frames whose photo does not show this front: no edge is told there.

    Notes
    -----
    Source: opening and closing by a line (Serra, Image Analysis and Mathematical Morphology, 1982).
    """
    least, most = _as_wide_as_a_tow(fronts_mm, lane_mm, around)
    told = sight.broadest_mm <= EDGE_HOLE_MM
    if borne_out is not None:
        told = told & borne_out
    for frames, apart_mm in LASTS:
        lasting = _lasting_mm(fronts_mm, frames)
        low, high = _as_wide_as_a_tow(lasting, lane_mm, around)
        least = np.where(np.abs(least - low) <= apart_mm, least, np.nan)
        most = np.where(np.abs(most - high) <= apart_mm, most, np.nan)
    return np.where(told, least, np.nan), np.where(told, most, np.nan)


def alone_mm(fronts_mm: FloatArray) -> FloatArray:
    """Return how far lanes that one frame alone shows ahead or behind shift its mean front.

    Parameters
    ----------
    fronts_mm : ndarray of shape (K, L), float
        Front of each lane, or in each direction.

    Returns
    -------
    alone_mm : ndarray of shape (K,), float
        Not negative; 0 for a front that keeps its shape.
    """
    return np.asarray(np.abs((fronts_mm - _lasting_mm(fronts_mm)).mean(axis=1)))


def as_beside_mm(fronts_mm: FloatArray, borne_out: BoolArray) -> FloatArray:
    """Return the fronts, those that their photo does not bear out in the shape of those beside.

    Glare over a part of the front holds it back, or pushes it on, in that photo alone; a front
    keeps its shape while it moves.

    Parameters
    ----------
    fronts_mm : ndarray of shape (K, L), float
        Front of each lane, or in each direction.
    borne_out : ndarray of shape (K,), bool
        False for frames whose photo does not show this front.

    Returns
    -------
    fronts_mm : ndarray of shape (K, L), float
        Where not borne out, each lane's way ahead of the middle one is the median of that in the
        frame, the one before and the one after.

    Examples
    --------
    >>> steady = np.array([[5.0, 6, 7], [15, 16, 17], [25, 26, 27]])
    >>> held_back = steady - np.array([[0, 0, 0], [9, 0, 0], [0, 0, 0]])
    >>> as_beside_mm(held_back, np.array([True, False, True]))[1]
    array([15., 16., 17.])
    """
    return np.where(borne_out[:, None], fronts_mm, _lasting_mm(fronts_mm))


def _lasting_mm(fronts_mm: FloatArray, frames: int = 3) -> FloatArray:
    """Return the fronts, their shape across the lanes that of most of so many frames."""
    middle = np.median(fronts_mm, axis=1, keepdims=True)
    return np.asarray(middle + median_filter(fronts_mm - middle, (frames, 1), mode="nearest"))


def _as_wide_as_a_tow(
    fronts_mm: FloatArray, lane_mm: float, around: bool
) -> tuple[FloatArray, FloatArray]:
    """Return the least and the greatest front at each frame of what is as wide as a tow."""
    width = min(max(1, round(TOW_MM / lane_mm)), fronts_mm.shape[1])
    mode = "wrap" if around else "nearest"
    size = (1, width)
    most = maximum_filter(minimum_filter(fronts_mm, size, mode=mode), size, mode=mode).max(axis=1)
    least = minimum_filter(maximum_filter(fronts_mm, size, mode=mode), size, mode=mode).min(axis=1)
    return least, most
