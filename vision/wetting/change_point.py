"""Wet or dry: the frame from which each canvas pixel is wet for good.

Wetting goes one way, so each pixel is given the single lasting change that explains its whole
history best. Per frame the colour, with the light removed, is projected on the direction that
parts wet from dry on this very panel (found on coarse cells); that wetness gives a bounded
log-likelihood for wet, and the frame at which the running sum is least is the change. A hand, a
shadow or a flash comes and goes: it is outvoted. Ink stays, but looks like neither dry nor wet:
it does not vote, and the hole is filled from around it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import median_filter

from vision.common.robust import robust_scale
from vision.illumination.cell_levels import expected_gain
from vision.illumination.coarse_wetting import CellLook, look
from vision.illumination.light_basis import LOG_TABLE
from vision.records import BoolArray, FloatArray
from vision.wetting.canvas_series import CELLS_ALONG, CanvasStack, middle_of
from vision.wetting.glare import doubtful_glare, sunlit
from vision.wetting.ink import ink_marks, specks
from vision.wetting.masks import GLARE_RIM, INK_RIM, at_size, strange_bounds, whole_patches
from vision.wetting.occlusion import foreign_things, hidden_patches
from vision.wetting.wetness import ONSET, Projector

CLIP = 4.0
"""Most that one frame may say about one pixel, in log-likelihood."""

ALARM = 10.0
"""Evidence gathered without a break from which a pixel looks wet, if only for a while."""

SURE = 1.0
"""Evidence beyond which a frame is taken to show the pixel wet or dry by itself."""

LEAST_SIGMA, MOST_SIGMA = 0.01, 100.0
"""Bounds of the scatter of wetness; frames that are copies of each other have none."""

DRY_LOOKS = 24
"""Frames the dry level is averaged over at the most."""

NOISE_LOOKS = 12
"""Pairs of frames that the noise is taken from, or a few more."""

WET_LOOKS = 4
"""Frames after the change that the wet level is taken from."""

BLOWN = 250
"""A pixel this bright in any colour shows only glare."""


@dataclass(frozen=True)
class WetLook:
    """When each pixel turned wet, in frames of the stack.

    Attributes
    ----------
    change : ndarray of shape (M, N), int
        First wet frame; K (their number) where it stayed dry.
    last_dry, first_wet : ndarray of shape (M, N), int
        Frames that show the pixel dry and wet by themselves on either side of the change; -1
        and K where there is none.
    seen : ndarray of shape (M, N), bool
        Whether the change, or the lack of one, was seen at all.
    blank : ndarray of shape (M, N), bool
        Whether something stood before the pixel between `last_dry` and `first_wet`.
    onset : ndarray of shape (M, N), int
        Frame at which the pixel first looked wet for a while; K if never. Earlier than `change`
        where something passed, or where sun fell on it once it was wet.
    share : ndarray of shape (M, N), float
        Each pixel's own step from dry to wet, in units of the panel's typical step.
    dry : ndarray of shape (M, N), float
        Projected dry level.
    noise : float
        Standard deviation of the wetness of one pixel in one frame.
    coarse : CellLook
    levels : list of ndarray of shape (M, N), float
        Each frame's projected level, light removed.
    """

    change: np.ndarray
    last_dry: np.ndarray
    first_wet: np.ndarray
    seen: BoolArray
    blank: BoolArray
    onset: np.ndarray
    share: FloatArray
    dry: FloatArray
    noise: float
    coarse: CellLook
    levels: list[FloatArray]


def find_wetting(stack: CanvasStack) -> WetLook:
    """Find when each pixel of a run turned wet.

    Parameters
    ----------
    stack : CanvasStack
        At least 4 canvases.

    Returns
    -------
    look : WetLook

    Raises
    ------
    ValueError
        If there are fewer than 4 canvases.

    Notes
    -----
    Source: the running sum is that of Page, Biometrika 41, 1954, with each frame's say bounded
    after Huber, Ann. Math. Statist. 36, 1965.
    """
    count = len(stack)
    if count < 4:
        raise ValueError(f"at least 4 canvases are needed, got {count}")
    border = np.stack(stack.borders) if stack.border_xy.size else None
    coarse = look(np.stack(stack.cells), border, stack.border_xy if border is not None else None)
    project = Projector(coarse, stack.shape)
    # One block: the system hands out a large one far quicker than many of a canvas's size.
    block = np.empty((count, *stack.shape), np.float32)
    for k, canvas in enumerate(stack.canvases):
        block[k] = project(canvas, k)
    levels = list(block)
    calm = calm_frames(coarse)
    expected = _expected_share(stack, calm)
    change, onset = _first_guess(levels, coarse, expected, calm)
    dry, share, noise = _dry_and_wet(levels, change, expected, calm, safe_px=5)
    sigma = _sigma(noise, coarse)
    hidden = hidden_patches(levels, change, dry, share, coarse.odd)
    glare = doubtful_glare(project.brightness(), expected, len(stack))
    found = _changes(levels, dry, share, sigma, hidden, glare)
    seen = found.told & ~foreign_things(stack, found.change, calm) & ~specks(found.change)
    seen &= ~sunlit(levels, dry, share, coarse.odd)
    ink = ink_marks(levels, dry, found.change)
    return WetLook(
        change=found.change,
        last_dry=found.last_dry,
        first_wet=np.where(ink, count, found.first_wet).astype(np.int16),
        seen=seen,
        blank=found.blank | ink,
        onset=onset,
        share=share,
        dry=dry,
        noise=sigma,
        coarse=coarse,
        levels=levels,
    )


def _sigma(noise: float, coarse: CellLook) -> float:
    """Give the scatter of a pixel's wetness: its own, and what the light model leaves over."""
    sigma = float(np.hypot(noise, 1.0 / max(coarse.contrast, 1e-6)))
    return float(np.clip(np.nan_to_num(sigma, nan=MOST_SIGMA), LEAST_SIGMA, MOST_SIGMA))


