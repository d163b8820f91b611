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
from dataclasses import dataclass, replace

import cv2
import numpy as np
from scipy.ndimage import median_filter

from vision.illumination.coarse_wetting import CoarseWetting, find_coarse_wetting
from vision.illumination.side_by_side import at_once
from vision.records import BoolArray, FloatArray, IntArray
from vision.settings.tracker_settings import TrackerSettings
from vision.settings.wetting_settings import WettingSettings
from vision.wetting.canvas_series import CELLS_ALONG, CanvasStack, middle_of
from vision.wetting.earlier_step import TwoSteps, coarse_of_step, find_earlier_step, hold_from
from vision.wetting.glare import (
    PatchLooks,
    find_doubtful_glare,
    find_patch_looks,
    find_sunlit,
)
from vision.wetting.ink import find_ink, find_specks
from vision.wetting.masks import at_size, out_of_view, put, whole_patches
from vision.wetting.occlusion import find_foreign_things, find_hidden_patches
from vision.wetting.pixel_levels import expected_ratio, find_pixel_scale
from vision.wetting.wetness import PixelScale, Projector, project_all


@dataclass(frozen=True)
class Wetting:
    """When each pixel turned wet, in frames of the stack.

    Attributes
    ----------
    wet_frame : ndarray of shape (M, N), int
        Frame from which each is wet; K (their number) where it stayed dry.
    last_dry, first_wet : ndarray of shape (M, N), int
        Frames that show the pixel dry and wet by themselves on either side of the change; -1
        and K where there is none.
    seen : ndarray of shape (M, N), bool
        Whether the change, or the lack of one, was seen at all.
    blank : ndarray of shape (M, N), bool
        Whether something stood before the pixel between `last_dry` and `first_wet`.
    onset : ndarray of shape (M, N), int
        Frame at which the pixel first looked wet for a while; K if never. Earlier than
        `wet_frame` where something passed, or where sun fell on it once it was wet.
    looks : PatchLooks
        Where patches look far brighter than dry, or wet, frame by frame.
    pixels : PixelScale
        How each tells wet from dry.
    coarse : CoarseWetting
    levels : list of ndarray of shape (M, N), float
        Each frame's projected level, light removed.
    hidden : list of ndarray, bool
        What stood before the panel in each frame, at a quarter of the resolution.
    steps : TwoSteps or None
        Where two changes passed over the panel, one behind the other.
    """

    wet_frame: IntArray
    last_dry: IntArray
    first_wet: IntArray
    seen: BoolArray
    blank: BoolArray
    onset: IntArray
    looks: PatchLooks
    pixels: PixelScale
    coarse: CoarseWetting
    levels: list[FloatArray]
    hidden: list[BoolArray]
    steps: TwoSteps | None = None


