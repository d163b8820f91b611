"""How far a surface above the plane of the scale shifts what is seen of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.errors import WetlineError
from vision.part_records import PartShape
from vision.parts.part_settings import box_map
from vision.records import FloatArray
from vision.scale.plane_map import PlaneMap, apply_homography, apply_w

USUAL_FOCAL = 0.6
"""Focal length of a phone in diagonals of the picture (26 mm as for 35 mm film), where neither
the photo nor perspective tells it. Common practice, no source."""

FOCALS = np.geomspace(0.5, 3.0, 60)
FOCAL_SD, USUAL_SD = 0.05, 0.25
"""Uncertainty of a focal length told by the photo, and of the usual one, as shares."""

MOST_SHIFT_MM, MOST_SHIFT_SHARE = 5.0, 0.01
"""Shift left in doubt past which a part is refused: the larger of so many millimetres and so much
of the part. Common practice, no source."""

FULL_DIAGONAL_MM = 43.27
SKEW_SD = 0.005


@dataclass(frozen=True)
class Height:
    """What the height of a part's surface does.

    Attributes
    ----------
    homography : ndarray of shape (3, 3), float
        From canvas mm on the surface to ideal pixels.
    shift_mm : float
        Greatest shift over the part that the stated height makes, and that is taken out.
    sd_mm : float
        What is left in doubt, root mean square over the part.
    notes : tuple of str
    """

    homography: FloatArray
    shift_mm: float = 0.0
    sd_mm: float = 0.0
    notes: tuple[str, ...] = ()


def allow_height(
    plane: PlaneMap, shape: PartShape, file: str, focal_35mm: float | None = None
) -> Height:
    """Return the map to the raised surface, and what its height leaves in doubt.

    Parameters
    ----------
    plane : PlaneMap
        Of the plane of the scale.
    shape : PartShape
    file : str
        For messages.
    focal_35mm : float or None
        Focal length as for 35 mm film, where it is known.

    Raises
    ------
    WetlineError
        If what is left in doubt is past the bound.

    Notes
    -----
    A plane's homography is K [r1 r2 t]; a point h above the plane moves by h K r3, with r3 the
    cross product of the other two (Zhang, IEEE Trans. Pattern Anal. 22, 2000).
    """
    height, varies = shape.height_mm, shape.height_sd_mm
    if not height and not varies:
        return Height(plane.homography)
    focal, focal_sd = find_focal(plane, focal_35mm)
    up = up_column(plane, focal)
    outline = np.vstack([shape.outline_mm, shape.outline_mm.mean(axis=0)])
    on = apply_homography(box_map(shape), outline)
    whole = shifts_mm(plane, up, on, height)
    per_mm = shifts_mm(plane, up, on, height + 1.0) - whole
    doubt = np.hypot(*(per_mm * varies).T)
    by_focal = np.hypot(*whole.T) * focal_sd
    shift = float(np.hypot(*whole.T).max())
    left = float(np.hypot(doubt, by_focal).max())
    bound = max(MOST_SHIFT_MM, MOST_SHIFT_SHARE * float(np.ptp(shape.outline_mm, axis=0).max()))
    if left > bound:
        raise WetlineError(
            f"{file}: [surface] height_mm = {height:g}, height_varies_mm = {varies:g}: seen from "
            f"this camera that leaves places up to {left:.0f} mm in doubt, past {bound:.0f} mm: "
            "lay the cards at the height of the part, or take the camera farther away and straight "
            "above it; curved shells cannot be followed"
        )
    note = (
        f"the surface stands {height:g} mm above the plane of the scale, which shifts what is seen "
        f"by up to {shift:.1f} mm; that is taken out, and up to {left:.1f} mm stay in doubt"
    )
    sd = float(np.sqrt(np.mean(doubt**2 + by_focal**2)))
    return Height(plane.homography + _third(up * height), shift, sd, (note,))


def _third(column: FloatArray) -> FloatArray:
    return np.stack([np.zeros(3), np.zeros(3), column], axis=1)


def shifts_mm(plane: PlaneMap, up: FloatArray, on_mm: FloatArray, height_mm: float) -> FloatArray:
    """Return how far points so high above the plane seem to lie from where they are; (N, 2)."""
    px = apply_homography(plane.homography + _third(up * height_mm), on_mm)
    return apply_homography(np.linalg.inv(plane.homography), px) - on_mm


def up_column(plane: PlaneMap, focal_px: float) -> FloatArray:
    """Return what a millimetre of height adds to the homography's last column."""
    camera = camera_matrix(plane.image_size, focal_px)
    turned = np.linalg.inv(camera) @ plane.homography
    a, b = turned[:, 0], turned[:, 1]
    size = float(np.sqrt(np.linalg.norm(a) * np.linalg.norm(b)))
    out = np.cross(a, b)
    out = -out / np.linalg.norm(out) * size
    # Towards the camera: what is nearer has the smaller divisor.
    toward = float(np.sign(apply_w(plane.homography, np.array([[0.0, 0.0]]))[0]))
    return np.asarray(camera @ out * (toward or 1.0), float)


def camera_matrix(size: tuple[int, int], focal_px: float) -> FloatArray:
    """Return the matrix of a camera centred on its picture."""
    width, height = size
    return np.array([[focal_px, 0, (width - 1) / 2], [0, focal_px, (height - 1) / 2], [0, 0, 1.0]])


def find_focal(plane: PlaneMap, focal_35mm: float | None) -> tuple[float, float]:
    """Return the focal length in pixels and its uncertainty as a share.

    Told by the photo; else by the perspective of the plane where it is tilted enough; else as
    phones usually have it.
    """
    diagonal = float(np.hypot(*plane.image_size))
    if focal_35mm is not None:
        return focal_35mm / FULL_DIAGONAL_MM * diagonal, FOCAL_SD
    skews = []
    for focal in FOCALS * diagonal:
        turned = np.linalg.inv(camera_matrix(plane.image_size, focal)) @ plane.homography
        a, b = turned[:, 0], turned[:, 1]
        long, wide = np.linalg.norm(a), np.linalg.norm(b)
        skews.append(np.hypot(np.log(long / wide), (a @ b) / (long * wide)) / SKEW_SD)
    logs = -0.5 * np.square(skews) - 0.5 * (np.log(FOCALS / USUAL_FOCAL) / USUAL_SD) ** 2
    weight = np.exp(logs - logs.max())
    weight = weight / weight.sum()
    mean = float(weight @ np.log(FOCALS))
    sd = float(np.sqrt(weight @ (np.log(FOCALS) - mean) ** 2))
    return float(np.exp(mean)) * diagonal, max(sd, 0.02)
