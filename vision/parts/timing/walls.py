"""What no front follows: holes along a wall, and what seems dry behind the front or in glare."""

from __future__ import annotations

import cv2
import numpy as np
from scipy.ndimage import distance_transform_edt

from vision.records import BoolArray, IntArray

DEEPEST_PX = 12
"""A hole at a wall that reaches farther into the part is filled as any other."""

RIM_PX, RIM_SEEN = 4, 0.5
"""So much around it, and share of that, which must have been seen for a dry spot to count."""

SPECK_PX = 5
"""What seems dry behind the front and is narrower than this is no front."""


def without_late_specks(wet_frame: IntArray, inside: BoolArray) -> tuple[IntArray, BoolArray]:
    """Return wet frames without specks that wet long after all around them, and where those were.

    Parameters
    ----------
    wet_frame : ndarray of shape (M, N), int
        Holes filled.
    inside : ndarray of shape (M, N), bool
        The part.
    """
    near = distance_transform_edt(~inside, return_distances=False, return_indices=True)
    whole = np.asarray(wet_frame[tuple(near)], np.int16)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (SPECK_PX, SPECK_PX))
    opened = cv2.morphologyEx(whole, cv2.MORPH_OPEN, disc)
    late = inside & (wet_frame > opened + 1)
    return np.asarray(np.where(late, opened, wet_frame), np.int16), np.asarray(late)


def fill_along_walls(wet_frame: IntArray, known: BoolArray, inside: BoolArray) -> IntArray:
    """Return wet frames in which shallow holes at a wall follow the nearest cloth that was seen.

    Parameters
    ----------
    wet_frame : ndarray of shape (M, N), int
        Holes filled.
    known : ndarray of shape (M, N), bool
        What was seen and not filled.
    inside : ndarray of shape (M, N), bool
        The part.
    """
    told = known & inside
    if not told.any():
        return wet_frame
    hole = inside & ~known
    at = distance_transform_edt(~told, return_distances=False, return_indices=True)
    far = cv2.distanceTransform((~told).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    beyond = cv2.dilate((~inside).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    count, labels = cv2.connectedComponents(hole.astype(np.uint8))
    deepest = np.zeros(count)
    np.maximum.at(deepest, np.asarray(labels)[hole].astype(int), np.asarray(far)[hole])
    touches = np.zeros(count, bool)
    touches[labels[hole & beyond]] = True
    shallow = hole & (touches & (deepest <= DEEPEST_PX))[labels]
    return np.asarray(np.where(shallow, wet_frame[tuple(at)], wet_frame), np.int16)


def find_islands(stayed_dry: BoolArray, known: BoolArray, cloth: BoolArray) -> BoolArray:
    """Find cloth that seems to have stayed dry in the midst of more that was not seen.

    Glare fades towards its rim: in its midst nothing shows, at its rim what shows is not believed.

    Parameters
    ----------
    stayed_dry, known, cloth : ndarray of shape (M, N), bool
        What seems dry at the end and was seen; what was seen; where there is cloth.
    """
    hidden = int(np.count_nonzero(cloth & ~known))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(stayed_dry.astype(np.uint8))
    islands = np.zeros(cloth.shape, bool)
    window = np.ones((2 * RIM_PX + 1, 2 * RIM_PX + 1), np.uint8)
    for label in range(1, count):
        if stats[label, cv2.CC_STAT_AREA] >= hidden:
            continue
        one = labels == label
        rim = (cv2.dilate(one.astype(np.uint8), window) > 0) & ~one & cloth
        if rim.any() and np.mean(known[rim]) < RIM_SEEN:
            islands |= one
    return islands
