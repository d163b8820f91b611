"""Glare and sun: what another light makes of the bag and of the cloth."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.records import BoolArray, FloatArray
from vision.settings.wetting_settings import WettingSettings
from vision.wetting.masks import at_size, whole_patches
from vision.wetting.wetness import PixelScale

SUN_SAMPLE_PX = 2
"""Sun patches are large: every second pixel either way tells them."""


def find_doubtful_glare(
    brightness: FloatArray, expected: FloatArray, settings: WettingSettings
) -> list[BoolArray]:
    """Find glare that another light makes look wetter or drier than it is.

    Glare is added light: a lamp that brightens the fabric does not brighten it as much.

    Parameters
    ----------
    brightness : ndarray of shape (K,), float
        Each frame's mean light on the wetness scale (`wetness.Projector.brightness`).
    expected : ndarray of shape (M, N), float
        Part of the typical step that each pixel can show.
    settings : WettingSettings

    Returns
    -------
    glare : list of K ndarrays, bool
        Of the canvas's shape; empty where the light is the usual one.
    """
    nothing = np.zeros((0, 0), bool)
    rim = settings.window(settings.glare_rim_mm)
    bright = np.asarray(cv2.dilate((expected < settings.glare_share).astype(np.uint8), rim) > 0)
    if not bright.any():
        return [nothing] * len(brightness)
    from_usual = np.abs(brightness - np.median(brightness[:3]))
    other = from_usual * (1 - settings.glare_share) > settings.glare_doubt
    return [bright if changed else nothing for changed in other]


def find_sunlit(
    levels: list[FloatArray],
    pixels: PixelScale,
    off_colour: BoolArray,
    settings: WettingSettings,
) -> BoolArray:
    """Find what looked far brighter than dry for some frames: sun, or a lamp of its own.

    What such a patch shows is the sun's coming and going as much as the wetting.

    Parameters
    ----------
    levels : list of K ndarrays of shape (M, N), float
        Each frame's projected level, light removed.
    pixels : PixelScale
    off_colour : ndarray of shape (K, h, w), bool
        Cells of another colour: skin and clothes are bright too.
    settings : WettingSettings
    """
    shape = pixels.dry.shape
    lasts = max(3.0, settings.sun_lasts * len(levels))
    if lasts > len(levels):
        return np.zeros(shape, bool)
    some = (slice(None, None, SUN_SAMPLE_PX),) * 2
    bound = pixels.dry[some] + pixels.bright_bound(settings)[some]
    join = settings.window(settings.sun_join_mm / SUN_SAMPLE_PX)
    frames = np.zeros(bound.shape, np.int16)
    for level, cells in zip(levels, off_colour, strict=True):
        bright = (level[some] < bound).astype(np.uint8)
        if cells.any():
            bright[at_size(whole_patches(cells), bound.shape)] = 0
        frames += cv2.morphologyEx(bright, cv2.MORPH_OPEN, join) > 0
    # All of a patch: where the front came soon after the sun it was not bright for long.
    _, labels, stats, _ = cv2.connectedComponentsWithStats((frames > 0).astype(np.uint8))
    patch = np.zeros(bound.shape, np.uint8)
    for label in np.unique(labels[(frames >= round(lasts)) & (labels > 0)]):
        left, top, width, height, area = stats[label]
        patch[labels == label] = 1
        if area > width * height / 2:
            patch[top : top + height, left : left + width] = 1
    return at_size(np.asarray(cv2.dilate(patch, join) > 0), shape)


@dataclass(frozen=True)
class PatchLooks:
    """What whole patches look like in each frame; pixels of twice the canvas's.

    Attributes
    ----------
    bright : ndarray of shape (K, m, n), bool
        Far brighter than dry.
    wet : ndarray of shape (K, m, n), bool
    dry : ndarray of shape (K, m, n), bool
        Neither, and nothing else; specks too.
    """

    bright: BoolArray
    wet: BoolArray
    dry: BoolArray


def find_patch_looks(
    levels: list[FloatArray],
    pixels: PixelScale,
    off_colour: BoolArray,
    settings: WettingSettings,
) -> PatchLooks:
    """Find where patches, and not just specks, look far brighter than dry, or wet, frame by frame.

    Parameters
    ----------
    levels : list of K ndarrays of shape (m, n), float
        Each frame's projected level, light removed.
    pixels : PixelScale
    off_colour : ndarray of shape (K, h, w), bool
        Cells of another colour: skin and clothes are neither.
    settings : WettingSettings
        Bound to the pixels of `levels`.
    """
    lit = pixels.dry + pixels.bright_bound(settings)
    middle = pixels.dry + settings.onset * pixels.step_ratio
    most = pixels.dry + pixels.bounds(settings)[1]
    join = settings.window(settings.sun_join_mm)
    looks = np.zeros((3, len(levels), *pixels.dry.shape), bool)
    for k, (level, cells) in enumerate(zip(levels, off_colour, strict=True)):
        broad = cv2.morphologyEx(cells.astype(np.uint8), cv2.MORPH_OPEN, TWO_CELLS)
        strange = at_size(whole_patches(broad > 0), level.shape) if broad.any() else None
        wet = (level > middle) & (level < most)
        for which, shown in enumerate((level < lit, wet, (level >= lit) & (level <= middle))):
            if strange is not None:
                shown = shown & ~strange
            if which == 2:
                looks[which, k] = shown
            elif shown.any():
                whole = cv2.morphologyEx(shown.astype(np.uint8), cv2.MORPH_OPEN, join)
                looks[which, k] = whole > 0
    return PatchLooks(looks[0], looks[1], looks[2])


TWO_CELLS = np.ones((2, 2), np.uint8)
"""Somebody's hand covers more cells than this; single ones may be of another colour by chance."""
