"""The scale of a part from points of its outline that were tapped in a photo."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from vision.errors import WetlineError
from vision.parts.framing.side_ratio import find_side_ratio
from vision.records import FloatArray, IntArray
from vision.scale.plane_map import (
    PlaneMap,
    apply_homography,
    apply_w,
    homography_from,
    require_in_picture,
)
from vision.scale.tape import click_sd_px
from vision.settings.panel_settings import PanelSetup

MOST_OFF = 0.02
"""Share of the part's size by which tapped points may stand from where the plan has them, as a
root mean square; a finger is surer than that. Common practice, no source."""

MOST_SKEW = 0.12
"""How far length over width, and the right angle, may be from what any usual lens shows."""

FOCALS = np.geomspace(0.5, 1.7, 25)
"""Focal lengths that are tried, in diagonals of the picture: phones lie at 0.6 to 1.6."""

FULL_DIAGONAL_MM = 43.27


def fit_outline(
    setup: PanelSetup, size: tuple[int, int], focal_35mm: float | None, said: str = ""
) -> PlaneMap:
    """Fit the map from part to photo to four or more tapped points.

    Parameters
    ----------
    setup : PanelSetup
        Its scale's `points_mm` in canvas coordinates, x right and y down as the part is seen.
    size : (int, int)
        Width and height of the photo.
    focal_35mm : float or None
        Focal length as for 35 mm film, if the photo tells it.
    said : str
        How a fault names points that were just told, such as ``"--points"``; the fields of the
        part's file where left out.

    Raises
    ------
    WetlineError
        If the points do not fit: in another order, mirrored, of another part or size.

    Notes
    -----
    Four points always fit; that columns of the homography, the lens taken off, are of one length
    and at right angles (Zhang, IEEE Trans. Pattern Anal. 22, 2000) tells them from another part.
    """
    mm, px = np.array(setup.scale.points_mm, float), np.array(setup.scale.points_px, float)
    beyond = (px < 0).any(axis=1) | (px > np.array(size) - 1).any(axis=1)
    if beyond.any():
        number = int(np.argmax(beyond)) + 1
        head, where = said or f"{setup.shown_file}: [scale] points_px", ""
        if not said:
            where = ", in the photo named by photo ="
        raise WetlineError(
            f"{head}: point {number} lies outside the picture of {size[0]} x {size[1]} px: tap "
            f"points that show{where}"
        )
    told = setup.scale.focal_35mm or focal_35mm
    focals = FOCALS if told is None else np.array([told / FULL_DIAGONAL_MM])
    fit, off, skew = misfit(mm, px, size, focals)
    if off > MOST_OFF or skew > MOST_SKEW:
        head, fields = f"{setup.shown_file}: [scale] points_px and points_mm", True
        if said:
            head, fields = f"{said}: the points and the plan", False
        why = _mismatch((mm, px), (size, focals), (off, skew), fields)
        raise WetlineError(f"{head} do not match{why}")
    plane = PlaneMap(
        homography=fit,
        camera=None,
        distortion=None,
        image_size=size,
        length_mm=float(setup.length_mm or 0.0),
        width_mm=float(setup.width_mm or 0.0),
        method="outline",
        error_mm=0.0,
        relative_sd=0.0,
        assumption="the lens is taken as free of distortion",
    )
    return _questioned(_with_error(plane, mm, px, off), setup, told)


def _questioned(plane: PlaneMap, setup: PanelSetup, told: float | None) -> PlaneMap:
    """Ask where length over width is not, or not surely, the lens's; widen by what is off."""
    mm, px = np.array(setup.scale.points_mm, float), np.array(setup.scale.points_px, float)
    ratio = find_side_ratio(mm, px, plane.image_size, told)
    if "points_px" in setup.scale.confirmed or not (ratio.contradicts or ratio.untold):
        return plane
    stated = plane.length_mm / plane.width_mm
    low, high = (stated * np.exp(ratio.off + k * ratio.sd) for k in (-1.96, 1.96))
    mend = 'if the plan is true, write confirmed = ["points_px"] under [scale]'
    if ratio.contradicts:
        question = (
            f"by the photo the outline is {low:.2f} to {high:.2f} times as long (x) as wide (y), "
            f"by the plan {stated:.2f} times: measure the part, and tap on a whole photo; {mend}"
        )
    else:
        question = (
            f"the tapped points fit any outline {low:.2f} to {high:.2f} times as long (x) as wide "
            f"(y), so the plan's {stated:.2f} rests on your word: measure length and width, or use "
            f"photos that keep the phone's own details, which tell the focal length; {mend}"
        )
    doubt = abs(ratio.off) / 2 if ratio.contradicts else 0.0
    by_ratio = doubt * float(np.hypot(plane.length_mm, plane.width_mm)) / 2 / np.sqrt(3)
    return replace(
        plane,
        error_mm=float(np.hypot(plane.error_mm, by_ratio)),
        relative_sd=float(np.hypot(plane.relative_sd, doubt)),
        question=question,
    )


