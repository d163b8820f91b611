"""Follows the camera: finds where each point of the reference photo has gone in another.

Small patches of the table around the panel (anchors) are looked for near where they should be by
normalised correlation, which a lamp or a change of exposure does not disturb and which costs
little. When too few answer, the photo is matched to the reference as a whole by its features.

Source: normalised cross-correlation (Lewis, Vision Interface 1995); corners worth following (Shi
and Tomasi, CVPR 1994); scale-invariant features (Lowe, Int. J. Computer Vision 60, 91, 2004);
random sample consensus (Fischler and Bolles, Comm. ACM 24, 381, 1981).

Tested in tests/vision/rectify/test_rectifier.py.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.common.robust import median_of_few
from vision.records import BoolArray, FloatArray
from vision.rectify.anchors import (
    Anchors,
    GreyImage,
    choose_places,
    half_patch_px,
    match_anchors,
    reach_px,
    to_grey,
)
from vision.rectify.standing import compare, detail
from vision.scale.plane_map import PlaneMap, apply_homography

FEWEST_ANCHORS = 6
ALL_AROUND = 16
"""Corners of all four cards: recognised, they tell a motion by themselves."""
FEWEST_TO_REFIT = 10  # a homography fits any four; the rest must agree by themselves
STILL_PX = 0.2
_STILL_REACH_PX = 4
_QUICK_LOOK = 9
_AGREE_PX = 0.8
_CORNER_PX = 2 * _AGREE_PX  # of a card, in a photo that may be blurred
_SMALL_WIDTH = 960
_REMAKE_PX = 1.5
_PANEL_MARGIN = 0.03


@dataclass(frozen=True)
class Followed:
    """Where the reference photo lies in a new one.

    Attributes
    ----------
    motion : ndarray of shape (3, 3)
        Ideal pixels of the reference photo to ideal pixels of this one.
    shift_px : float
        Median shift of the anchors since the motion known before.
    found : bool
        False when the photo could not be matched; `motion` is then the one known before.
    anchors_seen : int
        Anchors that agree.
    taken_still : bool
        Whether no anchor told the motion, but the picture as a whole shows that none happened.
    """

    motion: FloatArray
    shift_px: float
    found: bool
    anchors_seen: int
    taken_still: bool = False


class Follower:
    """Follows one reference photo through a run, frame by frame.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3), uint8
        The reference photo.
    plane : PlaneMap
        Its map; supplies the lens and the panel's outline.
    recover : callable, optional
        Called with a photo when the anchors are lost; gives pairs of ideal pixels (reference,
        now) of things recognised in it, or None.
    """

    def __init__(
        self,
        image: NDArray[np.uint8],
        plane: PlaneMap,
        recover: Callable[[NDArray[np.uint8]], tuple[FloatArray, FloatArray] | None] | None = None,
    ) -> None:
        self._plane = plane
        self._reference = to_grey(image)
        self._green = np.ascontiguousarray(image[..., 1])
        self._recover = recover
        self._border = border_mask(plane)
        self._places_px = choose_places(self._reference, self._border)
        self.on_panel = len(self._places_px) < 2 * FEWEST_ANCHORS
        if self.on_panel:
            self._places_px = choose_places(self._reference, np.full_like(self._border, 255))
        self._size = 2 * half_patch_px(image.shape[1]) + 1
        self._told = image
        self._sights: list[FloatArray] = []
        self._features: tuple[FloatArray, NDArray[np.float32]] | None = None
        self.restart(plane)

    def restart(self, plane: PlaneMap) -> None:
        """Go back to the reference photo, with a better map of it."""
        self._plane = plane
        self._places = plane.undistort(self._places_px)
        self.motion: FloatArray = np.eye(3)
        self._anchors = self._make_anchors(self.motion)
        self._failed_in_a_row = 0

    def keep_only(self, images: Sequence[NDArray[np.uint8]]) -> None:
        """Drop anchors that most of some later photos do not show (a hand in the reference)."""
        if not images:
            return
        seen = np.zeros(len(self._places))
        for image in images:
            for reach in (_STILL_REACH_PX, self._anchors.reach_px):
                agree = _consensus(*match_anchors(image, self._anchors, reach))
                if agree.sum() * 2 >= len(agree):
                    break
            seen += agree
        keep = seen * 2 >= len(images)
        if keep.sum() >= FEWEST_ANCHORS:
            self._places = self._places[keep]
            self._anchors = self._make_anchors(self.motion)

    def follow(self, image: NDArray[np.uint8]) -> Followed:
        """Find this photo's motion from the reference, near the last one first."""
        near = self._near(image)
        if near is None and self._stands(image):
            near = Followed(self.motion, 0.0, True, 0, taken_still=True)
        if near is None and (self._failed_in_a_row < 6 or self._failed_in_a_row % 5 == 0):
            near = self._far(image)
        if near is None:
            self._failed_in_a_row += 1
            return Followed(self.motion, 0.0, False, 0)
        if not near.taken_still:
            self._told, self._sights = image, []
        self._failed_in_a_row = 0
        self.motion = near.motion
        return near

    def _stands(self, image: NDArray[np.uint8]) -> bool:
        """Whether the picture shows by itself that the camera is where it was.

        It is compared with the last one whose motion the anchors told; where that shows too
        little again, with the last one that stood.
        """
        now = detail(image)
        self._sights = self._sights or [detail(self._told)]
        first = compare(self._sights[0], now)
        stands = first.stands
        if not stands and not first.has_moved and len(self._sights) > 1:
            stands = compare(self._sights[1], now).stands
        if stands:
            self._sights = [self._sights[0], now]
        return stands

    def _near(self, image: NDArray[np.uint8]) -> Followed | None:
        """Match the anchors; None if too few agree on one motion."""
        anchors = self._anchors
        if len(anchors.centre_px) < FEWEST_ANCHORS:
            return None
        expected_px = apply_homography(self.motion, anchors.reference_px)
        for few, reach in ((_QUICK_LOOK, _STILL_REACH_PX), (len(expected_px), anchors.reach_px)):
            offsets, good = match_anchors(image, anchors, reach, few)
            now_px = anchors.ideal_px(offsets)
            if self._is_still(expected_px[:few], now_px, good):
                return Followed(self.motion, 0.0, True, int(good.sum()))
        return self._refit(anchors, now_px, expected_px, good)

    def _is_still(self, expected_px: FloatArray, now_px: FloatArray, good: BoolArray) -> bool:
        """Whether the anchors are where the motion known before puts them."""
        miss = now_px - expected_px
        still = good & (np.hypot(*miss.T) < _AGREE_PX)
        needed = max(FEWEST_ANCHORS, int(0.5 * good.sum()))
        if still.sum() < needed or float(np.hypot(*median_of_few(miss[still]))) > STILL_PX:
            return False
        return _trend_px(expected_px[still], miss[still], self._plane.image_size) < 2 * STILL_PX

    def _refit(
        self, anchors: Anchors, now_px: FloatArray, expected_px: FloatArray, good: BoolArray
    ) -> Followed | None:
        needed = max(FEWEST_TO_REFIT, 0.3 * len(good), 0.6 * good.sum())
        if good.sum() < needed:
            return None
        motion, agree = fit_motion(anchors.reference_px[good], now_px[good])
        if motion is None or agree.sum() < needed:
            return None
        if not _well_spread(anchors.reference_px[good][agree], self._plane.image_size):
            return None
        shift = float(median_of_few(np.hypot(*(now_px - expected_px)[good][agree].T)))
        if float(np.hypot(*(now_px - expected_px)[good][agree].T).max()) > _REMAKE_PX:
            self._anchors = self._make_anchors(motion)
        return Followed(motion, shift, True, int(agree.sum()))

    def _far(self, image: NDArray[np.uint8]) -> Followed | None:
        """Match the whole photo to the reference, then sharpen with the anchors."""
        before = self.motion
        surrounding = self._by_things_around(image)
        if surrounding is not None:
            return surrounding
        for guess in (self._recognise, self._match_features):
            motion = guess(image)
            if motion is None or not _plausible(motion, self._plane.image_size):
                continue
            anchors = self._anchors
            self._anchors, self.motion = self._make_anchors(motion), motion
            found = self._near(image)
            if found is not None:
                here = self._plane.outline_px(4)
                old, new = apply_homography(before, here), apply_homography(found.motion, here)
                shift = float(median_of_few(np.hypot(*(new - old).T)))
                return replace(found, shift_px=shift)
            self._anchors, self.motion = anchors, before
        return None

    def _by_things_around(self, image: NDArray[np.uint8]) -> Followed | None:
        """Return the motion by things recognised all around the panel, if they agree on one.

        They lie in the panel's plane. Anchors may be glare or stand up from the table, and where
        those found lie on one side they carry a motion to the other side badly.
        """
        pairs = None if self._recover is None else self._recover(image)
        if pairs is None or len(pairs[0]) < ALL_AROUND:
            return None
        motion, agree = fit_motion(pairs[0], pairs[1], _CORNER_PX)
        if motion is None or not agree.all() or not _plausible(motion, self._plane.image_size):
            return None
        here = self._plane.outline_px(4)
        old, new = apply_homography(self.motion, here), apply_homography(motion, here)
        self._anchors = self._make_anchors(motion)
        shift = float(median_of_few(np.hypot(*(new - old).T)))
        return Followed(motion, shift, True, len(pairs[0]))

    def _recognise(self, image: NDArray[np.uint8]) -> FloatArray | None:
        pairs = None if self._recover is None else self._recover(image)
        if pairs is None or len(pairs[0]) < 4:
            return None
        return fit_motion(pairs[0], pairs[1], 3.0)[0]

    def _match_features(self, image: NDArray[np.uint8]) -> FloatArray | None:
        if self._features is None:
            mask = None if self.on_panel else self._border
            self._features = find_features(self._reference, mask)
        there, here = self._features, find_features(to_grey(image), None)
        if len(there[0]) < 8 or len(here[0]) < 8:
            return None
        first, second = match_features(there[1], here[1])
        if len(first) < 12:
            return None
        old_px = self._plane.undistort(there[0][first])
        new_px = self._plane.undistort(here[0][second])
        motion, agree = fit_motion(old_px, new_px, 3.0)
        return motion if agree.sum() >= 10 else None

    def _make_anchors(self, motion: FloatArray) -> Anchors:
        """Cut the patches out of the reference photo as they should look under a motion."""
        half = self._size // 2
        reach = reach_px(self._plane.image_size[0])
        centre = np.round(self._plane.distort(apply_homography(motion, self._places))).astype(int)
        width, height = self._plane.image_size
        room = half + reach + 1
        inside = (centre >= room).all(axis=1) & (centre < np.array([width, height]) - room).all(1)
        centre = centre[inside]
        back = np.linalg.inv(motion)
        # Exactly at nine places of a patch and by a quadratic in between, which perspective and
        # lens leave by less than a hundredth of a pixel.
        places, weights = _quadratic(self._size)
        dy, dx = np.meshgrid(places, places, indexing="ij")
        nodes = (centre[:, None, None, :] + np.stack([dx, dy], axis=-1)).reshape(-1, 2)
        source = self._plane.distort(apply_homography(back, self._plane.undistort(nodes)))
        at_nodes = source.reshape(len(centre), 3, 3, 2)
        lookup = np.einsum("pi,qj,kijc->kpqc", weights, weights, at_nodes, optimize=True)
        lookup = lookup.reshape(len(centre) * self._size, self._size, 2).astype(np.float32)
        if len(centre):
            patches = cv2.remap(
                self._green,
                lookup[..., 0],
                lookup[..., 1],
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            )
        else:
            patches = np.zeros((0, self._size), np.uint8)
        base, slope = self._plane.undistort_slope(centre.astype(float))
        return Anchors(
            reference_px=apply_homography(back, base),
            centre_px=centre,
            patches=np.asarray(patches, np.uint8).reshape(-1, self._size, self._size),
            base_px=base,
            slope=slope,
            reach_px=reach,
        )


