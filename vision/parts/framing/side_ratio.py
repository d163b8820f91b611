"""Whether length over width of the tapped points is what a lens shows, and how well that is told.

Any four points, and any number of points of a plan that is too long in one direction, fit a photo
exactly: only the focal length tells them apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.records import FloatArray
from vision.scale.plane_map import homography_from
from vision.scale.tape import (
    FILM_DIAGONAL_MM,
    TOLD_FOCAL_SD,
    USUAL_FOCAL_35MM,
    USUAL_FOCAL_SD,
    click_sd_px,
)

FOCALS_35MM = np.geomspace(13.0, 120.0, 80)
"""Focal lengths that are tried, as for 35 mm film: phones run from 13 to 80."""

LENS_SD = 0.005
"""What a lens that bends straight lines a little does to the ratio. Common practice, no source."""

STANDS_OFF, LEAST_OFF = 3.0, 0.02
"""A ratio is asked about from so many standard deviations on, and at least from this share on."""

LEAST_TOLD = 0.06
"""Half width of the 95 % interval past which the ratio is not told by the photo."""


@dataclass(frozen=True)
class SideRatio:
    """Length over width of the tapped points as the photo shows it, over that of the plan.

    Attributes
    ----------
    off : float
        Its natural logarithm: 0 where they agree.
    sd : float
        Standard uncertainty of that.
    """

    off: float
    sd: float

    @property
    def contradicts(self) -> bool:
        """Whether the photo shows another ratio than the plan."""
        return abs(self.off) > max(STANDS_OFF * self.sd, LEAST_OFF)

    @property
    def untold(self) -> bool:
        """Whether the photo does not tell the ratio."""
        return not self.contradicts and 1.96 * self.sd > LEAST_TOLD


def find_side_ratio(
    mm: FloatArray, px: FloatArray, size: tuple[int, int], focal_35mm: float | None
) -> SideRatio:
    """Compare length over width of tapped points with the plan's.

    Parameters
    ----------
    mm, px : ndarray of shape (N, 2), float
        Points on the plan and in the photo.
    size : (int, int)
        Width and height of the photo.
    focal_35mm : float or None
        Focal length as for 35 mm film, where it is told.

    Notes
    -----
    The columns of a plane's homography, the lens taken off, are of one length and at right angles
    (Zhang, IEEE Trans. Pattern Anal. 22, 2000). A plan that is too long in one direction keeps
    the right angle and loses the one length, so the angle weighs the focal lengths and the lengths
    then tell the ratio.
    """
    middle = USUAL_FOCAL_35MM if focal_35mm is None else focal_35mm
    spread = USUAL_FOCAL_SD if focal_35mm is None else TOLD_FOCAL_SD
    focals = FOCALS_35MM if focal_35mm is None else middle * np.exp(spread * np.linspace(-3, 3, 25))
    ratio, angle = _columns(mm, px, size, focals)
    ratio_sd, angle_sd = _shaken(mm, px, size, focals, ratio, angle)
    log_weight = -0.5 * (np.log(focals / middle) / spread) ** 2 - 0.5 * (angle / angle_sd) ** 2
    weight = np.exp(log_weight - log_weight.max())
    weight = weight / weight.sum()
    off = float(weight @ ratio)
    by_focal = float(np.sqrt(weight @ (ratio - off) ** 2))
    return SideRatio(off, float(np.sqrt(by_focal**2 + weight @ ratio_sd**2 + LENS_SD**2)))


def _columns(
    mm: FloatArray, px: FloatArray, size: tuple[int, int], focals_35mm: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return, by focal length, log of the columns' lengths over each other and their cosine."""
    matrix = np.asarray(homography_from(mm, px), float)
    centre = (np.array(size) - 1) / 2
    shifted = np.array([[1, 0, -centre[0]], [0, 1, -centre[1]], [0, 0, 1.0]]) @ matrix
    focal = (focals_35mm / FILM_DIAGONAL_MM * np.hypot(*size))[:, None]
    a, b = (np.column_stack([shifted[:2, k] / focal, np.full(len(focal), shifted[2, k])])
            for k in (0, 1))  # fmt: skip
    long, wide = np.linalg.norm(a, axis=1), np.linalg.norm(b, axis=1)
    return np.log(long / wide), np.sum(a * b, axis=1) / (long * wide)


def _shaken(
    mm: FloatArray,
    px: FloatArray,
    size: tuple[int, int],
    focals_35mm: FloatArray,
    ratio: FloatArray,
    angle: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return what the finger's own uncertainty does to both, by focal length."""
    sd_px = click_sd_px(px)
    ratio_var, angle_var = np.zeros_like(ratio), np.full_like(angle, LENS_SD**2)
    for place in np.ndindex(*px.shape):
        moved = px.copy()
        moved[place] += sd_px
        other_ratio, other_angle = _columns(mm, moved, size, focals_35mm)
        ratio_var += (other_ratio - ratio) ** 2
        angle_var += (other_angle - angle) ** 2
    return np.sqrt(ratio_var), np.sqrt(angle_var)
