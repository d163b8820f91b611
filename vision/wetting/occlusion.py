"""What is neither dry nor wet fabric, and so has no vote: glare, ink, things in the way, specks."""

from __future__ import annotations

import cv2
import numpy as np

from vision.illumination.light_basis import LOG_TABLE
from vision.records import BoolArray, FloatArray
from vision.wetting.canvas_series import CanvasStack, middle_of
from vision.wetting.glare import bright_bound
from vision.wetting.masks import JOIN, at_size, strange_bounds
from vision.wetting.wetness import ONSET


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