def misfit(
    mm: FloatArray, px: FloatArray, size: tuple[int, int], focals: FloatArray = FOCALS
) -> tuple[FloatArray, float, float]:
    """Return a homography, how far the points are off and how skew it is; infinite if impossible.

    Parameters
    ----------
    mm, px : ndarray of shape (N, 2), float
    size : (int, int)
    focals : ndarray, float
        Focal lengths in diagonals of the picture, of which the likeliest is taken.
    """
    matrix = np.asarray(homography_from(mm, px), float)
    if matrix.shape != (3, 3) or not np.isfinite(matrix).all() or abs(matrix[2, 2]) < 1e-12:
        return np.eye(3), np.inf, np.inf
    matrix = matrix / matrix[2, 2]
    if (apply_w(matrix, mm) <= 0).any() or np.linalg.det(matrix) <= 0:
        return matrix, np.inf, np.inf
    away = apply_homography(np.linalg.inv(matrix), px) - mm
    off = float(np.sqrt(np.mean(np.sum(away**2, axis=1))) / np.hypot(*np.ptp(mm, axis=0)))
    centre = (np.array(size) - 1) / 2
    skews: list[float] = []
    for focal in focals * np.hypot(*size):
        camera = np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1.0]])
        a, b = (np.linalg.inv(camera) @ matrix)[:, :2].T
        long, wide = float(np.linalg.norm(a)), float(np.linalg.norm(b))
        skews.append(max(abs(float(np.log(long / wide))), abs(float(a @ b)) / (long * wide)))
    return matrix, off, min(skews)


def _mismatch(
    points: tuple[FloatArray, FloatArray],
    seen_by: tuple[tuple[int, int], FloatArray],
    found: tuple[float, float],
    fields: bool,
) -> str:
    """Return why the points do not fit, and which other order does, if one does."""
    mm, px = points
    likeliest = likely_order(mm, px, *seen_by)
    if likeliest is not None:
        names = ", ".join(str(int(number) + 1) for number in likeliest)
        theirs = "points_mm" if fields else "the plan's"
        return (
            f" in this order: the points tapped fit {theirs} taken as {names}: list both in the "
            "same order, and check that y_runs is true"
        )
    off, skew = found
    if not np.isfinite(off):
        how = "no camera can see them so"
    elif off > MOST_OFF:
        size_mm = float(np.hypot(*np.ptp(mm, axis=0)))
        how = f"they stand {off * size_mm:.0f} mm from where the plan has them"
    else:
        how = f"length over width is {100 * skew:.0f} % from what a lens would show"
    return f": {how}: another part, a mistaken size or a wrong point: measure and tap them again"


def likely_order(
    mm: FloatArray, px: FloatArray, size: tuple[int, int], focals: FloatArray = FOCALS
) -> IntArray | None:
    """Return the other order of the plan's points that fits the photo best; None if none fits.

    Tried are the points begun elsewhere, the other way round, and two of them exchanged.
    """
    count = len(mm)
    orders = [np.roll(np.arange(count)[::way], by) for way in (1, -1) for by in range(count)][1:]
    for one, other in combinations(range(count), 2):
        swapped = np.arange(count)
        swapped[[one, other]] = other, one
        orders.append(swapped)
    fits: list[tuple[float, IntArray]] = []
    for order in orders:
        _, off, skew = misfit(mm[order], px, size, focals)
        if off <= MOST_OFF and skew <= MOST_SKEW:
            fits.append((off / MOST_OFF + skew / MOST_SKEW, order))
    return min(fits, key=lambda fit: fit[0])[1] if fits else None


def _with_error(plane: PlaneMap, mm: FloatArray, px: FloatArray, off: float) -> PlaneMap:
    size_mm = float(np.hypot(*np.ptp(mm, axis=0)))
    spare = max(len(mm) - 4, 0)
    by_fit = off * size_mm * np.sqrt(len(mm) / spare) if spare else 0.0
    click_mm = max(click_sd_px(px) * plane.mm_per_px(), by_fit)
    return replace(plane, error_mm=float(click_mm), relative_sd=float(click_mm / size_mm))


def find_part_scale(
    image: NDArray[np.uint8], setup: PanelSetup, focal_35mm: float | None, said: str = ""
) -> PlaneMap:
    """Find the map from a part's canvas to one photo by the outline's tapped points.

    `said` is how a fault names points that were just told (see `fit_outline`).

    Raises
    ------
    WetlineError
        As `fit_outline`, or if too much of the part is out of the picture.
    """
    plane = fit_outline(setup, (int(image.shape[1]), int(image.shape[0])), focal_35mm, said)
    require_in_picture(plane, setup.shown_file, setup.outline)
    return plane
