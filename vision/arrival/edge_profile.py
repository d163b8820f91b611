"""Where in the change from dry to wet the front stands.

The wet look goes on deepening behind the front, so the half-way contour lags. Seen across the
front, averaged along it, the wetness rises in a step blurred by the lens and the weave, and then
in a slow ramp. The front is where that step, or that ramp, begins.
"""

from __future__ import annotations

import cv2
import numpy as np
from scipy.optimize import leastsq
from scipy.special import ndtr

from vision.arrival.frame_strips import around, signed_distance
from vision.records import BoolArray, FloatArray
from vision.wetting.change_point import WetLook

REACH_PX = 14
"""How far to either side of the contour the profile is taken."""

NOISE = 0.02
"""Scatter of a profile's means about a smooth edge."""

CROSS = np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]], np.uint8)

GROUPS = 4
"""Stretches of the run with a profile of their own."""

SMOOTH_PX = 3.0
"""Smoothing of the contour from which the profile is taken."""

FRAMES_LOOKED_AT = 16
"""Most frames the profiles are made from, evenly over those in which the front moved."""


def profiles(
    look: WetLook, change: np.ndarray, known: BoolArray
) -> tuple[np.ndarray, FloatArray, FloatArray]:
    """Average the wetness against the distance from the contour, frame by frame.

    Parameters
    ----------
    look : WetLook
    change : ndarray of shape (M, N), int
        First wet frame, holes filled.
    known : ndarray of shape (M, N), bool
        What was not filled.

    Returns
    -------
    frames : ndarray of shape (F,), int
    wetness : ndarray of shape (F, 2 REACH_PX), float
        Mean wetness per pixel of distance, from -REACH_PX + 0.5 (wet) up; NaN where unseen.
    weight : ndarray of shape (F, 2 REACH_PX), float
        Pixels behind each mean.
    """
    count = len(look.levels)
    moved = np.flatnonzero(np.bincount(change.ravel(), minlength=count + 1)[:count] > 30)
    step = max(1, -(-len(moved) // FRAMES_LOOKED_AT))
    frames = moved[::step]
    clear = known & (look.share > 0.3)
    clear &= cv2.erode(known.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    wetness = np.full((len(frames), 2 * REACH_PX), np.nan)
    weight = np.zeros((len(frames), 2 * REACH_PX))
    inverse = 1.0 / np.maximum(look.share, 0.3)
    for row, k in enumerate(frames):
        # The contour itself follows the noise of single pixels, which would sharpen the profile
        # seen from it: look from a smoothed one.
        wet = np.where(change <= k, np.uint8(255), np.uint8(0))
        smooth = cv2.GaussianBlur(wet, (0, 0), SMOOTH_PX) > 127
        box = around(smooth != cv2.erode(smooth.astype(np.uint8), CROSS).astype(bool), REACH_PX + 2)
        if box is None:
            continue
        distance = signed_distance(smooth[box])
        near = clear[box] & (np.abs(distance) < REACH_PX)
        near &= (change[box] <= k + 40) & (change[box] >= k - 40)
        level = (look.levels[k][box] - look.dry[box])[near] * inverse[box][near]
        place = np.floor(distance[near]).astype(int) + REACH_PX
        sane = np.abs(level - 0.5) < 1.5
        weight[row] = np.bincount(place[sane], minlength=2 * REACH_PX)
        total = np.bincount(place[sane], level[sane], minlength=2 * REACH_PX)
        wetness[row] = total / np.where(weight[row] > 0, weight[row], np.nan)
    return frames, wetness, weight


def place_edge(wetness: FloatArray, weight: FloatArray) -> tuple[float, float]:
    """Fit one profile and give where the front stands in it.

    Parameters
    ----------
    wetness : ndarray of shape (2 REACH_PX,), float
    weight : ndarray of shape (2 REACH_PX,), float

    Returns
    -------
    offset_px : float
        Front ahead of the contour (positive towards the dry side).
    width_px : float
        Standard deviation of the blur of the step.

    Notes
    -----
    The model is a step and an exponential deepening that begin together at the front m, both
    blurred by a normal of width w: b Phi + c (Phi - G), with Phi the normal distribution and G
    the exponentially modified one. Source: edge spread function of a blurred edge, as in ISO
    12233 (from memory), with the deepening added; exponentially modified normal distribution,
    Grushka, Anal. Chem. 44, 1972 (from memory).
    """
    d = np.arange(-REACH_PX, REACH_PX) + 0.5
    ok = np.isfinite(wetness) & (weight > 0)
    if np.count_nonzero(ok) < 10:
        return 0.0, 1.2
    d, value = d[ok], wetness[ok]
    sure = np.sqrt(weight[ok] / weight[ok].max())

    def residual(p: FloatArray) -> FloatArray:
        front, base = p[0], p[2]
        width, step, deep, length = np.exp(p[[1, 3, 4, 5]])
        z = (front - d) / width
        late = np.exp(np.minimum(width**2 / (2 * length**2) - (front - d) / length, 50.0))
        late = late * ndtr(z - width / length)
        wanted = base + step * ndtr(z) + deep * (ndtr(z) - late)
        return np.concatenate([(wanted - value) * sure / NOISE, (p - usual) / spread])

    # The usual edge and how far from it one may be, so that an unclear profile stays near it.
    usual = np.array([0.0, np.log(1.2), 0.0, np.log(0.6), np.log(0.3), np.log(4.0)])
    spread = np.array([6.0, 0.5, 0.1, 2.0, 1.5, 0.8])
    start = usual + np.array([0.5, 0, 0, 0, 0, 0])
    found = leastsq(residual, start, maxfev=400, full_output=True)[0]
    if not abs(found[0]) < REACH_PX / 2:
        return 0.0, 1.2
    return float(found[0]), float(np.exp(found[1]))


def edge_offsets(look: WetLook, change: np.ndarray, known: BoolArray) -> tuple[FloatArray, float]:
    """Give each frame's offset of the front from the half-way contour.

    Returns
    -------
    offset_px : ndarray of shape (K,), float
    width_px : float
        Blur of the edge, the median over the run.
    """
    frames, wetness, weight = profiles(look, change, known)
    count = len(look.levels)
    if len(frames) == 0:
        return np.zeros(count), 1.0
    at, offsets, widths = [], [], []
    for part in np.array_split(np.arange(len(frames)), min(GROUPS, len(frames))):
        share = weight[part]
        total = share.sum(axis=0)
        mean = np.nansum(np.nan_to_num(wetness[part]) * share, axis=0)
        mean = mean / np.where(total > 0, total, np.nan)
        offset, width = place_edge(mean, total)
        at.append(float(np.mean(frames[part])))
        offsets.append(offset)
        widths.append(width)
    return np.interp(np.arange(count), at, offsets), float(np.median(widths))