def _quadratic(size: int) -> tuple[FloatArray, FloatArray]:
    """Three places along a patch of odd size, and their weights at each of its pixels.

    Lagrange's interpolation; shapes (3,) and (size, 3).
    """
    half = size // 2
    at = np.arange(-half, half + 1) / half
    weights = np.stack([at * (at - 1) / 2, 1 - at * at, at * (at + 1) / 2], axis=1)
    return np.array([-half, 0.0, half]), weights


def border_mask(plane: PlaneMap) -> NDArray[np.uint8]:
    """Photo mask, 255 on the table around the panel and 0 on the panel; shape (H, W)."""
    width, height = plane.image_size
    mask = np.full((height, width), 255, np.uint8)
    outline = plane.outline_px()
    middle = outline.mean(axis=0)
    grown = middle + (outline - middle) * (1 + _PANEL_MARGIN)
    cv2.fillPoly(mask, [np.round(grown).astype(np.int32)], 0)
    return mask


def _consensus(offsets: FloatArray, good: BoolArray) -> BoolArray:
    if not good.any():
        return good
    return good & (np.hypot(*(offsets - median_of_few(offsets[good])).T) < 1.5)


def _trend_px(points: FloatArray, miss: FloatArray, size: tuple[int, int]) -> float:
    """Largest shift that a turn or zoom hidden in the misses would make at the picture's edge."""
    reach = max(size) / 2
    centred = (points - points.mean(axis=0)) / reach
    normal = centred.T @ centred + 1e-9 * np.eye(2)
    slope = np.linalg.solve(normal, centred.T @ (miss - miss.mean(axis=0)))
    return float(np.abs(slope).max())


