"""How much of the front was seen at each frame, and how far off the rest may be."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import maximum_filter, median_filter, minimum_filter

from vision.records import ArrivalMap, BoolArray, FloatArray, IntArray

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

RIM_LANES, FEWEST_STRETCHES = 3, 20
"""Lanes on either side of a hole that tell of the front in it, and how many stretches as wide must
have been seen to tell how uneven a front is over so many lanes."""


@dataclass(frozen=True)
class FrontSight:
    """What was seen of the front.

    Attributes
    ----------
    seen : ndarray of shape (K, L), bool
        Lanes (or directions) whose front was seen at each frame, and not filled in.
    half_mm : ndarray of shape (K, L), float
        Half the breadth of the hole in or beside which each stands; 0 where in none.
    at_worst_mm : ndarray of shape (K,), float
        Standard uncertainty of the mean front if it lay anywhere in its holes and they all erred
        together.
    broadest_mm : ndarray of shape (K,), float
        Breadth of the broadest hole in or beside which the front stands; 0 where in none.
    """

    seen: BoolArray
    half_mm: FloatArray
    at_worst_mm: FloatArray
    broadest_mm: FloatArray

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
        half_mm=np.asarray(half_mm),
        at_worst_mm=np.asarray(ANYWHERE_SD * half_mm.mean(axis=1)),
        broadest_mm=2 * half_mm.max(axis=1),
    )


@dataclass(frozen=True)
class _Holes:
    """Stretches of lanes that were filled in or lie beside such, each of one frame.

    `frame`, `first` and `width` say where each is; `both` whether it has seen lanes on either
    side. With directions `first` + `width` may pass their number: the last lies beside the first.
    """

    frame: IntArray
    first: IntArray
    width: IntArray
    both: BoolArray


def _holes(filled: BoolArray, around: bool) -> _Holes:
    count, lanes = filled.shape
    before = np.roll(filled, 1, axis=1) if around else np.pad(filled, ((0, 0), (1, 0)))[:, :-1]
    before[:, 0] &= ~filled.all(axis=1)  # a hole all round begins anywhere
    frame, first = np.nonzero(filled & ~before)
    on = np.concatenate([filled, filled if around else np.zeros((count, 1), bool)], axis=1)
    seen_from = np.where(on, on.shape[1], np.arange(on.shape[1]))
    after = np.minimum.accumulate(seen_from[:, ::-1], axis=1)[:, ::-1]
    width = np.minimum(after[frame, first] - first, lanes)
    both = width < lanes if around else (first > 0) & (first + width < lanes)
    return _Holes(frame, first, width, both)


def filled_sd_mm(
    fronts_mm: FloatArray, sight: FrontSight, advance_mm: FloatArray, around: bool
) -> FloatArray:
    """Return the standard uncertainty of the mean front for what was filled in; shape (K,).

    A hole's stretch of the front is somewhere in its breadth, or, hidden for a frame alone, in the
    advance of that frame. Where it has seen lanes on either side it is no farther from the straight
    line between them than the front is elsewhere over so many lanes, and than it was filled.
    Lanes beside each other lie in one hole and err together; holes err each for themselves, so
    their squares add up.

    Parameters
    ----------
    fronts_mm : ndarray of shape (K, L), float
        Front of each lane, or in each direction.
    sight : FrontSight
    advance_mm : ndarray of shape (K,), float
        Of the mean front from frame to frame; 0 where that shall not count.
    around : bool
        Whether the last lane lies beside the first, as directions do.
    """
    count, lanes = fronts_mm.shape
    filled = (sight.half_mm > 0) | ~sight.seen
    holes = _holes(filled, around)
    if not len(holes.frame):
        return np.zeros(count)
    frame, first, end = holes.frame, holes.first, holes.first + holes.width
    breadth = FILL_SD * _between(sight.half_mm, first, end, frame)
    moved = _between(~sight.seen, first, end, frame) * advance_mm[frame] / np.sqrt(6)
    sd = np.maximum(breadth, moved)
    least, most = (-lanes, 2 * lanes) if around else (0, lanes)
    left = _mean_seen(fronts_mm, filled, np.maximum(first - RIM_LANES, least), first, frame)
    right = _mean_seen(fronts_mm, filled, end, np.minimum(end + RIM_LANES, most), frame)
    off = _between(fronts_mm, first, end, frame) / holes.width - 0.5 * (left + right)
    uneven = _uneven_mm(fronts_mm, filled, holes.width)
    beside = np.where(holes.both, np.hypot(uneven, off) * holes.width, np.inf)
    squares = (np.fmin(sd, beside) / lanes) ** 2
    return np.asarray(np.sqrt(np.bincount(frame, squares, count)))


def _between(
    values: FloatArray | BoolArray, first: IntArray, end: IntArray, frame: IntArray
) -> FloatArray:
    """Sum values over lanes from `first` to before `end`; past the last lane the first follows."""
    count, lanes = values.shape
    summed = np.zeros((count, 3 * lanes + 1))
    np.cumsum(np.tile(values, 3), axis=1, out=summed[:, 1:])
    return np.asarray(summed[frame, end + lanes] - summed[frame, first + lanes])


def _mean_seen(
    fronts_mm: FloatArray, filled: BoolArray, first: IntArray, end: IntArray, frame: IntArray
) -> FloatArray:
    """Average what was seen from lane `first` to before `end`; NaN where nothing was."""
    seen = _between(~filled, first, end, frame)
    whole = _between(np.where(filled, 0.0, fronts_mm), first, end, frame)
    return np.where(seen > 0, whole / np.maximum(seen, 1), np.nan)


def _uneven_mm(fronts_mm: FloatArray, filled: BoolArray, widths: IntArray) -> FloatArray:
    """Return how far the front is from the straight line between its lanes on either side.

    Root mean square over all stretches of so many lanes (or up to half as many again) that were
    seen while they moved, in all frames; infinite where there are too few.
    """
    idle = filled | (fronts_mm <= 0) | (fronts_mm >= fronts_mm.max(axis=0))
    summed, unseen = (np.pad(np.cumsum(v, axis=1), ((0, 0), (1, 0))) for v in (fronts_mm, idle))
    ladder = np.unique(np.ceil(1.5 ** np.arange(24)).astype(int))
    chosen = np.minimum(np.searchsorted(ladder, widths), len(ladder) - 1)
    found = np.full(len(ladder), np.inf)
    for step in np.unique(chosen):
        width, rim = ladder[step], RIM_LANES
        at = np.arange(max(fronts_mm.shape[1] - width - 2 * rim + 1, 0))
        whole = unseen[:, at + width + 2 * rim] == unseen[:, at]
        if np.count_nonzero(whole) < FEWEST_STRETCHES:
            continue
        a, b, c, d = (summed[:, at + k] for k in (0, rim, rim + width, 2 * rim + width))
        off = (c - b) / width - 0.5 * ((b - a) + (d - c)) / rim
        found[step] = np.sqrt(np.mean(off[whole] ** 2))
    return np.asarray(found[chosen])


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

    The shape of a front changes as it moves, too: what it usually changes by from photo to photo
    of this run does not count.

    Parameters
    ----------
    fronts_mm : ndarray of shape (K, L), float
        Front of each lane, or in each direction.

    Returns
    -------
    alone_mm : ndarray of shape (K,), float
        Not negative; 0 for a front that changes its shape no more than usual.
    """
    off_mm = np.abs((fronts_mm - _lasting_mm(fronts_mm)).mean(axis=1))
    begun = fronts_mm.max(axis=1) > 0
    usual_mm = float(np.median(off_mm[begun])) if begun.any() else 0.0
    return np.asarray(np.sqrt(np.maximum(off_mm**2 - usual_mm**2, 0.0)))


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
