"""Tapped points against the plan: what is wrong with them, and the plan drawn back on the photo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vision.drawing.labels import Box
from vision.drawing.overlay import draw_title
from vision.drawing.strokes import (
    DARK,
    SKY,
    VERMILION,
    WHITE,
    YELLOW,
    Image,
    Sizes,
    along_sides,
    padded,
    stroke,
    write,
)
from vision.errors import WetlineError
from vision.parts.fit_outline import MOST_OFF, MOST_SKEW, find_part_scale, likely_order, misfit
from vision.parts.part_settings import PartCamera, box_map
from vision.parts.tapping.asked_points import FEWEST, AskedPoint
from vision.records import FloatArray
from vision.scale.plane_map import PlaneMap, apply_homography
from vision.settings.scale_settings import ScaleSpec

Pixel = tuple[float, float]
BADLY_OFF = 0.006
"""Share of the part's size past which a tapped point is spoken of. Common practice, no source."""

LEAST_SPREAD = 0.1
"""Breadth over length of the tapped points' cloud below which they lie about on one line."""

MIRRORED = (
    "the points seem to be tapped the other way round: go as the plan numbers them; if the plan "
    "itself is mirrored, mend y_runs in part.toml"
)


def with_taps(
    camera: PartCamera,
    asked: Sequence[AskedPoint],
    taps: Sequence[Pixel | None],
    photo: str,
    said: str = "",
) -> PartCamera:
    """Return a part's camera with tapped points as its scale; None stands for a point not tapped.

    `said` is how a fault names the points, such as ``"--points"``; the photo where left out.

    Raises
    ------
    WetlineError
        If fewer than four were tapped, or all lie about on one line.
    """
    pairs = [(point.mm, tap) for point, tap in zip(asked, taps, strict=False) if tap is not None]
    if len(pairs) < FEWEST:
        raise WetlineError(
            f"{said or photo}: {len(pairs)} points are tapped: at least {FEWEST} are needed, more "
            "are surer"
        )
    mm = np.array([mm for mm, _ in pairs], float)
    spread = np.linalg.svd(mm - mm.mean(axis=0), compute_uv=False)
    if spread[1] < LEAST_SPREAD * spread[0]:
        raise WetlineError(
            f"{said or photo}: the points tapped lie about on one line: tap points all round the "
            "part"
        )
    scale = ScaleSpec(
        method="outline",
        photo=photo,
        focal_35mm=camera.scale.focal_35mm,
        points_px=tuple((round(x, 1), round(y, 1)) for _, (x, y) in pairs),
        points_mm=tuple(mm for mm, _ in pairs),
    )
    return replace(camera, scale=scale)


def fit_taps(
    camera: PartCamera, image: Image, focal_35mm: float | None, said: str = ""
) -> PlaneMap:
    """Fit the map from canvas to photo to a camera's tapped points.

    Parameters
    ----------
    camera : PartCamera
        As `with_taps` returns it.
    image : ndarray of shape (H, W, 3), uint8
    focal_35mm : float or None
        Where the photo tells it.
    said : str
        How a fault names the points, such as ``"--points"``; the photo where left out.

    Raises
    ------
    WetlineError
        If the points were tapped in another order, one of them elsewhere, or on another part.
    """
    setup = camera.setup()
    said = said or setup.scale.photo
    mm, px = np.array(setup.scale.points_mm), np.array(setup.scale.points_px)
    size = (int(image.shape[1]), int(image.shape[0]))
    _, off, skew = misfit(mm, px, size)
    if off > MOST_OFF or skew > MOST_SKEW:
        fault = _order_fault(mm, px, size) or _mirrored(mm, px, size) or _stray_point(mm, px, size)
        if fault:
            raise WetlineError(f"{said}: {fault}")
    return find_part_scale(image, setup, focal_35mm, said)


def _order_fault(mm: FloatArray, px: FloatArray, size: tuple[int, int]) -> str:
    """Return in which other order the points seem to have been tapped; empty if in none."""
    order = likely_order(mm, px, size)
    if order is None:
        return ""
    moved = np.flatnonzero(order != np.arange(len(order)))
    if len(moved) == 2 < len(order):
        one, other = (int(k) + 1 for k in moved)
        return f"points {one} and {other} seem to be exchanged: tap them as the plan numbers them"
    steps = np.diff(order) % len(order)
    if (steps == 1).all():
        return (
            f"the first point tapped seems to be the plan's corner {int(order[0]) + 1}: begin at "
            "the corner that the plan marks, by the feeds"
        )
    return MIRRORED