def _well_spread(points: FloatArray, size: tuple[int, int]) -> bool:
    """Whether points reach far enough in both directions to carry a motion over the panel."""
    spread = np.ptp(points, axis=0) / np.array(size)
    return bool(spread.min() > 0.25)


def fit_motion(
    old_px: FloatArray, new_px: FloatArray, agree_px: float = _AGREE_PX
) -> tuple[FloatArray | None, BoolArray]:
    """Fit a homography by random sample consensus; returns it and who agrees."""
    if len(old_px) < 4:
        return None, np.zeros(len(old_px), bool)
    matrix, agree = cv2.findHomography(old_px, new_px, cv2.RANSAC, agree_px)
    if matrix is None:
        return None, np.zeros(len(old_px), bool)
    return np.asarray(matrix, float), np.asarray(agree).ravel().astype(bool)


def _plausible(motion: FloatArray, size: tuple[int, int]) -> bool:
    """Whether a motion keeps the picture's shape roughly, as a bumped camera does."""
    width, height = size
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)
    moved = apply_homography(motion, corners)
    before, after = np.roll(corners, -1, 0) - corners, np.roll(moved, -1, 0) - moved
    ratio = np.hypot(*after.T) / np.hypot(*before.T)
    turned = after[:, 0] * np.roll(after, -1, 0)[:, 1] - after[:, 1] * np.roll(after, -1, 0)[:, 0]
    return bool((ratio > 0.4).all() and (ratio < 2.5).all() and (turned > 0).all())


