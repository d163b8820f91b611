"""What is neither dry nor wet fabric, and so has no vote: glare, ink, things in the way, specks."""

from __future__ import annotations

import cv2
import numpy as np

from vision.illumination.light_basis import LOG_TABLE, robust_scale
from vision.records import BoolArray, FloatArray
from vision.wetting.canvas_series import CanvasStack, middle_of
from vision.wetting.wetness import ONSET

STRANGE = 1.6
"""Wetness this far beyond the dry or the wet level is something else: skin, ink, a tool."""

INK_RIM = np.ones((5, 5), np.uint8)
"""The blurred rim of ink looks wet: it does not vote either."""

GLARE_RIM = np.ones((3, 3), np.uint8)

SPECK_PX = 9
"""Window in which a patch smaller than half is taken for a speck and filled from around it."""

SUNLIT = 0.5
"""A whole patch this much brighter than dry, in steps, has something shining on it."""

SUN_LASTS = 0.2
"""Share of the frames that sun stays for at the least; a hand in one place stays for fewer."""

SUN_SAMPLE_PX = 2
"""Sun patches are large: every second pixel either way tells them."""

JOIN = np.ones((9, 9), np.uint8)
"""Hidden patches this near each other, at a quarter of the resolution, are one."""

CELL_RIM = np.ones((3, 3), np.uint8)
"""What is hidden reaches a cell farther than the cells that tell it by their colour."""

INK_STEP = 0.35
"""A thin mark this much wetter than the wet fabric around it is ink, in steps."""

INK_AROUND_PX = 21
"""Window in which a mark must be thin."""

INK_SIGMAS = 5.0
"""And this far out of the usual scatter."""

LEAST_INK_PX = 12
"""Marks, or groups of them as in a figure, that reach less far do not count."""

INK_CODE = 60.0
"""Steps of an 8-bit code for one step from dry to wet."""

GLARE_SHARE = 0.7
"""Share of the typical step below which a pixel is taken to lie in glare."""

WIDE_GLARE = np.ones((13, 13), np.uint8)
"""Glare fades out over some pixels, which look wet when the light changes."""

GLARE_DOUBT = 0.25
"""Most that another light may make of such a pixel, in steps."""


