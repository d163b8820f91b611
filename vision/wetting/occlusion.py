"""What stood before the panel or never was fabric: hands, tools, a hose, a fixed glare."""

from __future__ import annotations

import cv2
import numpy as np

from vision.illumination.light_basis import LOG_TABLE
from vision.illumination.side_by_side import at_once
from vision.records import BoolArray, FloatArray, IntArray
from vision.settings.wetting_settings import WettingSettings
from vision.wetting.canvas_series import CanvasStack, middle_of
from vision.wetting.masks import at_size
from vision.wetting.wetness import PixelScale

COARSER = 4
"""Hidden patches are large: they are looked for at a quarter of the resolution."""


def find_foreign_things(
    stack: CanvasStack, wet_frame: IntArray, n_reference: int, settings: WettingSettings
) -> BoolArray:
    """Find what never changed and never looked like the fabric: a hose, a clamp, a fixed glare.

    Returns
    -------
    foreign : ndarray of shape (M, N), bool
        Pixels that stayed dry to the end but whose colour at the start lies outside what the
        wetted part of the panel showed then, all of it or what lies around them.
    """
    wetted = wet_frame < len(stack)
    if np.count_nonzero(wetted) < 100 or wetted.all():
        return np.zeros(wet_frame.shape, bool)
    middle = middle_of(stack.canvases[:n_reference])
    colour = cv2.LUT(cv2.GaussianBlur(middle, (0, 0), 1.0), LOG_TABLE)
    sample = colour[wetted][::7]
    centre = np.median(sample, axis=0)
    away = sample - centre
    size = np.sqrt(np.sum(away**2, axis=1))
    kept = away[size <= np.quantile(size, 0.95)]
    inverse = np.linalg.inv(kept.T @ kept / len(kept) + np.eye(3) * 1e-4)
    usual = np.quantile(np.einsum("pc,cd,pd->p", away, inverse, away), 0.98)
    left = colour[~wetted] - centre
    foreign = np.zeros(wet_frame.shape, bool)
    far = np.einsum("pc,cd,pd->p", left, inverse, left) > settings.foreign * usual
    foreign[~wetted] = far
    if not np.isfinite(settings.foreign):
        return foreign
    return foreign | _unlike_around(np.asarray(colour, np.float32), wetted, settings)


def _unlike_around(colour: FloatArray, wetted: BoolArray, settings: WettingSettings) -> BoolArray:
    """Find dry patches that never looked like the wetted fabric around them.

    Fabric that stayed dry looks as its surroundings did before they wetted. A hose, a fitting or
    light mirrored in the bag does not.

    Parameters
    ----------
    colour : ndarray of shape (M, N, 3), float
        Logarithm of the panel's colour at the start.
    wetted : ndarray of shape (M, N), bool
    settings : WettingSettings
    """
    small = tuple(-(-side // COARSER) for side in wetted.shape[::-1])
    # Averaged over a tow or so, which leaves the weave out.
    colour = np.asarray(cv2.resize(colour, small, interpolation=cv2.INTER_AREA))
    wet = np.asarray(cv2.resize(wetted.astype(np.float32), small, interpolation=cv2.INTER_AREA))
    if not (wet > 0.9).any():
        return np.zeros(wetted.shape, bool)
    weight = _usual_fabric(colour, wet > 0.9).astype(np.float32)
    if not weight.any():
        return np.zeros(wetted.shape, bool)
    window = (settings.scale.odd_px(settings.around_mm / COARSER),) * 2
    share = np.asarray(cv2.blur(weight, window))
    held, over = colour * weight[..., None], np.maximum(share, 1e-3)[..., None]
    mean = np.asarray(cv2.blur(held, window)) / over
    square = np.asarray(cv2.blur(held * colour, window)) / over
    spread = np.sqrt(np.maximum(square - mean**2, 0.0)) + settings.least_spread
    off = np.abs(colour - mean) > settings.unlike * spread
    unlike = off.any(axis=2) & (wet < 0.5) & (share > settings.least_around)
    return at_size(unlike, wetted.shape) & ~wetted


def _usual_fabric(colour: FloatArray, wetted: BoolArray) -> BoolArray:
    """Find the wetted places that look as most of them do: no glare, which is like anything."""
    centre = np.median(colour[wetted], axis=0)
    away = np.abs(colour - centre).max(axis=2)
    return np.asarray(wetted & (away < 3 * 1.4826 * np.median(away[wetted]) + 1e-3))


def find_hidden_patches(
    levels: list[FloatArray],
    wet_frame: IntArray,
    pixels: PixelScale,
    off_colour: BoolArray,
    settings: WettingSettings,
) -> list[BoolArray]:
    """Find, frame by frame, where something stood before the panel.

    A patch that looks wet long before its pixels wetted, or dry long after, or like neither, is
    hidden by something that comes and goes. Small patches do not count (texture, ink), nor does
    what looks wrong for a third of the run (the guess at the change was wrong there).

    Parameters
    ----------
    levels : list of K ndarrays of shape (M, N), float
        Each frame's projected level, light removed.
    wet_frame : ndarray of shape (M, N), int
        A first guess.
    pixels : PixelScale
    off_colour : ndarray of shape (K, h, w), bool
        Cells of another colour.
    settings : WettingSettings

    Returns
    -------
    hidden : list of K ndarrays, bool
        At a quarter of the canvas resolution.
    """
    shape = pixels.dry.shape
    small = (-(-shape[0] // COARSER), -(-shape[1] // COARSER))
    patches = _contradictions(levels, wet_frame, pixels, settings, small)
    usual = np.mean(patches, axis=0) > settings.hidden_at_most
    wide = np.ones((5, 5), np.uint8)
    join = settings.window(settings.join_mm / COARSER)
    hidden = []
    for patch, cells in zip(patches, off_colour, strict=True):
        marked = ((patch & ~usual) | at_size(cells, small)).astype(np.uint8)
        whole = cv2.morphologyEx(marked, cv2.MORPH_CLOSE, join)
        hidden.append(np.asarray(cv2.dilate(whole, wide) > 0))
    return hidden


def _contradictions(
    levels: list[FloatArray],
    wet_frame: IntArray,
    pixels: PixelScale,
    settings: WettingSettings,
    small: tuple[int, int],
) -> BoolArray:
    """Find the patches that show something else than their pixels are taken to be."""
    low, middle = pixels.bright_bound(settings), settings.onset * pixels.step_ratio
    _, high = pixels.bounds(settings)
    patches = np.empty((len(levels), *small), bool)

    def one(k: int) -> None:
        wetness = levels[k] - pixels.dry
        wet = wetness > middle
        wrong = (wet & (wet_frame > k + 1)) | (~wet & (wet_frame < k - 1))
        wrong |= (wetness < low) | (wetness > high)
        coarse = cv2.resize(wrong.astype(np.uint8) * 255, small[::-1], interpolation=cv2.INTER_AREA)
        np.greater(cv2.blur(coarse, (5, 5)), settings.hidden_share * 255, out=patches[k])

    at_once(one, len(levels))
    return patches