def find_features(
    grey: GreyImage, mask: NDArray[np.uint8] | None
) -> tuple[FloatArray, NDArray[np.float32]]:
    """Find scale-invariant features: places in full-size pixels, shape (K, 2), and descriptors."""
    factor = min(1.0, _SMALL_WIDTH / grey.shape[1])
    size = (round(grey.shape[1] * factor), round(grey.shape[0] * factor))
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    small_mask = None if mask is None else cv2.resize(mask, size, interpolation=cv2.INTER_NEAREST)
    points, descriptors = cv2.SIFT.create(1500).detectAndCompute(small, small_mask)
    if descriptors is None or not len(points):
        return np.zeros((0, 2)), np.zeros((0, 128), np.float32)
    places = np.array([p.pt for p in points], float)
    return (places + 0.5) / factor - 0.5, np.asarray(descriptors, np.float32)


def match_features(
    first: NDArray[np.float32], second: NDArray[np.float32]
) -> tuple[NDArray[np.int_], NDArray[np.int_]]:
    """Pair descriptors that are clearly nearer to each other than to any third (Lowe 2004)."""
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(first, second, k=2)
    clear = [p[0] for p in pairs if len(p) == 2 and p[0].distance < 0.8 * p[1].distance]
    return (
        np.array([m.queryIdx for m in clear], int),
        np.array([m.trainIdx for m in clear], int),
    )
