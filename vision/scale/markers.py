"""Finds the printed markers in a photo, their corners to a few hundredths of a pixel.

Tested in tests/vision/scale/test_find_scale.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.common.robust import median_of_few
from vision.records import FloatArray

MARKER_IDS = (0, 1, 2, 3)
_SAMPLES = 24
_TRIM = 0.12


@dataclass(frozen=True)
class SeenMarker:
    """One marker in one photo.

    Attributes
    ----------
    id : int
        0 to 3.
    corners_px : ndarray of shape (4, 2), float
        Clockwise as printed, from the marker's own first corner.
    """

    id: int
    corners_px: FloatArray

    @property
    def centre_px(self) -> FloatArray:
        """Where the diagonals cross, which is the image of the marker's centre."""
        a, b, c, d = self.corners_px
        return _meet(_line_through(a, c), _line_through(b, d))


def detector() -> cv2.aruco.ArucoDetector:
    """Return the detector for the printed dictionary.

    Notes
    -----
    Source: Garrido-Jurado et al., Pattern Recognition 47, 2280 (2014); dictionary DICT_4X4_50
    as OpenCV defines it.
    """
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    settings.cornerRefinementWinSize = 3
    settings.minMarkerPerimeterRate = 0.02
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    return cv2.aruco.ArucoDetector(dictionary, settings)


def find_markers(image: NDArray[np.uint8]) -> tuple[SeenMarker, ...]:
    """Find markers 0 to 3, at most one of each id (the largest).

    Parameters
    ----------
    image : ndarray of shape (H, W, 3) or (H, W), uint8
        The photo.
    """
    if not image.size:
        return ()
    grey = image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
    quads, ids, _ = detector().detectMarkers(grey)
    best: dict[int, FloatArray] = {}
    for quad, marker in zip(quads, [] if ids is None else ids.ravel(), strict=True):
        corners = np.asarray(quad, float).reshape(4, 2)
        key = int(marker)
        if key in MARKER_IDS and (key not in best or _area(corners) > _area(best[key])):
            best[key] = corners
    return tuple(SeenMarker(key, _refined(np.asarray(grey), best[key])) for key in sorted(best))


def find_again(image: NDArray[np.uint8], expected: Sequence[SeenMarker]) -> tuple[SeenMarker, ...]:
    """Find markers near where they are expected: quicker than looking all over the photo.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3), uint8
        The photo.
    expected : sequence of SeenMarker
        To within half a marker.
    """
    found = []
    for marker in expected:
        low, high = marker.corners_px.min(axis=0), marker.corners_px.max(axis=0)
        room = (high - low).max()
        left, top = np.maximum(np.floor(low - room).astype(int), 0)
        right, bottom = np.maximum(np.ceil(high + room).astype(int), 0)
        for seen in find_markers(np.ascontiguousarray(image[top:bottom, left:right])):
            if seen.id == marker.id:
                found.append(SeenMarker(seen.id, seen.corners_px + np.array([left, top])))
    return tuple(found)


def _refined(grey: NDArray[np.uint8], corners: FloatArray) -> FloatArray:
    """Refine within the part of the photo around the marker."""
    rim = 12
    low = np.maximum(np.floor(corners.min(axis=0)).astype(int) - rim, 0)
    high = np.ceil(corners.max(axis=0)).astype(int) + rim
    part = linear_light(grey[low[1] : high[1], low[0] : high[0]])
    return refine_corners(part, corners - low) + low


def linear_light(grey: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Undo the brightness coding, so that a blurred edge is half-way at its true place.

    Source: IEC 61966-2-1 (sRGB), with its power law taken as 2.2 throughout.
    """
    table = ((np.arange(256) / 255.0) ** 2.2).astype(np.float32)
    return table[grey]


def refine_corners(linear: NDArray[np.float32], corners_px: FloatArray) -> FloatArray:
    """Fit a line to each edge of a black square on white and let the lines meet.

    Parameters
    ----------
    linear : ndarray of shape (H, W), float32
        Photo in linear light.
    corners_px : ndarray of shape (4, 2), float
        Corners to within two or three pixels.

    Returns
    -------
    corners_px : ndarray of shape (4, 2), float
        Refined; a corner that would move by more than 3 pixels is left where it was.
    """
    lines = [
        _edge_line(linear, corners_px[i], corners_px[(i + 1) % 4], corners_px.mean(axis=0))
        for i in range(4)
    ]
    refined = np.array(corners_px, dtype=float)
    for i in range(4):
        before, after = lines[i - 1], lines[i]
        if before is None or after is None:
            continue
        meet = _meet(before, after)
        if np.hypot(*(meet - corners_px[i])) < 3.0:
            refined[i] = meet
    return refined


def _edge_line(
    linear: NDArray[np.float32], start: FloatArray, end: FloatArray, middle: FloatArray
) -> FloatArray | None:
    """Line (a, b, c) with a x + b y + c = 0 along a dark-to-light edge, or None."""
    along = end - start
    length = float(np.hypot(*along))
    along = along / max(length, 1e-9)
    outward = np.array([along[1], -along[0]])
    if outward @ (start - middle) < 0:
        outward = -outward
    reach = float(np.clip(0.08 * length, 2.5, 6.0))
    steps = np.arange(-reach, reach + 1e-9, 0.5)
    places = start + np.linspace(_TRIM, 1 - _TRIM, _SAMPLES)[:, None] * length * along
    grid = places[:, None, :] + steps[None, :, None] * outward
    profile = cv2.remap(
        linear, grid[..., 0].astype(np.float32), grid[..., 1].astype(np.float32), cv2.INTER_LINEAR
    )
    offset = _half_way(np.asarray(profile, float), steps)
    good = np.isfinite(offset)
    if good.sum() < 8:
        return None
    return _robust_line(places[good] + offset[good, None] * outward)


def _half_way(profile: FloatArray, steps: FloatArray) -> FloatArray:
    """Where each dark-to-light profile passes half of its rise; NaN where it has none."""
    dark, light = profile[:, :3].mean(axis=1), profile[:, -3:].mean(axis=1)
    half = (dark + light)[:, None] / 2
    above = profile > half
    first = np.argmax(above, axis=1)
    rows = np.arange(len(profile))
    ok = (light - dark > 0.02) & above.any(axis=1) & (first > 0)
    low, high = profile[rows, first - 1], profile[rows, first]
    share = (half[:, 0] - low) / np.where(high > low, high - low, 1.0)
    found = steps[first - 1] + share * (steps[1] - steps[0])
    return np.where(ok, found, np.nan)


def _robust_line(points: FloatArray) -> FloatArray:
    weights = np.ones(len(points))
    line = np.zeros(3)
    for _ in range(4):
        centre = weights @ points / weights.sum()
        x, y = (points - centre).T
        along = 0.5 * np.arctan2(2 * (weights @ (x * y)), weights @ (x * x) - weights @ (y * y))
        normal = np.array([-np.sin(along), np.cos(along)])
        miss = (points - centre) @ normal
        spread = max(1.4826 * float(median_of_few(np.abs(miss))), 0.02)
        weights = 1 / (1 + (miss / (2 * spread)) ** 2)
        line = np.array([normal[0], normal[1], -float(normal @ centre)])
    return line


def _line_through(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.array([a[1] - b[1], b[0] - a[0], a[0] * b[1] - a[1] * b[0]])


def _meet(a: FloatArray, b: FloatArray) -> FloatArray:
    w = a[0] * b[1] - a[1] * b[0]
    w = w if abs(w) > 1e-12 else 1e-12
    return np.array([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2]]) / w


def _area(corners: FloatArray) -> float:
    x, y = corners.T
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2