def find_wetting(
    stack: CanvasStack,
    settings: TrackerSettings | None = None,
    cloth: BoolArray | None = None,
) -> Wetting:
    """Find when each pixel of a run turned wet.

    Parameters
    ----------
    stack : CanvasStack
        At least 4 canvases.
    settings : TrackerSettings, optional
    cloth : ndarray of shape (M, N), bool, optional
        Where the canvas shows fabric; left out, everywhere. Beside it lies what never wets, and
        how bright that is says nothing of glare.

    Returns
    -------
    wetting : Wetting

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
    settings = settings or TrackerSettings()
    border = np.stack(stack.borders) if stack.border_xy.size else None
    border_xy = stack.border_xy if border is not None else None
    cells = np.stack(stack.cells)
    coarse = find_coarse_wetting(
        cells, border, border_xy, settings.light, stack.unseen_cells(), stack.cells_on(cloth)
    )
    wetting = _wetting_of(stack, coarse, settings.wetting, cloth=cloth)
    earlier = find_earlier_step(cells, coarse, settings.steps, settings.light)
    if earlier is None:
        return wetting
    first = coarse_of_step(earlier, coarse)
    looks = coarse.wet_frame.size * count
    clear = first.contrast >= settings.wetting.causes.least_contrast(looks)
    if settings.steps.follow == "second" or not clear:
        return replace(wetting, steps=TwoSteps(earlier, False, clear))
    followed = _wetting_of(stack, first, settings.wetting, wetting.wet_frame, cloth)
    return replace(followed, steps=TwoSteps(earlier, True, True, wetting.wet_frame))


def _wetting_of(
    stack: CanvasStack,
    coarse: CoarseWetting,
    own: WettingSettings,
    later: IntArray | None = None,
    cloth: BoolArray | None = None,
) -> Wetting:
    """Find when each pixel turned wet, given the look on coarse cells.

    Parameters
    ----------
    stack : CanvasStack
    coarse : CoarseWetting
    own : WettingSettings
    later : ndarray of shape (M, N), int, optional
        Frame from which another, stronger change shows at each pixel: from there on the pixel is
        taken to stay as wet as this change made it.
    cloth : ndarray of shape (M, N), bool, optional
    """
    count = len(stack)
    project = Projector(coarse, stack.shape)
    levels = project_all(stack.canvases, project)
    n_reference = count_reference_frames(coarse, own.causes.reference_frames)
    expected = expected_ratio(stack, n_reference, own, cloth)
    if later is not None:
        hold_from(levels, later, middle_of(levels[:n_reference]) + expected)
    guess, onset, looks = _first_guess(levels, coarse, expected, n_reference, own, stack.in_view)
    pixels = find_pixel_scale(levels, guess, expected, n_reference, SAFE_PX, own)
    hidden = find_hidden_patches(levels, guess, pixels, coarse.off_colour, own)
    hidden = [out_of_view(*pair) for pair in zip(hidden, stack.in_view, strict=True)]
    pixels = _with_light(pixels, coarse, own)
    glare = find_doubtful_glare(project.brightness(), expected, own)
    found = _find_changes(levels, pixels, hidden, glare, own)
    odd, drawn = _no_fabric(stack, levels, found.wet_frame, pixels, coarse, own)
    seen = (found.n_votes >= max(3, count // 6)) & ~odd
    # What was seen wet before ink was drawn over it, was seen.
    ink = drawn <= np.minimum(found.first_wet, count - 1)
    return Wetting(
        wet_frame=found.wet_frame,
        last_dry=found.last_dry,
        first_wet=np.where(ink, count, found.first_wet).astype(np.int16),
        seen=seen,
        blank=found.blank | ink,
        onset=onset,
        looks=looks,
        pixels=pixels,
        coarse=coarse,
        levels=levels,
        hidden=hidden,
    )


def _no_fabric(
    stack: CanvasStack,
    levels: list[FloatArray],
    wet_frame: IntArray,
    pixels: PixelScale,
    coarse: CoarseWetting,
    own: WettingSettings,
) -> tuple[BoolArray, IntArray]:
    """Find what is something else than fabric, or sunlit, and from which frame ink lies where."""
    n_reference = count_reference_frames(coarse, own.causes.reference_frames)
    looks: tuple[Callable[[], BoolArray | IntArray], ...] = (
        lambda: find_foreign_things(stack, wet_frame, n_reference, own),
        lambda: find_sunlit(levels, pixels, coarse.off_colour, own),
        lambda: find_specks(wet_frame, own),
        lambda: find_ink(levels, pixels.dry, wet_frame, own),
    )
    found = np.empty((len(looks), *wet_frame.shape), np.int16)

    def one(k: int) -> None:
        found[k] = looks[k]()

    at_once(one, len(looks))
    return np.asarray(found[:3].any(axis=0)), found[3]


SAFE_PX = 5
"""A pixel counts as dry up to when anything in a window this wide around it wetted."""


def _with_light(pixels: PixelScale, coarse: CoarseWetting, settings: WettingSettings) -> PixelScale:
    """Add to the scatter of a pixel what the light model leaves over."""
    least, most = settings.sigma_bounds
    sigma = float(np.hypot(pixels.sigma, 1.0 / max(coarse.contrast, 1e-6)))
    return replace(pixels, sigma=float(np.clip(np.nan_to_num(sigma, nan=most), least, most)))


def count_reference_frames(coarse: CoarseWetting, most: int) -> int:
    """Return how many of the first frames show the panel before the front came: three, or one.

    The median of three leaves out a hand; the median of two would be neither dry nor wet.
    """
    return most if np.quantile(coarse.wet_frame, 0.02) >= most else 1


def _first_guess(
    levels: list[FloatArray],
    coarse: CoarseWetting,
    expected: FloatArray,
    n_reference: int,
    settings: WettingSettings,
    in_view: list[BoolArray | None],
) -> tuple[IntArray, IntArray, PatchLooks]:
    """Find the wet frame once at half the resolution, from the coarse look, onset and looks."""
    rows, cols = expected.shape
    size = (-(-cols // 2), -(-rows // 2))
    block = np.empty((len(levels), *size[::-1]), np.float32)

    def smaller(k: int) -> None:
        block[k] = cv2.resize(levels[k], size, interpolation=cv2.INTER_AREA)

    at_once(smaller, len(levels))
    small: list[FloatArray] = list(block)
    narrow: FloatArray = np.asarray(
        cv2.resize(expected, size, interpolation=cv2.INTER_AREA), np.float32
    )
    guess = _spread(coarse.wet_frame, narrow.shape, len(levels))
    safe_px = 2 * int(max(narrow.shape) / CELLS_ALONG) + 1
    pixels = find_pixel_scale(small, guess, narrow, n_reference, safe_px, settings)
    pixels = _with_light(pixels, coarse, settings)
    hidden = [
        out_of_view(whole_patches(cells), view)
        for cells, view in zip(coarse.off_colour, in_view, strict=True)
    ]
    found = _find_changes(small, pixels, hidden, [], settings)
    onset = _find_onset(small, pixels, settings)
    coarser = replace(settings, scale=settings.scale.coarser(2))
    looks = find_patch_looks(small, pixels, coarse.off_colour, coarser)
    return _widened(found.wet_frame, (cols, rows)), _widened(onset, (cols, rows)), looks


def _widened(frames: IntArray, size: tuple[int, int]) -> IntArray:
    """Return frame numbers at the canvas's (columns, rows)."""
    return np.asarray(cv2.resize(frames, size, interpolation=cv2.INTER_NEAREST), np.int16)


