"""Where in the change from dry to wet the front stands.

The wet look goes on deepening behind the front, so the half-way contour lags. Seen across the
front, averaged along it, the wetness rises in a step blurred by the lens and the weave, and then
in a slow ramp. The front is where that step, or that ramp, begins.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.optimize import leastsq
from scipy.special import ndtr

from vision.arrival.frame_strips import bounding_slices, signed_distance
from vision.records import BoolArray, FloatArray, IntArray
from vision.settings.repair_settings import EdgeSettings
from vision.wetting.change_point import Wetting

CROSS = np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]], np.uint8)

USUAL_WIDTH_PX = 1.2
"""Blur of an edge that cannot be read."""


@dataclass(frozen=True)
class Profiles:
    """Wetness against the distance from the contour, frame by frame.

    Attributes
    ----------
    frames : ndarray of shape (F,), int
    wetness : ndarray of shape (F, D), float
        Mean wetness per pixel of distance, from wet to dry about the middle; NaN where unseen.
    weight : ndarray of shape (F, D), float
        Pixels behind each mean.
    """

    frames: IntArray
    wetness: FloatArray
    weight: FloatArray


def find_profiles(
    wetting: Wetting, wet_frame: IntArray, known: BoolArray, settings: EdgeSettings
) -> Profiles:
    """Average the wetness against the distance from the contour, frame by frame.

    Parameters
    ----------
    wetting : Wetting
    wet_frame : ndarray of shape (M, N), int
        Frame from which each is wet, holes filled.
    known : ndarray of shape (M, N), bool
        What was not filled.
    settings : EdgeSettings
    """
    count, reach = len(wetting.levels), settings.reach_px
    moved = np.flatnonzero(np.bincount(wet_frame.ravel(), minlength=count + 1)[:count] > 30)
    frames = moved[:: max(1, -(-len(moved) // settings.frames_looked_at))]
    pixels = wetting.pixels
    clear = known & (pixels.step_ratio > 0.3)
    clear &= cv2.erode(known.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    wetness = np.full((len(frames), 2 * reach), np.nan)
    weight = np.zeros((len(frames), 2 * reach))
    inverse = 1.0 / np.maximum(pixels.step_ratio, 0.3)
    for row, k in enumerate(frames):
        # The contour itself follows the noise of single pixels, which would sharpen the profile
        # seen from it: look from a smoothed one.
        wet = np.where(wet_frame <= k, np.uint8(255), np.uint8(0))
        smooth = np.asarray(cv2.GaussianBlur(wet, (0, 0), settings.smooth_px) > 127)
        edge = smooth != cv2.erode(smooth.astype(np.uint8), CROSS).astype(bool)
        box = bounding_slices(edge, reach + 2)
        if box is None:
            continue
        distance = signed_distance(smooth[box])
        near = clear[box] & (np.abs(distance) < reach)
        near &= np.abs(wet_frame[box] - k) <= FARTHEST_FRAMES
        level = (wetting.levels[k][box] - pixels.dry[box])[near] * inverse[box][near]
        place = np.floor(distance[near]).astype(int) + reach
        sane = np.abs(level - 0.5) < 1.5
        weight[row] = np.bincount(place[sane], minlength=2 * reach)
        total = np.bincount(place[sane], level[sane], minlength=2 * reach)
        wetness[row] = total / np.where(weight[row] > 0, weight[row], np.nan)
    return Profiles(frames, wetness, weight)


FARTHEST_FRAMES = 40
"""What wetted farther from a frame than this does not belong to its front."""


@dataclass(frozen=True)
class Edge:
    """Where the front stands in the change from dry to wet.

    Attributes
    ----------
    offset_px : ndarray of shape (K,), float
        How far ahead of the half-way contour (positive towards the dry side) at each frame.
    width_px : float
        Standard deviation of the blur of the step, the median over the run.
    gradual_px : float
        Standard uncertainty of the offset where the wet look comes without a clear step, the
        median over the run; 0 where there is one.
    """

    offset_px: FloatArray
    width_px: float
    gradual_px: float

    def sd_px(self, sigma: float) -> float:
        """Return the standard uncertainty of the edge's place, given the scatter of a pixel."""
        return float(np.hypot(np.hypot(0.25 * self.width_px, 0.15 + sigma / 2), self.gradual_px))


CLEAR_STEP, NO_STEP = 0.5, 0.3
"""Part of the whole wet look that comes in a step: from the one on the front is placed by it, and
below the other by the deepening alone, whose beginning does not show."""


