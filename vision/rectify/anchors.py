"""Small patches of the table (anchors): choosing them, and finding them again in another photo.

Tested in tests/vision/rectify/test_rectifier.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.records import BoolArray, FloatArray

GreyImage = NDArray[np.uint8]

REACH_SHARE = 12 / 1280  # how far to look, as a share of the photo's width
LEAST_REACH_PX = 4
PATCH_SHARE = 10 / 1280  # half a patch, as a share of the photo's width
LEAST_HALF_PX = 5  # a smaller patch looks like many others
_ACROSS, _DOWN = 8, 6
_MOST_ANCHORS = 26
_GOOD_MATCH = 0.75


@dataclass(frozen=True)
class Anchors:
    """Patches to look for.

    Attributes
    ----------
    reference_px : ndarray of shape (K, 2)
        Ideal pixels of the patch centres in the reference photo.
    centre_px : ndarray of shape (K, 2), int
        Recorded pixel around which each is looked for now.
    patches : ndarray of shape (K, P, P), uint8
        As they should look now, in green (half of what makes brightness, and quicker had).
    base_px : ndarray of shape (K, 2)
        Ideal pixels of the centres now.
    slope : ndarray of shape (K, 2, 2)
        Ideal pixels per recorded pixel there.
    reach_px : int
        How far to look.
    """

    reference_px: FloatArray
    centre_px: NDArray[np.int_]
    patches: NDArray[np.uint8]
    base_px: FloatArray
    slope: FloatArray
    reach_px: int

    def ideal_px(self, offset_px: FloatArray) -> FloatArray:
        """Ideal pixels of the first anchors, found so far off; shape as `offset_px`."""
        some = len(offset_px)
        return self.base_px[:some] + np.einsum("kij,kj->ki", self.slope[:some], offset_px)


def reach_px(width_px: int) -> int:
    """Return how far to look for an anchor in a photo of this width."""
    return max(LEAST_REACH_PX, round(REACH_SHARE * width_px))


def half_patch_px(width_px: int) -> int:
    """Return half the side of a patch, without its middle pixel, in a photo of this width."""
    return max(LEAST_HALF_PX, round(PATCH_SHARE * width_px))


def to_grey(image: NDArray[np.uint8]) -> GreyImage:
    """Brightness of a blue, green, red photo."""
    return np.asarray(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), np.uint8)


def choose_places(grey: GreyImage, mask: NDArray[np.uint8]) -> FloatArray:
    """Choose corner-like places spread over the masked part, at most one a cell; shape (K, 2)."""
    half = (grey.shape[1] // 2, grey.shape[0] // 2)
    small = cv2.resize(grey, half, interpolation=cv2.INTER_AREA)
    strength = np.asarray(cv2.cornerMinEigenVal(small, 5))
    strength[cv2.resize(mask, half, interpolation=cv2.INTER_NEAREST) == 0] = 0
    height, width = strength.shape
    room = half_patch_px(grey.shape[1]) + reach_px(grey.shape[1]) + 2
    edge = max(round(2.5 * REACH_SHARE * width), -(-room // 2))
    strength[:edge], strength[-edge:] = 0, 0
    strength[:, :edge], strength[:, -edge:] = 0, 0
    floor = max(0.002 * float(strength.max()), 1e-6)
    places = []
    for rows in np.array_split(np.arange(height), _DOWN):
        for columns in np.array_split(np.arange(width), _ACROSS):
            cell = strength[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
            y, x = np.unravel_index(int(np.argmax(cell)), cell.shape)
            if cell[y, x] > floor:
                places.append((float(cell[y, x]), 2.0 * (columns[0] + x), 2.0 * (rows[0] + y)))
    strongest = sorted(places, reverse=True)[:_MOST_ANCHORS]
    return spread_first(np.array([place[1:] for place in strongest], float).reshape(-1, 2))


def spread_first(points: FloatArray) -> FloatArray:
    """Order points so that any first few are spread wide (farthest next; Gonzalez 1985).

    Examples
    --------
    >>> spread_first(np.array([[0.0, 0.0], [1.0, 0.0], [9.0, 0.0]])).tolist()
    [[0.0, 0.0], [9.0, 0.0], [1.0, 0.0]]
    """
    if len(points) == 0:
        return points
    order = [0]
    gap = np.hypot(*(points - points[0]).T)
    while len(order) < len(points):
        order.append(int(np.argmax(gap)))
        gap = np.minimum(gap, np.hypot(*(points - points[order[-1]]).T))
    return points[order]


def match_anchors(
    image: NDArray[np.uint8], anchors: Anchors, reach_px: int, most: int | None = None
) -> tuple[FloatArray, BoolArray]:
    """Look for each anchor, or the first `most`, up to `reach_px` around its place.

    Returns
    -------
    offset_px : ndarray of shape (K, 2)
        From where it was looked for to where it is, to a fraction of a pixel.
    good : ndarray of shape (K,), bool
        Whether it was found clearly.
    """
    centres = anchors.centre_px[:most].tolist()
    count, half = len(centres), anchors.patches.shape[-1] // 2
    offsets, good = np.zeros((count, 2)), np.zeros(count, bool)
    room = half + reach_px
    for i, (x, y) in enumerate(centres):
        around = image[y - room : y + room + 1, x - room : x + room + 1]
        window = cv2.extractChannel(around, 1)
        score = cv2.matchTemplate(window, anchors.patches[i], cv2.TM_CCOEFF_NORMED)
        _, best, _, (px, py) = cv2.minMaxLoc(score)
        if best < _GOOD_MATCH or not np.isfinite(best):
            continue
        if not (0 < px < score.shape[1] - 1 and 0 < py < score.shape[0] - 1):
            continue
        dx = _peak(score[py, px - 1], score[py, px], score[py, px + 1])
        dy = _peak(score[py - 1, px], score[py, px], score[py + 1, px])
        offsets[i] = px + dx - reach_px, py + dy - reach_px
        good[i] = True
    return offsets, good


def _peak(before: float, at: float, after: float) -> float:
    """Vertex of the parabola through three scores."""
    bend = before - 2 * at + after
    return float(min(max(0.5 * (before - after) / bend, -0.5), 0.5)) if bend < 0 else 0.0