def _votes(
    pixels: PixelScale, settings: WettingSettings
) -> Callable[[FloatArray], tuple[FloatArray, FloatArray]]:
    """Return what turns a frame's levels into wetness and bounded evidence for wet."""
    scale = (pixels.step_ratio / pixels.sigma**2).astype(np.float32)
    middle, clip = settings.onset * pixels.step_ratio, settings.causes.clip

    def vote(level: FloatArray) -> tuple[FloatArray, FloatArray]:
        wetness = level - pixels.dry
        evidence = wetness - middle
        evidence *= scale
        return wetness, np.clip(evidence, -clip, clip, out=evidence)

    return vote


def _find_onset(
    levels: list[FloatArray], pixels: PixelScale, settings: WettingSettings
) -> IntArray:
    """Find the frame at which each pixel first looked wet for a while; K if never.

    Source: the cumulative sum set back at zero, Page, Biometrika 41, 1954.
    """
    count, shape = len(levels), pixels.dry.shape
    vote = _votes(pixels, settings)
    _, most = pixels.bounds(settings)
    alarm = settings.causes.alarm(count * pixels.dry.size)
    lately = np.zeros(shape, np.float32)
    since = np.zeros(shape, np.int16)
    onset = np.full(shape, count, np.int16)
    against = np.full(shape, -settings.causes.clip, np.float32)
    for k, level in enumerate(levels):
        wetness, evidence = vote(level)
        put(against, wetness > most, evidence)
        lately += evidence
        # Frames only rise, so that the greater of two is the later.
        np.maximum(since, (lately <= 0) * np.int16(k + 1), out=since)
        np.maximum(lately, 0, out=lately)
        put(since, (lately > alarm) & (onset == count), onset)
    return onset


