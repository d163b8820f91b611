"""Every photo drawn again from what was found, and compared with what it shows.

From the frame at which each spot wetted, its dry look, its wet look with the deepening, and what
was hidden, each photo's wetness follows. Where a photo shows something else, it was not
understood: the one check that also catches what nobody thought of. In each sector the front is
also read off that photo alone and compared with the front that is claimed.

Source: by definition. The single-photo front is the place that parts wet from dry with the
greatest sum of differences, Page's change point (Biometrika 41, 1954) along the flow.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.check.front_grid import FrontGrid, front_grid
from vision.illumination.side_by_side import at_once
from vision.records import BoolArray, FloatArray, IntArray
from vision.repair.feed import FeedOnCanvas
from vision.settings.tracker_settings import CheckSettings
from vision.settings.wetting_settings import WettingSettings
from vision.wetting.change_point import Wetting
from vision.wetting.masks import at_size


@dataclass(frozen=True)
class Redrawing:
    """How well the photos of a run are explained.

    Attributes
    ----------
    off_share : ndarray of shape (K,), float
        Share of the sectors seen in which a photo by itself shows the front elsewhere.
    seen_share : ndarray of shape (K,), float
        Share of the sectors whose front a photo shows at all.
    shift_mm : ndarray of shape (K,), float
        Mean of how far a photo by itself shows the front ahead, less what is usual in the run.
    unexplained : ndarray of shape (M, N), bool
        Places that look dry long after they should have wetted, or wet long before.
    unexplained_share : float
        Their share of what was to be explained.
    elsewhere : ndarray of shape (M, N), bool
        Places between the front that is claimed and the one that photos by themselves show, in
        more frames than chance explains.
    moving : ndarray of shape (K,), bool
        Frames with a front that has left the feed and not reached the end.
    tolerance_mm : float
        How far a photo by itself may show the front from where it is claimed.
    """

    off_share: FloatArray
    seen_share: FloatArray
    shift_mm: FloatArray
    unexplained: BoolArray
    unexplained_share: float
    elsewhere: BoolArray
    moving: BoolArray
    tolerance_mm: float


@dataclass(frozen=True)
class _Drawn:
    """What the photos show in coarse places, and what they should; all (K, sectors, bins).

    `observed` and `expected` are wetness in steps, NaN where too little of a place is seen;
    `wet` is the share of a place that should be wet.
    """

    observed: FloatArray
    expected: FloatArray
    wet: FloatArray


def redraw(
    wetting: Wetting,
    wet_frame: IntArray,
    known: BoolArray,
    feed: FeedOnCanvas,
    settings: CheckSettings,
    wetting_settings: WettingSettings,
    grid: FrontGrid | None = None,
) -> Redrawing:
    """Draw every photo again and compare.

    Parameters
    ----------
    wetting : Wetting
    wet_frame : ndarray of shape (M, N), int
        First wet frame, holes filled; K where it stayed dry.
    known : ndarray of shape (M, N), bool
        What was seen and not filled; only there a photo has a say.
    feed : FeedOnCanvas
        With the point found.
    settings : CheckSettings
    wetting_settings : WettingSettings
    grid : FrontGrid, optional
        The coarse places; left out, those of a panel.
    """
    grid = grid or front_grid(feed)
    drawn = _draw(wetting, wet_frame, known, grid, wetting_settings)
    fronts = _compare_fronts(drawn, settings)
    off, seen, shift = _by_frame(fronts, settings, grid)
    odd, share = _unexplained(drawn, settings)
    ever = wet_frame < len(wetting.levels)
    wetted = np.bincount(wet_frame[ever], minlength=len(wetting.levels)).cumsum() / wet_frame.size
    return Redrawing(
        off_share=off,
        seen_share=seen,
        shift_mm=shift,
        unexplained=grid.on_canvas(odd, feed.shape),
        unexplained_share=share,
        elsewhere=grid.on_canvas(_elsewhere(fronts, grid.bins, settings), feed.shape),
        moving=np.asarray((wetted > LEAST_WETTED) & (wetted < 1 - LEAST_WETTED)),
        tolerance_mm=grid.bin_mm * _tolerance_bins(grid.bins, settings),
    )


LEAST_WETTED = 0.002
"""Share of the panel that must be wet, and dry, for there to be a front to compare."""


def _draw(
    wetting: Wetting,
    wet_frame: IntArray,
    known: BoolArray,
    grid: FrontGrid,
    settings: WettingSettings,
) -> _Drawn:
    """Sum up what each photo shows in the coarse places, and what it should."""
    pixels, count, sampled = wetting.pixels, len(wetting.levels), grid.sampled
    dry, step = sampled(pixels.dry), sampled(pixels.step_ratio)
    low, high = (sampled(bound) for bound in pixels.bounds(settings))
    frame, clear = sampled(wet_frame), np.asarray(sampled(known), bool)
    full = grid.total(step**2 * clear)
    shape = (count, grid.sectors, grid.bins)
    observed, wet, weight = np.empty(shape), np.empty(shape), np.empty(shape)

    def one(k: int) -> None:
        wetness = sampled(wetting.levels[k]) - dry
        votes = clear & (wetness > low) & (wetness < high)
        hidden = wetting.hidden[k]
        if hidden.any():
            votes &= np.logical_not(sampled(at_size(hidden, pixels.dry.shape)))
        own = np.where(votes, step, 0.0)
        weight[k] = grid.total(own * step)
        observed[k] = grid.total(own * wetness)
        wet[k] = grid.total(np.where(frame <= k, own * step, 0.0))

    at_once(one, count)
    enough = weight > LEAST_SEEN * np.maximum(full, 1e-9)
    weight = np.where(enough, weight, np.nan)
    observed, wet = observed / weight, wet / weight
    return _Drawn(observed, wet * _deepening(observed, wet), wet)


LEAST_SEEN = 0.3
"""Part of a place that must be seen for it to show anything."""


def _deepening(observed: FloatArray, wet: FloatArray) -> FloatArray:
    """Return how far the wet look has come in each place by frames since it wetted, in steps."""
    count = len(observed)
    since = np.argmax(np.nan_to_num(wet) > 0.5, axis=0)
    age = np.maximum(np.arange(count)[:, None, None] - since, 0)
    clear = (wet > 0.98) & np.isfinite(observed)
    value = np.clip(observed[clear], 0.0, 2.0)
    total = np.bincount(age[clear], value, count)
    reached = total / np.maximum(np.bincount(age[clear], minlength=count), 1)
    of_age = np.maximum(np.where(reached > 0, reached, 1.0), LEAST_WET_LOOK)
    return np.asarray(of_age[age])


LEAST_WET_LOOK = 0.6
"""The wet look at any age is at least so much of a step, whatever the photos show: places that
never wetted must not set it."""


def _fronts(wetness: FloatArray) -> FloatArray:
    """Return the bins that look wet from the feed on, in each frame and sector."""
    gain = np.nan_to_num(np.clip(wetness - 0.5, -0.5, 0.5))
    running = np.cumsum(gain, axis=2)
    running = np.concatenate([np.zeros_like(running[:, :, :1]), running], axis=2)
    return np.argmax(running, axis=2).astype(float)


@dataclass(frozen=True)
class _TwoFronts:
    """The bins from the feed on that are claimed and shown to be wet; all (K, sectors).

    `seen` says where a photo shows the front at all, `off` where it shows it elsewhere.
    """

    claimed: FloatArray
    shown: FloatArray
    seen: BoolArray
    off: BoolArray


def _compare_fronts(drawn: _Drawn, settings: CheckSettings) -> _TwoFronts:
    """Compare each photo's own front with the claimed one, sector by sector."""
    claimed, shown = _fronts(drawn.expected), _fronts(drawn.observed)
    count_bins = drawn.observed.shape[2]
    reach = _tolerance_bins(count_bins, settings)
    near = np.abs(np.arange(count_bins) + 0.5 - claimed[:, :, None]) < reach
    visible = np.isfinite(drawn.observed)
    seen = (near & visible).sum(axis=2) >= 0.5 * near.sum(axis=2)
    off = seen & (np.abs(shown - claimed) > reach)
    return _TwoFronts(claimed, shown, np.asarray(seen), np.asarray(off))


