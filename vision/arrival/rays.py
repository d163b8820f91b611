"""Point feed: the front as radii around the feed and as an ellipse."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.arrival.lanes import lane_fronts_px
from vision.records import BoolArray, FloatArray

DIRECTIONS = 360
RAY_STEP = 0.5
"""Pixels between two looks along a ray."""


@dataclass(frozen=True)
class Rays:
    """Radii around the feed.

    Attributes
    ----------
    radius_px : ndarray of shape (K, 360), float
        Furthest wet place in each direction, a degree apart from +x towards +y.
    limit_px : ndarray of shape (360,), float
        Distance to the panel's edge in each direction.
    """

    radius_px: FloatArray
    limit_px: FloatArray

    @property
    def inside(self) -> BoolArray:
        """Directions in which the front has not met the panel's edge, shape (K, 360)."""
        result: BoolArray = self.radius_px < self.limit_px - 2.0
        return result

    def places_px(self, feed_px: tuple[float, float]) -> tuple[FloatArray, FloatArray]:
        """Return where the front stands, x and y of shape (K, 360), around a feed point."""
        angle = np.deg2rad(np.arange(DIRECTIONS) * 360.0 / DIRECTIONS)
        x, y = feed_px
        return x + self.radius_px * np.cos(angle), y + self.radius_px * np.sin(angle)


def read_rays(arrival_s: FloatArray, times_s: FloatArray, feed_px: tuple[float, float]) -> Rays:
    """Read the front's radius in every direction at each time.

    Parameters
    ----------
    arrival_s : ndarray of shape (M, N), float
        Infinity where dry.
    times_s : ndarray of shape (K,), float
    feed_px : (float, float)
        Feed point (x, y) in pixels, the first pixel's centre at 0.5.
    """
    rows, cols = arrival_s.shape
    angle = np.deg2rad(np.arange(DIRECTIONS) * 360.0 / DIRECTIONS)
    cos, sin = np.cos(angle), np.sin(angle)
    x, y = feed_px
    with np.errstate(divide="ignore"):
        limit_x = np.where(cos > 0, (cols - x) / cos, np.where(cos < 0, -x / cos, np.inf))
        limit_y = np.where(sin > 0, (rows - y) / sin, np.where(sin < 0, -y / sin, np.inf))
    limit = np.minimum(np.abs(limit_x), np.abs(limit_y))
    steps = (np.arange(int(np.ceil(limit.max() / RAY_STEP))) + 0.5) * RAY_STEP
    map_x = (x + np.outer(cos, steps) - 0.5).astype(np.float32)
    map_y = (y + np.outer(sin, steps) - 0.5).astype(np.float32)
    far = float(np.nanmax(np.where(np.isfinite(arrival_s), arrival_s, np.nan), initial=0.0))
    beyond = far + 1e6
    finite = np.where(np.isfinite(arrival_s), arrival_s, beyond).astype(np.float32)
    along = cv2.remap(finite, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    beyond_end = (along > far + 1.0) | (steps[None, :] > limit[:, None])
    along_s = np.asarray(np.where(beyond_end, np.inf, along), finite.dtype)
    radius = lane_fronts_px(along_s, times_s) * RAY_STEP
    return Rays(np.minimum(radius, limit), limit)


def centred_ellipse(
    radius: FloatArray, inside: BoolArray, rounds: int = 3
) -> tuple[float, float, float]:
    """Fit an ellipse centred on the feed to radii.

    Parameters
    ----------
    radius : ndarray of shape (360,), float
    inside : ndarray of shape (360,), bool
        Directions to use.

    Returns
    -------
    semi_major, semi_minor : float
        In the units of `radius`; NaN when too few directions are left.
    angle_deg : float
        Of the major axis from +x towards +y, from -90 to 90.

    Notes
    -----
    Source: least squares on the centred conic A x^2 + 2 B x y + C y^2 = 1 (linear in A, B, C),
    each direction weighted so that errors count as radii; robust by Tukey's biweight.
    """
    use = inside & (radius > 0)
    if np.count_nonzero(use) < 60:
        return float("nan"), float("nan"), float("nan")
    angle = np.deg2rad(np.arange(len(radius)) * 360.0 / len(radius))[use]
    r = radius[use]
    cos, sin = np.cos(angle), np.sin(angle)
    design = np.stack([cos**2, 2 * cos * sin, sin**2], axis=1) * (r**2)[:, None]
    weight = r / 2.0
    base = weight.copy()
    solution = np.zeros(3)
    for _ in range(rounds):
        solution, *_ = np.linalg.lstsq(design * weight[:, None], weight, rcond=None)
        residual = (design @ solution - 1) * base
        scale = max(1.4826 * float(np.median(np.abs(residual))), 1e-6)
        weight = base * (1 - np.minimum(np.abs(residual) / (4.685 * scale), 1.0) ** 2)
    values, vectors = np.linalg.eigh(np.array([[solution[0], solution[1]], solution[1:]]))
    if values[0] <= 0:
        return float("nan"), float("nan"), float("nan")
    major, minor = 1 / np.sqrt(values[0]), 1 / np.sqrt(values[1])
    degrees = float(np.rad2deg(np.arctan2(vectors[1, 0], vectors[0, 0])))
    return float(major), float(minor), (degrees + 90) % 180 - 90


def find_feed_point(arrival_s: FloatArray, seen: BoolArray) -> tuple[float, float]:
    """Find the feed point in pixels as the centre of the spreading wet patch.

    Parameters
    ----------
    arrival_s : ndarray of shape (M, N), float
    seen : ndarray of shape (M, N), bool

    Returns
    -------
    feed_px : (float, float)
        (x, y); the first pixel's centre at 0.5.

    Notes
    -----
    The centre of the patch wet at each of several early times, carried back to the start by a
    straight line in the wet area: an uneven stack shifts the patch as it grows.
    """
    wet = np.isfinite(arrival_s)
    times = np.sort(arrival_s[wet])
    area = arrival_s.size
    y, x = np.indices(arrival_s.shape) + 0.5
    centres, sizes = [], []
    for share in np.linspace(0.01, 0.15, 8):
        count = int(share * area)
        if count >= len(times):
            break
        patch = arrival_s <= times[count]
        centres.append((float(x[patch].mean()), float(y[patch].mean())))
        sizes.append(share)
    if len(sizes) < 2:
        return float(x[wet].mean()), float(y[wet].mean())
    line = np.polynomial.polynomial.polyfit(sizes, np.array(centres), 1)
    return float(line[0, 0]), float(line[0, 1])
