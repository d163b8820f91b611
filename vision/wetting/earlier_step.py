"""A fainter change that passed over the panel before the one that the tracker found.

Resin may show twice: as it wets the cloth and again as it floods it, or in the flow media first
and in the stack later. The stronger change is what the cells agree on; the weaker one before it
must not go unsaid. Per cell the levels before the strong change are cut in two where that explains
them best. What makes it a front: it is no chance, it is a step and no drift, many cells show it,
and it runs over them in the same order as the strong change.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.ndimage import maximum_filter, median_filter, minimum_filter

from vision.common.robust import rank_correlation
from vision.illumination.cell_levels import (
    first_dry,
    frame_noise,
    levels_around,
    light_error,
)
from vision.illumination.coarse_wetting import CoarseWetting
from vision.illumination.light_basis import cell_centres
from vision.records import BoolArray, FloatArray, IntArray
from vision.settings.wetting_settings import EarlierStepSettings, LightSettings


@dataclass(frozen=True)
class EarlierStep:
    """What passed over the panel before the strong change.

    Attributes
    ----------
    wet_frame : ndarray of shape (h, w), int
        Frame from which each cell shows it; K where it never came.
    shown : ndarray of shape (h, w), bool
        Cells that show it themselves; the others take the usual lead over the strong change.
    vector : ndarray of shape (C,), float
        Its typical step, in logarithms.
    dry : ndarray of shape (h, w, C), float
        Level before it.
    noise : ndarray of shape (C, C), float
        Covariance of a cell's level from frame to frame while it is dry.
    ratio : float
        How strong it is beside the strong change.
    lag_share : float
        How far the strong change fell behind at most, as a share of the panel.
    """

    wet_frame: IntArray
    shown: BoolArray
    vector: FloatArray
    dry: FloatArray
    noise: FloatArray
    ratio: float
    lag_share: float


@dataclass(frozen=True)
class TwoSteps:
    """Two changes that passed over the panel, and which of them is followed.

    `is_clear` says whether the first is strong enough to be followed at all. `other_frame`
    is the frame from which each pixel shows the second where the first is followed; else empty.
    """

    earlier: EarlierStep
    is_first_followed: bool
    is_clear: bool
    other_frame: IntArray = field(default_factory=lambda: np.zeros((0, 0), int))


def coarse_of_step(step: EarlierStep, coarse: CoarseWetting) -> CoarseWetting:
    """Return the look on coarse cells with the earlier step in place of the strong one."""
    contrast = float(np.sqrt(step.vector @ np.linalg.solve(step.noise, step.vector)))
    return replace(
        coarse,
        wet_frame=step.wet_frame,
        dry=step.dry,
        wet_vector=step.vector,
        noise=step.noise,
        contrast=contrast,
    )


def hold_from(levels: list[FloatArray], frame: IntArray, level: FloatArray) -> None:
    """Set each pixel's levels from a frame of its own on to one value, in place.

    Parameters
    ----------
    levels : list of K ndarrays of shape (M, N), float
    frame : ndarray of shape (M, N), int
    level : ndarray of shape (M, N), float
    """
    for k, shown in enumerate(levels):
        np.copyto(shown, level, where=frame <= k)


def find_earlier_step(
    cells: FloatArray,
    coarse: CoarseWetting,
    settings: EarlierStepSettings,
    light: LightSettings,
) -> EarlierStep | None:
    """Find a change that passed over the panel before the one of `coarse`; None if there is none.

    Parameters
    ----------
    cells : ndarray of shape (K, h, w, C), float
        Mean logarithm per cell and frame.
    coarse : CoarseWetting
    settings : EarlierStepSettings
    light : LightSettings

    Notes
    -----
    Source: least-squares change point, Page, Biometrika 42, 1955; the order by Spearman's rank
    correlation.
    """
    count, rows, cols, colours = cells.shape
    at_cells = coarse.shapes(*cell_centres(rows, cols))
    flat = cells.reshape(count, rows * cols, colours) - np.matmul(at_cells, coarse.light)
    whiten = np.linalg.cholesky(np.linalg.inv(frame_noise(flat)))
    # What passes in a frame or two is a hand, not a front.
    window = min(settings.passing_frames, count)
    calm = median_filter(flat, size=(window, 1, 1), mode="nearest") @ whiten
    strong = coarse.wet_frame.ravel()
    until = _free_of_strong(coarse.wet_frame, count, window)
    split = best_split_before(calm, until, settings.least_side_frames)
    crossing = _frames_to_cross(coarse.wet_frame, count)
    shown = _clear_steps(calm, split, crossing, settings)
    if np.count_nonzero(shown) < settings.least_share * max(int(np.count_nonzero(split.fits)), 1):
        return None
    if np.count_nonzero(shown) < settings.least_cells:
        return None
    step = np.median(split.step[shown], axis=0)
    if float(np.linalg.norm(step)) < settings.least_sigmas:
        return None
    if not _runs_ahead(split.frame[shown], strong[shown], count, settings):
        return None
    vector = np.asarray(np.linalg.solve(whiten.T, step))
    if float(vector.mean() * coarse.wet_vector.mean()) < 0:
        return None  # The one darkens what the other brightens: light, not resin, does both.
    wet_frame = _everywhere(split.frame, strong, shown, count)
    dry, _, n_before, _ = levels_around(flat, wet_frame, light.guard_frames)
    dry = np.where((n_before >= 2)[:, None], dry, first_dry(flat, light.causes.reference_frames))
    noise = frame_noise(flat) + light_error(flat, wet_frame, dry, light.guard_frames)
    size = float(np.linalg.norm(coarse.wet_vector @ whiten))
    placed = wet_frame.reshape(rows, cols)
    return EarlierStep(
        wet_frame=placed,
        shown=shown.reshape(rows, cols),
        vector=vector,
        dry=dry.reshape(rows, cols, colours),
        noise=noise,
        ratio=float(np.linalg.norm(step)) / max(size, 1e-9),
        lag_share=_lag_share(placed, coarse.wet_frame, count),
    )


def _free_of_strong(wet_frame: IntArray, count: int, window: int) -> IntArray:
    """Return for each cell until which frame nothing of the strong change shows in or near it."""
    near = minimum_filter(wet_frame, 3).ravel()
    return np.where(near >= count, count, np.maximum(near - window // 2 - 2, 0))


@dataclass(frozen=True)
class Split:
    """The best split of each series before a frame of its own.

    Attributes
    ----------
    frame : ndarray of shape (P,), int
        First frame of the later level.
    step : ndarray of shape (P, C), float
    gain : ndarray of shape (P,), float
        Sum of squares that the split explains.
    fits : ndarray of shape (P,), bool
        Whether there were frames enough to split at all.
    """

    frame: IntArray
    step: FloatArray
    gain: FloatArray
    fits: BoolArray


def best_split_before(levels: FloatArray, until: IntArray, least_side: int) -> Split:
    """Find the split in time that best parts each series, from its first frame to one of its own.

    Parameters
    ----------
    levels : ndarray of shape (K, P, C), float
    until : ndarray of shape (P,), int
        The frames from here on are left out.
    least_side : int
        Frames that each side must have at the least.

    Examples
    --------
    >>> series = np.array([0.0, 0, 0, 2, 2, 2, 9, 9])[:, None, None]
    >>> found = best_split_before(series, np.array([6]), 2)
    >>> int(found.frame[0]), float(found.step[0, 0])
    (3, 2.0)
    """
    count, places, colours = levels.shape
    sums = np.concatenate([np.zeros((1, places, colours)), np.cumsum(levels, axis=0)])
    cells = np.arange(places)
    total = sums[until, cells]
    before = np.arange(count + 1)[:, None]
    after = until - before
    fits = (before >= least_side) & (after >= least_side)
    mean_before = sums / np.maximum(before, 1)[..., None]
    mean_after = (total - sums) / np.maximum(after, 1)[..., None]
    balance = before * after / np.maximum(until, 1)
    gain = np.where(fits, balance * np.sum((mean_after - mean_before) ** 2, axis=2), -1.0)
    best = np.argmax(gain, axis=0)
    step = (mean_after - mean_before)[best, cells]
    return Split(best, step, gain[best, cells], np.asarray(fits.any(axis=0)))


def _clear_steps(
    calm: FloatArray, split: Split, crossing: IntArray, settings: EarlierStepSettings
) -> BoolArray:
    """Find the cells that show a step, sharp, no chance, and like that of most others.

    `crossing` (P,) are the frames that a front takes to cross each cell: no step is sharper.
    """
    cells, count = np.arange(calm.shape[1]), len(calm)
    side = settings.least_side_frames + crossing
    at = split.frame
    before, after = np.maximum(at - side, 0), np.minimum(at + side, count)
    sums = np.concatenate([np.zeros_like(calm[:1]), np.cumsum(calm, axis=0)])
    later = (sums[after, cells] - sums[at, cells]) / np.maximum(after - at, 1)[:, None]
    earlier = (sums[at, cells] - sums[before, cells]) / np.maximum(at - before, 1)[:, None]
    size = np.maximum(np.sum(split.step**2, axis=1), 1e-9)
    sharp = np.sum((later - earlier) * split.step, axis=1) / size > settings.sharpness
    enough = split.fits & (split.gain > settings.least_sigmas**2 * settings.least_side_frames)
    if not split.fits.any():
        return enough
    usual = np.median(split.step[split.fits], axis=0)
    alike = split.step @ usual > 0.3 * float(usual @ usual)
    return enough & sharp & alike


def _frames_to_cross(wet_frame: IntArray, count: int) -> IntArray:
    """Return how many frames the strong change took to cross each cell; (P,)."""
    wetted = wet_frame < count
    last = maximum_filter(np.where(wetted, wet_frame, -1), 3)
    first = minimum_filter(wet_frame, 3)
    crossing = np.where(wetted, (last - first + 1) // 2, 0)
    usual = int(np.median(crossing[wetted])) if wetted.any() else 0
    return np.where(wetted, crossing, usual).ravel()


def _runs_ahead(
    frame: IntArray, strong: IntArray, count: int, settings: EarlierStepSettings
) -> bool:
    """Find whether the earlier step ran over the cells in the order of the strong change.

    What the strong change has not reached yet says nothing of the order.
    """
    reached = strong < count
    if len(np.unique(strong[reached])) < settings.least_side_frames:
        return False
    return rank_correlation(strong[reached], frame[reached]) > settings.least_order


def _everywhere(frame: IntArray, strong: IntArray, shown: BoolArray, count: int) -> IntArray:
    """Return the frame of the earlier step in every cell, by its place before the strong one."""
    wetted = shown & (strong < count)
    earlier = (
        float(np.median((frame[wetted] + 1.0) / (strong[wetted] + 1.0))) if wetted.any() else 1
    )
    usual = np.where(strong < count, np.rint((strong + 1) * earlier - 1), count)
    return np.where(shown, frame, np.clip(usual, 0, count)).astype(np.int16)


def _lag_share(first: IntArray, strong: IntArray, count: int) -> float:
    ahead = [float(np.mean(first <= k) - np.mean(strong <= k)) for k in range(count)]
    return float(max(ahead))