def _by_frame(
    fronts: _TwoFronts, settings: CheckSettings, grid: FrontGrid
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the share of sectors off and seen, and the shift in mm, of each frame."""
    seen = fronts.seen
    count = np.maximum(seen.sum(axis=1), 1)
    off = np.asarray(fronts.off.sum(axis=1) / count)
    most = max(settings.farthest * grid.bins, _tolerance_bins(grid.bins, settings))
    bounded = np.clip(fronts.shown - fronts.claimed, -most, most)
    shift = (bounded * seen).sum(axis=1) / count
    usual = float(np.median(shift[seen.any(axis=1)])) if seen.any() else 0.0
    return off, np.asarray(seen.mean(axis=1)), (shift - usual) * grid.bin_mm


def _elsewhere(fronts: _TwoFronts, bins: int, settings: CheckSettings) -> BoolArray:
    """Find the places (sectors, bins) between the two fronts, in more frames than may be chance."""
    low = np.minimum(fronts.claimed, fronts.shown)[..., None]
    high = np.maximum(fronts.claimed, fronts.shown)[..., None]
    place = np.arange(bins) + 0.5
    between = (place > low) & (place < high) & fronts.off[..., None]
    return np.asarray(between.sum(axis=0) > settings.lag_frames)


LEAST_OFF = 2.0
"""Places that the noise of a photo may shift a front by, whatever their size."""


def _tolerance_bins(bins: int, settings: CheckSettings) -> float:
    return max(settings.front_off * bins, LEAST_OFF)


def _unexplained(drawn: _Drawn, settings: CheckSettings) -> tuple[BoolArray, float]:
    """Find places that look otherwise than they should for long, away from the front."""
    lag = settings.lag_frames
    seen = np.isfinite(drawn.observed)
    behind, ahead = drawn.wet > 0.98, drawn.wet < 0.02
    behind[lag:] &= behind[:-lag].copy()
    behind[:lag] = False
    ahead[:-lag] &= ahead[lag:].copy()
    ahead[-lag:] = False
    looks_dry = seen & behind & (drawn.observed < settings.looks_dry * drawn.expected)
    looks_wet = seen & ahead & (drawn.observed > settings.looks_wet)
    told = (seen & (behind | ahead)).sum(axis=0)
    wrong = (looks_dry | looks_wet).sum(axis=0)
    odd = (wrong > settings.lasting * told) & (wrong > lag)
    share = float(wrong[odd].sum() / max(told.sum(), 1))
    return np.asarray(odd), share
