"""Glare and sun: what another light makes of the bag and of the cloth."""

from __future__ import annotations

import cv2
import numpy as np

from vision.records import BoolArray, FloatArray
from vision.wetting.masks import JOIN, at_size, whole_patches

SUNLIT = 0.5
"""A whole patch this much brighter than dry, in steps, has something shining on it."""


SUN_LASTS = 0.2
"""Share of the frames that sun stays for at the least; a hand in one place stays for fewer."""


SUN_SAMPLE_PX = 2
"""Sun patches are large: every second pixel either way tells them."""


GLARE_SHARE = 0.7
"""Share of the typical step below which a pixel is taken to lie in glare."""


WIDE_GLARE = np.ones((13, 13), np.uint8)
"""Glare fades out over some pixels, which look wet when the light changes."""


GLARE_DOUBT = 0.25
"""Most that another light may make of such a pixel, in steps."""


def bright_bound(share: FloatArray) -> FloatArray:
    """Give the wetness below which something shines on a pixel; `share` as in `strange_bounds`."""
    return -SUNLIT * np.maximum(share, 0.5)


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