def strange_bounds(share: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give the wetness below and above which a pixel shows something else than fabric.

    Parameters
    ----------
    share : ndarray of shape (M, N), float
        Each pixel's own step from dry to wet (`wetting.WetLook.share`).
    """
    far = STRANGE * np.maximum(share, 0.5)
    return -far, share + far


def bright_bound(share: FloatArray) -> FloatArray:
    """Give the wetness below which something shines on a pixel; `share` as in `strange_bounds`."""
    return -SUNLIT * np.maximum(share, 0.5)


def at_size(mask: BoolArray, shape: tuple[int, ...]) -> BoolArray:
    """Bring a mask to another resolution, of rows and columns `shape`."""
    return cv2.resize(mask.astype(np.uint8), shape[::-1], interpolation=cv2.INTER_NEAREST) > 0


def doubtful_glare(brightness: FloatArray, expected: FloatArray, count: int) -> list[BoolArray]:
    """Tell glare that another light makes look wetter or drier than it is.

    Glare is added light: a lamp that brightens the fabric does not brighten it as much.

    Parameters
    ----------
    brightness : ndarray of shape (K,), float
        Each frame's mean light on the wetness scale (`project.Projector.brightness`).
    expected : ndarray of shape (M, N), float
        Share of the typical step that each pixel can show.
    count : int
        Frames.

    Returns
    -------
    glare : list of K ndarrays, bool
        Of the canvas's shape; empty where the light is the usual one.
    """
    nothing = np.zeros((0, 0), bool)
    bright = cv2.dilate((expected < GLARE_SHARE).astype(np.uint8), WIDE_GLARE) > 0
    if not bright.any():
        return [nothing] * count
    other = np.abs(brightness - np.median(brightness[:3])) * (1 - GLARE_SHARE) > GLARE_DOUBT
    return [bright if changed else nothing for changed in other]


def specks(change: np.ndarray) -> BoolArray:
    """Tell pixels that changed far earlier or later than most around them: glare, not a front."""
    around = cv2.medianBlur(change.astype(np.uint8), SPECK_PX).astype(np.int16)
    return np.abs(change - around) > np.maximum(2, around // 6)


def ink_marks(levels: list[FloatArray], dry: FloatArray, change: np.ndarray) -> BoolArray:
    """Tell thin marks that still look wetter than the wet fabric around them at the end.

    On a dark fabric ink looks no stranger than wet; drawn ahead of the front it would pass for it.

    Parameters
    ----------
    levels : list of K ndarrays of shape (M, N), float
        Each frame's projected level, light removed.
    dry : ndarray of shape (M, N), float
        Projected dry level.
    change : ndarray of shape (M, N), int
        First wet frame; K where it stayed dry.
    """
    wetness = cv2.GaussianBlur(middle_of(levels[-3:]) - dry, (0, 0), 1.0)
    coded = np.clip((wetness + 1) * INK_CODE, 0, 255).astype(np.uint8)
    around = cv2.medianBlur(coded, INK_AROUND_PX).astype(np.float32) / INK_CODE - 1
    more = wetness - around
    usual = robust_scale(more[::3, ::3].ravel())
    mark = (more > max(INK_STEP, INK_SIGMAS * usual)) & (change < len(levels))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(
        cv2.dilate(mark.astype(np.uint8), INK_RIM)
    )
    reach = stats[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]].max(axis=1)
    mark &= (reach >= LEAST_INK_PX)[labels]
    return cv2.dilate(mark.astype(np.uint8), GLARE_RIM) > 0


def foreign_things(stack: CanvasStack, change: np.ndarray, calm: int) -> BoolArray:
    """Tell what never changed and never looked like the fabric: a hose, a clamp, a fixed glare.

    Returns
    -------
    foreign : ndarray of shape (M, N), bool
        Pixels that stayed dry to the end but whose colour at the start lies outside what the
        wetted part of the panel showed then.
    """
    count = len(stack)
    wetted = change < count
    if np.count_nonzero(wetted) < 100 or wetted.all():
        return np.zeros(change.shape, bool)
    middle = middle_of(stack.canvases[:calm])
    colour = cv2.LUT(cv2.GaussianBlur(middle, (0, 0), 1.0), LOG_TABLE)
    sample = colour[wetted][::7]
    centre = np.median(sample, axis=0)
    away = sample - centre
    size = np.sqrt(np.sum(away**2, axis=1))
    kept = away[size <= np.quantile(size, 0.95)]
    inverse = np.linalg.inv(kept.T @ kept / len(kept) + np.eye(3) * 1e-4)
    limit = 1.5 * np.quantile(np.einsum("pc,cd,pd->p", away, inverse, away), 0.98)
    left = colour[~wetted] - centre
    foreign = np.zeros(change.shape, bool)
    foreign[~wetted] = np.einsum("pc,cd,pd->p", left, inverse, left) > limit
    return foreign


def hidden_patches(
    levels: list[FloatArray],
    change: np.ndarray,
    dry: FloatArray,
    share: FloatArray,
    odd: np.ndarray,
) -> list[BoolArray]:
    """Find, frame by frame, where something stood before the panel.

    A patch that looks wet long before its pixels wetted, or dry long after, or like neither, is
    hidden by something that comes and goes. Small patches do not count (texture, ink), nor does
    what looks wrong for a third of the run (the guess at the change was wrong there).

    Returns
    -------
    hidden : list of K ndarrays, bool
        At a quarter of the canvas resolution; empty arrays where nothing is hidden.
    """
    low, middle = bright_bound(share), ONSET * share
    _, high = strange_bounds(share)
    size = (-(-dry.shape[1] // 4), -(-dry.shape[0] // 4))
    patches = []
    for k, level in enumerate(levels):
        wetness = level - dry
        wet = wetness > middle
        wrong = (wet & (change > k + 1)) | (~wet & (change < k - 1))
        wrong |= (wetness < low) | (wetness > high)
        small = cv2.resize(wrong.astype(np.uint8) * 255, size, interpolation=cv2.INTER_AREA)
        patches.append(cv2.blur(small, (5, 5)) > 0.3 * 255)
    usual = np.mean(patches, axis=0) > 1 / 3
    wide = np.ones((5, 5), np.uint8)
    hidden = []
    for patch, cells in zip(patches, odd, strict=True):
        other = at_size(cells, size[::-1])
        whole = cv2.morphologyEx(((patch & ~usual) | other).astype(np.uint8), cv2.MORPH_CLOSE, JOIN)
        hidden.append(cv2.dilate(whole, wide) > 0)
    return hidden


def sunlit(
    levels: list[FloatArray], dry: FloatArray, share: FloatArray, odd: np.ndarray
) -> BoolArray:
    """Tell what looked far brighter than dry for some frames: sun, or a lamp of its own.

    What such a patch shows is the sun's coming and going as much as the wetting.

    Parameters
    ----------
    levels : list of K ndarrays of shape (M, N), float
        Each frame's projected level, light removed.
    dry, share : ndarray of shape (M, N), float
        As in `wetting.WetLook`.
    odd : ndarray of shape (K, h, w), bool
        Cells of another colour: skin and clothes are bright too.
    """
    some = (slice(None, None, SUN_SAMPLE_PX),) * 2
    bound = dry[some] + bright_bound(share[some])
    frames = np.zeros(bound.shape, np.int16)
    for level, cells in zip(levels, odd, strict=True):
        bright = (level[some] < bound).astype(np.uint8)
        if cells.any():
            bright[at_size(whole_patches(cells), bound.shape)] = 0
        frames += cv2.morphologyEx(bright, cv2.MORPH_OPEN, JOIN) > 0
    lasts = max(3, round(SUN_LASTS * len(levels)))
    # All of a patch: where the front came soon after the sun it was not bright for long.
    _, labels, stats, _ = cv2.connectedComponentsWithStats((frames > 0).astype(np.uint8))
    patch = np.zeros(bound.shape, np.uint8)
    for label in np.unique(labels[(frames >= lasts) & (labels > 0)]):
        left, top, width, height, area = stats[label]
        patch[labels == label] = 1
        if area > width * height / 2:
            patch[top : top + height, left : left + width] = 1
    return at_size(cv2.dilate(patch, JOIN) > 0, dry.shape)


def whole_patches(cells: BoolArray) -> BoolArray:
    """Fill in and widen what stands before the panel, as seen on the coarse cells."""
    closed = cv2.morphologyEx(cells.astype(np.uint8), cv2.MORPH_CLOSE, CELL_RIM)
    return cv2.dilate(closed, CELL_RIM) > 0