def _mirrored(mm: FloatArray, px: FloatArray, size: tuple[int, int]) -> str:
    """Return that a mirrored plan fits, if it does."""
    _, off, skew = misfit(mm * np.array([-1.0, 1.0]), px, size)
    return MIRRORED if off <= MOST_OFF and skew <= MOST_SKEW else ""


def _stray_point(mm: FloatArray, px: FloatArray, size: tuple[int, int]) -> str:
    """Return which one point, left out, lets the others fit; empty if none or there are too few."""
    if len(mm) < FEWEST + 2:
        return ""
    fits = []
    for k in range(len(mm)):
        rest = np.arange(len(mm)) != k
        matrix, off, skew = misfit(mm[rest], px[rest], size)
        if off <= MOST_OFF / 2 and skew <= MOST_SKEW:
            away = apply_homography(np.linalg.inv(matrix), px[k : k + 1])[0] - mm[k]
            fits.append((off, k, float(np.hypot(*away))))
    if not fits:
        return ""
    _, number, away_mm = min(fits)
    return (
        f"point {number + 1} stands {away_mm:.0f} mm from where the others put it: tap it again, "
        "or pass it over"
    )


def far_off(camera: PartCamera, plane: PlaneMap) -> str:
    """Return how badly tapped points fit the plan, and which one likeliest; empty if well."""
    mm, px = np.array(camera.setup().scale.points_mm), np.array(camera.scale.points_px)
    away = np.hypot(*(plane.to_mm(px) - mm).T)
    size = float(np.hypot(*np.ptp(mm, axis=0)))
    if away.max() <= BADLY_OFF * size:
        return ""
    blame = ""
    if len(mm) >= FEWEST + 2:  # what is left over without a point tells which one disagrees
        keep = ~np.eye(len(mm), dtype=bool)
        left = [misfit(mm[rest], px[rest], plane.image_size)[1] for rest in keep]
        blame = f", most likely for the {_place(int(np.argmin(left)))} one tapped"
    return (
        f"the points stand up to {away.max():.0f} mm from where the plan has them{blame}: look "
        "whether the plan drawn back lies on the part"
    )


def _place(index: int) -> str:
    """Return a point's place in words.

    Examples
    --------
    >>> _place(0), _place(3)
    ('1st', '4th')
    """
    endings = {0: "st", 1: "nd", 2: "rd"}
    return f"{index + 1}{endings.get(index, 'th')}"


def fits_turned(camera: PartCamera, size: tuple[int, int]) -> bool:
    """Return whether the points fit as well with the part turned or mirrored under them."""
    setup = camera.setup()
    mm, px = np.array(setup.scale.points_mm), np.array(setup.scale.points_px)
    return likely_order(mm, px, size) is not None


def draw_back(camera: PartCamera, plane: PlaneMap, image: Image) -> Image:
    """Draw outline, openings, feeds and tapped points on a copy of the photo."""
    picture = image.copy()
    sizes = Sizes.for_image(picture)
    shape = camera.shape

    def px(points_mm: FloatArray) -> FloatArray:
        return plane.to_px(apply_homography(box_map(shape), np.asarray(points_mm, float)))

    outline = px(along_sides(np.vstack([shape.outline_mm, shape.outline_mm[:1]])))
    rings = [outline, *(px(along_sides(np.vstack([ring, ring[:1]]))) for ring in shape.holes_mm)]
    for ring in rings:
        stroke(picture, ring, DARK, sizes.casing)
        stroke(picture, ring, WHITE, sizes.line)
    for feed in shape.feeds:
        points = px(along_sides(np.atleast_2d(feed.points_mm)))
        stroke(picture, points, DARK, sizes.casing)
        stroke(picture, points, SKY, sizes.line)
        x, y = points.mean(axis=0)
        write(picture, feed.name, Box(x, y, *padded(feed.name, sizes.text)), sizes.text, SKY)
    for number, at in enumerate(np.array(camera.scale.points_px), start=1):
        _cross(picture, at, str(number), sizes)
    head = [shape.name, "the plan as the tapped points place it: does it lie on the part?"]
    draw_title(picture, head, outline, sizes)
    return picture


def _cross(picture: Image, at: FloatArray, number: str, sizes: Sizes) -> None:
    reach = 0.6 * sizes.text
    for step in ((reach, reach), (reach, -reach)):
        stroke(picture, np.array([at - step, at + step]), DARK, sizes.casing)
        stroke(picture, np.array([at - step, at + step]), VERMILION, sizes.line)
    x, y = at + 1.1 * sizes.text
    write(picture, number, Box(x, y, *padded(number, sizes.text)), sizes.text, YELLOW)