def _spread(wet_frame: IntArray, shape: tuple[int, ...], count: int) -> IntArray:
    """Bring the coarse wet frame to the canvas; a cell unlike all around takes their word."""
    usual = median_filter(wet_frame, size=5, mode="nearest")
    lone = np.abs(wet_frame - usual) > 2 + 0.15 * usual
    smooth = np.where(lone, usual, wet_frame).astype(np.float32)
    wide = cv2.resize(smooth, (shape[1], shape[0]), interpolation=cv2.INTER_NEAREST)
    return np.clip(np.rint(wide), 0, count).astype(np.int16)


@dataclass(frozen=True)
class _Changes:
    """As in `Wetting`; `n_votes` says how often each pixel showed itself dry or wet."""

    wet_frame: IntArray
    last_dry: IntArray
    first_wet: IntArray
    blank: BoolArray
    n_votes: IntArray


def _find_changes(
    levels: list[FloatArray],
    pixels: PixelScale,
    hidden: list[BoolArray],
    glare: list[BoolArray],
    settings: WettingSettings,
) -> _Changes:
    """Run through the frames once, keeping the least of each pixel's running sum of evidence."""
    count, shape = len(levels), pixels.dry.shape
    running, least = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    wet_frame, n_votes = np.zeros(shape, np.int16), np.zeros(shape, np.int16)
    recent_dry, last_dry = np.full(shape, -1, np.int16), np.full(shape, -1, np.int16)
    first_wet = np.full(shape, count, np.int16)
    never = np.full(shape, count, np.int16)
    blank = np.zeros(shape, bool)
    blur = float(np.clip(pixels.sigma / 0.1, 0.6, 2.5))
    evidence_of = _fabric_votes(pixels, settings)
    for k, level in enumerate(levels):
        evidence = evidence_of(level)
        if glare and glare[k].size:
            evidence[glare[k]] = 0
        if hidden and hidden[k].any():
            cover = at_size(hidden[k], shape)
            evidence[cover] = 0
            blank |= cover & (first_wet == count)
        evidence = np.asarray(cv2.GaussianBlur(evidence, (0, 0), blur), np.float32)
        wet, is_dry = evidence > settings.sure, evidence < -settings.sure
        n_votes += wet | is_dry
        # Frames only rise: the least of those that show a pixel wet is the first, and so on.
        np.minimum(first_wet, count - wet * np.int16(count - k), out=first_wet)
        np.maximum(recent_dry, is_dry * np.int16(k + 1) - np.int16(1), out=recent_dry)
        running += evidence
        lower = running < least
        put(running, lower, least)
        np.maximum(wet_frame, lower * np.int16(k + 1), out=wet_frame)
        put(recent_dry, lower, last_dry)
        put(never, lower, first_wet)
        blank &= ~lower
    return _Changes(wet_frame, last_dry, first_wet, blank, n_votes)


def _fabric_votes(
    pixels: PixelScale, settings: WettingSettings
) -> Callable[[FloatArray], FloatArray]:
    """Return what turns a frame's levels into evidence for wet, 0 where something else shows."""
    vote = _votes(pixels, settings)
    low, high = pixels.bounds(settings)
    ink_rim = settings.window(settings.ink_rim_mm)
    glare_rim = settings.window(settings.glare_rim_mm)
    none = np.zeros(pixels.dry.shape, np.float32)

    def evidence_of(level: FloatArray) -> FloatArray:
        wetness, evidence = vote(level)
        for strange, rim in ((wetness > high, ink_rim), (wetness < low, glare_rim)):
            if strange.any():
                near = np.asarray(cv2.dilate(strange.view(np.uint8), rim), np.uint8)
                put(none, near, evidence)
        return evidence

    return evidence_of
