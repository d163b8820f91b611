"""Glare and sun: what another light makes of the bag and of the cloth."""

from __future__ import annotations

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