def calm_frames(coarse: CellLook) -> int:
    """Give how many of the first frames show the panel before the front came: three, or one.

    The median of three leaves out a hand; the median of two would be neither dry nor wet.
    """
    return 3 if np.quantile(coarse.change, 0.02) >= 3 else 1


def _first_guess(
    levels: list[FloatArray], coarse: CellLook, expected: FloatArray, calm: int
) -> tuple[np.ndarray, np.ndarray]:
    """Find the change once at half the resolution, from the coarse look, and the onset."""
    rows, cols = expected.shape
    size = (-(-cols // 2), -(-rows // 2))
    small = [
        np.asarray(cv2.resize(level, size, interpolation=cv2.INTER_AREA), level.dtype)
        for level in levels
    ]
    expected = np.asarray(cv2.resize(expected, size, interpolation=cv2.INTER_AREA), expected.dtype)
    change = _spread(coarse.change, expected.shape, len(levels))
    safe = 2 * int(max(expected.shape) / CELLS_ALONG) + 1
    dry, share, noise = _dry_and_wet(small, change, expected, calm, safe)
    sigma = _sigma(noise, coarse)
    found = _changes(small, dry, share, sigma, [whole_patches(cells) for cells in coarse.odd], [])
    wide = (cols, rows)
    change = cv2.resize(found.change, wide, interpolation=cv2.INTER_NEAREST)
    onset = _onset(small, dry, share, sigma)
    return change, cv2.resize(onset, wide, interpolation=cv2.INTER_NEAREST)


def _votes(
    dry: FloatArray, share: FloatArray, sigma: float
) -> Callable[[FloatArray], tuple[FloatArray, FloatArray]]:
    """Give what turns a frame's levels into wetness and bounded evidence for wet."""
    scale, half = (share / sigma**2).astype(np.float32), ONSET * share

    def vote(level: FloatArray) -> tuple[FloatArray, FloatArray]:
        wetness = level - dry
        return wetness, np.clip((wetness - half) * scale, -CLIP, CLIP)

    return vote


def _onset(
    levels: list[FloatArray], dry: FloatArray, share: FloatArray, sigma: float
) -> np.ndarray:
    """Give the frame at which each pixel first looked wet for a while; K if never.

    Source: the cumulative sum set back at zero, Page, Biometrika 41, 1954.
    """
    count = len(levels)
    vote = _votes(dry, share, sigma)
    _, most = strange_bounds(share)
    lately = np.zeros(dry.shape, np.float32)
    since = np.zeros(dry.shape, np.int16)
    onset = np.full(dry.shape, count, np.int16)
    for k, level in enumerate(levels):
        wetness, evidence = vote(level)
        evidence[wetness > most] = -CLIP
        lately += evidence
        np.copyto(since, k + 1, where=lately <= 0)
        np.maximum(lately, 0, out=lately)
        np.copyto(onset, since, where=(lately > ALARM) & (onset == count))
    return onset


def _spread(change: np.ndarray, shape: tuple[int, int], count: int) -> np.ndarray:
    """Bring the coarse change to the canvas; a cell unlike all around it takes their word."""
    around = median_filter(change, size=5, mode="nearest")
    lone = np.abs(change - around) > 2 + 0.15 * around
    smooth = np.where(lone, around, change).astype(np.float32)
    wide = cv2.resize(smooth, (shape[1], shape[0]), interpolation=cv2.INTER_NEAREST)
    return np.clip(np.rint(wide), 0, count).astype(np.int16)


def _expected_share(stack: CanvasStack, calm: int) -> FloatArray:
    """Give each pixel's share of the typical step, less where glare lies on it."""
    middle = middle_of(stack.canvases[:calm])
    logs = np.asarray(cv2.LUT(middle, LOG_TABLE), LOG_TABLE.dtype)
    share = expected_gain(logs).astype(np.float32)
    share[np.maximum.reduce(cv2.split(middle)) >= BLOWN] = 0.02
    return np.maximum(share, 0.02)


def _dry_and_wet(
    levels: list[FloatArray], change: np.ndarray, expected: FloatArray, calm: int, safe_px: int
) -> tuple[FloatArray, FloatArray, float]:
    """Find each pixel's dry level, its step just after wetting, and the noise of one frame.

    Both levels are running means that leave out or bound what is far off, so that a hand moves
    them little. Dry counts only up to when anything within `safe_px` wetted. The wet level is
    taken over the first frames after the change: the wet look goes on deepening, and the edge
    must be placed by what it is at the front.
    """
    count = len(levels)
    dry_until = cv2.erode(change, np.ones((safe_px, safe_px), np.uint8))
    early = levels[:calm]
    dry = middle_of(early).copy()
    dry_count = np.ones_like(dry)
    wet = expected.copy()
    wet_count = np.full_like(dry, 0.25)
    scatter = _frame_noise(levels, 1)
    gate = np.maximum(0.5 * expected, 2.5 * scatter)
    step = max(1, count // DRY_LOOKS)
    for k in range(0, count, step):
        above = levels[k] - dry
        is_dry = (dry_until > k + 1) & (np.abs(above) < gate)
        np.add(dry_count, 1, out=dry_count, where=is_dry)
        np.add(dry, above / dry_count, out=dry, where=is_dry)
    _add_wet(levels, change, dry, wet, wet_count)
    pairs = range(1, count, max(1, count // NOISE_LOOKS))
    noise = float(np.median([_frame_noise(levels, k) for k in pairs]))
    told = (wet_count >= 3) & (expected > 0.5)
    usual = float(np.median((wet / expected)[told])) if np.count_nonzero(told) > 100 else 1.0
    expected = expected * float(np.clip(usual, 0.3, 1.5))
    wet = np.where(change < count - 1, wet, expected)
    share = np.clip(wet, 0.5 * expected, 2.0 * np.maximum(expected, 0.3)).astype(np.float32)
    return dry, share, noise


def _add_wet(
    levels: list[FloatArray],
    change: np.ndarray,
    dry: FloatArray,
    wet: FloatArray,
    wet_count: FloatArray,
) -> None:
    """Fold the first frames after each pixel's change into its wet level, in place."""
    count = len(levels)
    order = np.argsort(change, axis=None, kind="stable")
    starts = np.searchsorted(change.ravel()[order], np.arange(count + 1))
    flat_dry, flat_wet, flat_count = dry.ravel(), wet.ravel(), wet_count.ravel()
    for k, level in enumerate(levels):
        fresh = order[starts[max(k - WET_LOOKS, 0)] : starts[k]]
        if not len(fresh):
            continue
        flat_count[fresh] += 1
        above = level.ravel()[fresh] - flat_dry[fresh] - flat_wet[fresh]
        flat_wet[fresh] += np.clip(above, -0.75, 0.75) / flat_count[fresh]


def _frame_noise(levels: list[FloatArray], k: int) -> float:
    """Give the scatter between two frames, of one frame."""
    sample = (levels[k][::4, ::4] - levels[k - 1][::4, ::4]).ravel()
    return float(robust_scale(sample - np.median(sample)) / np.sqrt(2))


@dataclass(frozen=True)
class _Found:
    change: np.ndarray
    last_dry: np.ndarray
    first_wet: np.ndarray
    blank: BoolArray
    told: BoolArray


def _changes(
    levels: list[FloatArray],
    dry: FloatArray,
    share: FloatArray,
    sigma: float,
    hidden: list[BoolArray],
    glare: list[BoolArray],
) -> _Found:
    """Run through the frames once, keeping the least of each pixel's running sum of evidence."""
    count = len(levels)
    blur = float(np.clip(sigma / 0.1, 0.6, 2.5))
    shape = dry.shape
    running = np.zeros(shape, np.float32)
    least = np.zeros(shape, np.float32)
    change = np.zeros(shape, np.int16)
    recent_dry = np.full(shape, -1, np.int16)
    last_dry = np.full(shape, -1, np.int16)
    first_wet = np.full(shape, count, np.int16)
    told = np.zeros(shape, np.int16)
    blank = np.zeros(shape, bool)
    vote = _votes(dry, share, sigma)
    low, high = strange_bounds(share)
    for k, level in enumerate(levels):
        wetness, evidence = vote(level)
        for strange, rim in ((wetness > high, INK_RIM), (wetness < low, GLARE_RIM)):
            if strange.any():
                evidence[cv2.dilate(strange.astype(np.uint8), rim) > 0] = 0
        if glare and glare[k].size:
            evidence[glare[k]] = 0
        if hidden and hidden[k].any():
            cover = at_size(hidden[k], shape)
            evidence[cover] = 0
            blank |= cover & (first_wet == count)
        evidence = np.asarray(cv2.GaussianBlur(evidence, (0, 0), blur), evidence.dtype)
        wet, is_dry = evidence > SURE, evidence < -SURE
        told += wet
        told += is_dry
        np.copyto(first_wet, k, where=wet & (first_wet == count))
        np.copyto(recent_dry, k, where=is_dry)
        running += evidence
        lower = running < least
        np.copyto(least, running, where=lower)
        np.copyto(change, k + 1, where=lower)
        np.copyto(last_dry, recent_dry, where=lower)
        np.copyto(first_wet, count, where=lower)
        blank &= ~lower
    return _Found(change, last_dry, first_wet, blank, told >= max(3, count // 6))
