"""Scale from a rectangle of unknown size and one taped distance.

Perspective tells the shape of a rectangle when the focal length is known, and the focal length
too when both pairs of sides run together visibly. What the picture leaves open is filled by an
assumption about the lens, and the error grows accordingly.

Source: single-view metrology of a plane (Criminisi, Reid and Zisserman, Int. J. Computer Vision
40, 123, 2000; Hartley and Zisserman, Multiple View Geometry, 2nd ed., ch. 8) with square pixels
and the lens axis through the picture's middle; solved by least squares with a prior on the focal
length.

Tested in tests/vision/scale/test_find_scale.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from vision.records import FloatArray
from vision.scale.plane_map import apply_homography, homography_from, panel_corners_mm

CLICK_SD_PX = 0.7  # points clicked or read to whole pixels
FINE_CLICK_SD_PX = 0.3  # points given with decimals
FILM_DIAGONAL_MM = 43.27  # of 36 x 24 mm
USUAL_FOCAL_35MM = 32.0  # phones run from 13 (wide) to 80 (tele): common practice, no source
USUAL_FOCAL_SD = 0.6  # of its logarithm
TOLD_FOCAL_SD = 0.05


@dataclass(frozen=True)
class TapeFit:
    """Result of `fit_tape`.

    Attributes
    ----------
    homography : ndarray of shape (3, 3)
        Panel mm to ideal pixels.
    length_mm, width_mm : float
        Of the panel.
    length_sd, width_sd : float
        Standard uncertainties, as a share.
    position_sd_mm : float
        Root mean square over the panel.
    focal_35mm : float
        Focal length found, as for 35 mm film.
    """

    homography: FloatArray
    length_mm: float
    width_mm: float
    length_sd: float
    width_sd: float
    position_sd_mm: float
    focal_35mm: float


def fit_tape(
    corners_px: FloatArray,
    tape_px: FloatArray,
    tape_mm: float,
    size: tuple[int, int],
    focal_35mm: float | None = None,
) -> TapeFit:
    """Find size and map of a rectangular panel from its corners and one distance.

    Parameters
    ----------
    corners_px : ndarray of shape (4, 2)
        Corners in panel order.
    tape_px : ndarray of shape (2, 2)
        Two points in the panel's plane.
    tape_mm : float
        The distance between them.
    size : (int, int)
        Width and height of the photo.
    focal_35mm : float or None
        Focal length as for 35 mm film, if the photo or the user tells it.
    """
    solver = _Solver(corners_px, size, focal_35mm)
    unknowns, covariance = solver.solve()
    length_mm, width_mm, matrix = solver.scaled(unknowns, tape_px, tape_mm)
    spread = _spread(solver, unknowns, covariance, tape_px, tape_mm, (length_mm, width_mm))
    return TapeFit(
        homography=matrix / matrix[2, 2],
        length_mm=length_mm,
        width_mm=width_mm,
        length_sd=spread[0],
        width_sd=spread[1],
        position_sd_mm=spread[2],
        focal_35mm=float(np.exp(unknowns[7]) * FILM_DIAGONAL_MM),
    )


def click_sd_px(points_px: FloatArray) -> float:
    """Take points given with decimals as finer than whole ones.

    Examples
    --------
    >>> click_sd_px(np.array([[10, 20]])), click_sd_px(np.array([[10.25, 20.5]]))
    (0.7, 0.3)
    """
    whole = np.asarray(points_px, float) == np.round(points_px)
    return CLICK_SD_PX if whole.mean() > 0.5 else FINE_CLICK_SD_PX


class _Solver:
    """Unknowns: turn (3), place (3), log of width over length, log of focal over diagonal."""

    def __init__(
        self, corners_px: FloatArray, size: tuple[int, int], focal_35mm: float | None
    ) -> None:
        self.diagonal = math.hypot(*size)
        self.middle = np.array([(size[0] - 1) / 2, (size[1] - 1) / 2])
        self.corners = (np.asarray(corners_px, float) - self.middle) / self.diagonal
        self.sd = click_sd_px(corners_px) / self.diagonal
        self.focal = math.log((focal_35mm or USUAL_FOCAL_35MM) / FILM_DIAGONAL_MM)
        self.focal_sd = TOLD_FOCAL_SD if focal_35mm else USUAL_FOCAL_SD

    def matrix(self, unknowns: FloatArray) -> FloatArray:
        """Map the panel, with length 1, to photo points over the diagonal."""
        matrix = Rotation.from_rotvec(unknowns[:3]).as_matrix()
        matrix[:, 2] = unknowns[3:6]
        matrix[:2] *= math.exp(unknowns[7])
        return matrix

    def residual(self, unknowns: FloatArray) -> FloatArray:
        rectangle = panel_corners_mm(1.0, math.exp(unknowns[6]))
        miss = np.empty(2 * len(rectangle) + 1)
        placed = apply_homography(self.matrix(unknowns), rectangle)
        miss[:-1] = ((placed - self.corners) / self.sd).ravel()
        miss[-1] = (unknowns[7] - self.focal) / self.focal_sd
        return miss

    def start(self, focal: float) -> FloatArray:
        """Pose and aspect for a given focal length, from the exact homography."""
        h = homography_from(panel_corners_mm(1.0, 1.0), self.corners)
        h = np.diag([1 / focal, 1 / focal, 1.0]) @ h
        h = h / np.linalg.norm(h[:, 0]) * np.sign(h[2, 2])
        aspect = float(np.linalg.norm(h[:, 1]))
        x, y = h[:, 0], h[:, 1] / aspect
        u, _, v = np.linalg.svd(np.column_stack([x, y, np.cross(x, y)]))
        turn = Rotation.from_matrix(u @ np.diag([1, 1, np.linalg.det(u @ v)]) @ v).as_rotvec()
        return np.concatenate([turn, h[:, 2], [math.log(aspect), math.log(focal)]])

    def solve(self) -> tuple[FloatArray, FloatArray]:
        """Best unknowns and their covariance."""
        best = None
        for factor in (0.6, 1.0, 1.7):
            start = self.start(math.exp(self.focal) * factor)
            found = least_squares(self.residual, start, method="lm", x_scale="jac", max_nfev=4000)
            if best is None or found.cost < best.cost:
                best = found
        assert best is not None
        return best.x, np.linalg.pinv(best.jac.T @ best.jac, hermitian=True)

    def scaled(
        self, unknowns: FloatArray, tape_px: FloatArray, tape_mm: float
    ) -> tuple[float, float, FloatArray]:
        """Length, width and the map from mm to pixels, by the taped distance."""
        matrix = self.matrix(unknowns)
        tape = apply_homography(np.linalg.inv(matrix), (tape_px - self.middle) / self.diagonal)
        length_mm = tape_mm / float(np.hypot(*(tape[1] - tape[0])))
        to_px = np.array(
            [[self.diagonal, 0, self.middle[0]], [0, self.diagonal, self.middle[1]], [0, 0, 1.0]]
        )
        full = to_px @ matrix @ np.diag([1 / length_mm, 1 / length_mm, 1.0])
        return length_mm, length_mm * math.exp(unknowns[6]), full


def _spread(
    solver: _Solver,
    unknowns: FloatArray,
    covariance: FloatArray,
    tape_px: FloatArray,
    tape_mm: float,
    size_mm: tuple[float, float],
) -> tuple[float, float, float]:
    """Shares of uncertainty of length and width, and position error, to first order."""
    columns = []
    for k in range(len(unknowns)):
        step = 0.1 * math.sqrt(max(covariance[k, k], 1e-18))
        ends = []
        for sign in (1, -1):
            moved = unknowns.copy()
            moved[k] += sign * step
            length_mm, width_mm, _ = solver.scaled(moved, tape_px, tape_mm)
            ends.append(np.log([length_mm, width_mm]))
        columns.append((ends[0] - ends[1]) / (2 * step))
    jacobian = np.array(columns).T
    shares = jacobian @ covariance @ jacobian.T
    tape_sd = math.sqrt(2) * click_sd_px(tape_px) / float(np.hypot(*(tape_px[1] - tape_px[0])))
    length_sd = math.sqrt(shares[0, 0] + tape_sd**2)
    width_sd = math.sqrt(shares[1, 1] + tape_sd**2)
    position = math.hypot(size_mm[0] * length_sd, size_mm[1] * width_sd) / math.sqrt(3)
    return length_sd, width_sd, position