def gradual_sd_px(step: float, deepening: float, length_px: float) -> float:
    """Return how uncertain a front is whose wet look comes gradually.

    Parameters
    ----------
    step, deepening : float
        What of the wet look comes at once, and what after.
    length_px : float
        Over which most of the deepening comes.

    Notes
    -----
    The front then lies anywhere within the length of the deepening: its breadth over the root of
    twelve.

    Examples
    --------
    >>> gradual_sd_px(0.6, 0.4, 6.0), round(gradual_sd_px(0.2, 0.8, 6.0), 2)
    (0.0, 1.73)
    """
    part = step / (step + deepening)
    lack = float(np.clip((CLEAR_STEP - part) / (CLEAR_STEP - NO_STEP), 0.0, 1.0))
    return lack * length_px / float(np.sqrt(12))


def place_edge(wetness: FloatArray, weight: FloatArray, noise: float) -> tuple[float, float, float]:
    """Fit one profile and return where the front stands in it.

    Parameters
    ----------
    wetness : ndarray of shape (D,), float
        As in `Profiles`.
    weight : ndarray of shape (D,), float
    noise : float
        Scatter of the means about a smooth edge.

    Returns
    -------
    offset_px : float
        Front ahead of the contour (positive towards the dry side).
    width_px : float
        Standard deviation of the blur of the step.
    gradual_px : float
        As in `Edge`.

    Notes
    -----
    The model is a step and an exponential deepening that begin together at the front m, both
    blurred by a normal of width w: b Phi + c (Phi - G), with Phi the normal distribution and G
    the exponentially modified one. Source: edge spread function of a blurred edge, as in ISO
    12233 (from memory), with the deepening added; exponentially modified normal distribution,
    Grushka, Anal. Chem. 44, 1972 (from memory).
    """
    reach = len(wetness) // 2
    d = np.arange(-reach, reach) + 0.5
    ok = np.isfinite(wetness) & (weight > 0)
    if np.count_nonzero(ok) < 10:
        return 0.0, USUAL_WIDTH_PX, 0.0
    d, value = d[ok], wetness[ok]
    sure = np.sqrt(weight[ok] / weight[ok].max())

    def residual(p: FloatArray) -> FloatArray:
        front, base = p[0], p[2]
        width, step, deep, length = np.exp(p[[1, 3, 4, 5]])
        z = (front - d) / width
        late = np.exp(np.minimum(width**2 / (2 * length**2) - (front - d) / length, 50.0))
        late = late * ndtr(z - width / length)
        wanted = base + step * ndtr(z) + deep * (ndtr(z) - late)
        return np.concatenate([(wanted - value) * sure / noise, (p - usual) / spread])

    # The usual edge and how far from it one may be, so that an unclear profile stays near it.
    usual = np.array([0.0, np.log(USUAL_WIDTH_PX), 0.0, np.log(0.6), np.log(0.3), np.log(4.0)])
    spread = np.array([6.0, 0.5, 0.1, 2.0, 1.5, 0.8])
    start = usual + np.array([0.5, 0, 0, 0, 0, 0])
    found = leastsq(residual, start, maxfev=400, full_output=True)[0]
    if not abs(found[0]) < reach / 2:
        return 0.0, USUAL_WIDTH_PX, 0.0
    width, step, deep, length = (float(value) for value in np.exp(found[[1, 3, 4, 5]]))
    return float(found[0]), width, gradual_sd_px(step, deep, length)


def edge_offsets(
    wetting: Wetting, wet_frame: IntArray, known: BoolArray, settings: EdgeSettings
) -> Edge:
    """Find each frame's offset of the front from the half-way contour.

    Parameters
    ----------
    wetting : Wetting
    wet_frame : ndarray of shape (M, N), int
        Frame from which each is wet, holes filled.
    known : ndarray of shape (M, N), bool
        What was not filled.
    settings : EdgeSettings
    """
    found = find_profiles(wetting, wet_frame, known, settings)
    count, frames = len(wetting.levels), found.frames
    if len(frames) == 0:
        return Edge(np.zeros(count), 1.0, 0.0)
    at, fits = [], []
    for part in np.array_split(np.arange(len(frames)), min(settings.groups, len(frames))):
        weight = found.weight[part]
        total = weight.sum(axis=0)
        mean = np.nansum(np.nan_to_num(found.wetness[part]) * weight, axis=0)
        mean = mean / np.where(total > 0, total, np.nan)
        at.append(float(np.mean(frames[part])))
        fits.append(place_edge(mean, total, settings.noise))
    offsets, widths, gradual = zip(*fits, strict=True)
    offset_px = np.interp(np.arange(count), at, offsets)
    return Edge(offset_px, float(np.median(widths)), float(np.median(gradual)))
