"""Fits the panel-to-photo map to points of known place, with lens distortion where it shows.

The unknowns are the homography, a turn for each marker (cards lie as they fall), and one radial
distortion coefficient. What is known only roughly enters as Gaussian nuisance: the place of each
marker (laid with a tape measure), the size of the markers (printers rescale; a blurred edge moves
by a fraction of a pixel) and the distortion itself, which is thereby drawn to zero unless the
points say otherwise. The noise of the points and of the places is chosen by the evidence of the
fit, so that careful work is rewarded with a small error and careless work is shown.

Source: Bayesian linear model with marginal likelihood for the noise levels (MacKay, Neural
Computation 4, 415, 1992), applied to the linearised residuals of Brown's lens model.

Tested in tests/vision/scale/test_find_scale.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import leastsq

from vision.records import FloatArray
from vision.scale.plane_map import apply_homography, distort_px, homography_from, lens_camera

PIXEL_SD_GRID = (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0)
PLACE_SD_GRID_MM = (0.02, 0.1, 0.3, 1.0, 3.0)
_LENS_SD = 0.05  # radial shift at the picture's corner, as a share of the half diagonal
_LENS_SIGNIFICANT = 3.0
_EDGE_BIAS_PX = 0.3


@dataclass(frozen=True)
class PointSet:
    """Points of known place, in groups that may each be turned and shifted as one.

    Attributes
    ----------
    local_mm : ndarray of shape (N, 2)
        Place within the group, from its centre.
    centre_mm : ndarray of shape (G, 2)
        Place of each group's centre.
    group : ndarray of shape (N,), int
        Group of each point.
    px : ndarray of shape (N, 2)
        Where the photo shows it.
    rigid : bool
        True when groups may not turn, shift or change size (a board of one piece).
    size_sd : float
        Standard uncertainty of the groups' common size, as a share.
    """

    local_mm: FloatArray
    centre_mm: FloatArray
    group: np.ndarray
    px: FloatArray
    rigid: bool = False
    size_sd: float = 0.005


@dataclass(frozen=True)
class PlaneFit:
    """Result of `fit_plane`.

    Attributes
    ----------
    homography : ndarray of shape (3, 3)
        Panel mm to ideal pixels.
    lens : float
        Coefficient k1 with the picture's diagonal as focal length; 0 when it does not show.
    angles_rad : ndarray of shape (G,)
        Turn of each group.
    pixel_sd, place_sd_mm : float
        Noise levels the evidence favours.
    size_factor : float
        Estimated size of the groups over the size stated.
    residual_px : ndarray of shape (N, 2)
        Photo points minus the fit.
    covariance : ndarray
        Of the unknowns [h (8, in scaled units), lens].
    """

    homography: FloatArray
    lens: float
    angles_rad: FloatArray
    pixel_sd: float
    place_sd_mm: float
    size_factor: float
    residual_px: FloatArray
    covariance: FloatArray
    unscale_mm: FloatArray
    unscale_px: FloatArray
    scaled: FloatArray
    image_size: tuple[int, int]

    @property
    def distortion(self) -> FloatArray | None:
        """Distortion coefficients, or None when no distortion shows."""
        return np.array([self.lens, 0, 0, 0, 0]) if self.lens else None

    def position_sd_mm(self, points_mm: FloatArray) -> FloatArray:
        """Standard uncertainty (both axes together) of mapped panel points, shape (N,)."""
        cov = self._position_covariance(points_mm)
        n = len(points_mm)
        return np.sqrt(
            np.array([np.trace(cov[2 * i : 2 * i + 2, 2 * i : 2 * i + 2]) for i in range(n)])
        )

    def length_sd_mm(self, start_mm: FloatArray, end_mm: FloatArray) -> float:
        """Standard uncertainty of the distance between two panel points."""
        cov = self._position_covariance(np.array([start_mm, end_mm]))
        along = np.asarray(end_mm, float) - start_mm
        along = along / np.hypot(*along)
        weight = np.concatenate([-along, along])
        return float(np.sqrt(weight @ cov @ weight))

    def _position_covariance(self, points_mm: FloatArray) -> FloatArray:
        base = self._to_px(self.scaled, points_mm)
        jacobian = np.empty((base.size, len(self.scaled)))
        for k in range(len(self.scaled)):
            moved = self.scaled.copy()
            moved[k] += 1e-6
            jacobian[:, k] = (self._to_px(moved, points_mm) - base).ravel() / 1e-6
        back = np.zeros((base.size, base.size))
        for i, inverse in enumerate(
            _inverse_jacobians(lambda p: self._to_px(self.scaled, p), points_mm)
        ):
            back[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] = inverse
        chain = back @ jacobian
        return chain @ self.covariance @ chain.T

    def _to_px(self, scaled: FloatArray, points_mm: FloatArray) -> FloatArray:
        matrix = self.unscale_px @ np.append(scaled[:8], 1.0).reshape(3, 3) @ self.unscale_mm
        ideal = apply_homography(matrix, points_mm)
        return distort_px(ideal, lens_camera(self.image_size), np.array([scaled[8], 0, 0, 0, 0]))


def _inverse_jacobians(
    to_px: Callable[[FloatArray], FloatArray], points_mm: FloatArray
) -> list[FloatArray]:
    step = 0.01
    base = to_px(points_mm)
    dx = (to_px(points_mm + np.array([step, 0.0])) - base) / step
    dy = (to_px(points_mm + np.array([0.0, step])) - base) / step
    return [np.linalg.inv(np.array([a, b]).T) for a, b in zip(dx, dy, strict=True)]


class _Model:
    """Predicts photo points from the unknowns [h (8), lens, turns (G)] in scaled units."""

    def __init__(self, points: PointSet, size: tuple[int, int]) -> None:
        self.points, self.size = points, size
        places = points.centre_mm[points.group] + points.local_mm
        middle, reach = places.mean(axis=0), float(np.ptp(places, axis=0).max()) / 2
        self.unscale_mm = np.array(
            [[1 / reach, 0, -middle[0] / reach], [0, 1 / reach, -middle[1] / reach], [0, 0, 1.0]]
        )
        self.camera = lens_camera(size)
        self.unscale_px = self.camera
        self.turns = 0 if points.rigid else len(points.centre_mm)
        self._at_mm = points.centre_mm[points.group]

    def places_mm(self, turns: FloatArray) -> FloatArray:
        local = self.points.local_mm
        if self.turns:
            c, s = np.cos(turns)[self.points.group], np.sin(turns)[self.points.group]
            x, y = local.T
            local = np.empty_like(local)
            local[:, 0], local[:, 1] = c * x - s * y, s * x + c * y
        return self._at_mm + local

    def homography(self, unknowns: FloatArray) -> FloatArray:
        scaled = np.append(unknowns[:8], 1.0).reshape(3, 3)
        return self.unscale_px @ scaled @ self.unscale_mm

    def to_px(self, unknowns: FloatArray, places_mm: FloatArray) -> FloatArray:
        ideal = apply_homography(self.homography(unknowns), places_mm)
        return distort_px(ideal, self.camera, np.array([unknowns[8], 0, 0, 0, 0]))

    def predict(self, unknowns: FloatArray) -> FloatArray:
        return self.to_px(unknowns, self.places_mm(unknowns[9:]))

    def start(self) -> FloatArray:
        """Unknowns from the groups' centres and each group's own direction."""
        group, px = self.points.group, self.points.px
        if self.points.rigid:
            matrix = homography_from(self.places_mm(np.zeros(0)), px)
        else:
            centres_px = np.array([px[group == g].mean(axis=0) for g in range(self.turns)])
            matrix = _rough_homography(self.points.centre_mm, centres_px)
        scaled = np.linalg.inv(self.unscale_px) @ matrix @ np.linalg.inv(self.unscale_mm)
        scaled = scaled / scaled[2, 2]
        turns = np.zeros(self.turns)
        back = np.linalg.inv(matrix)
        for g in range(self.turns):
            mine = group == g
            seen = apply_homography(back, px[mine])
            seen, local = seen - seen.mean(axis=0), self.points.local_mm[mine]
            turns[g] = np.arctan2(
                float(np.sum(local[:, 0] * seen[:, 1] - local[:, 1] * seen[:, 0])),
                float(np.sum(local * seen)),
            )
        return np.concatenate([scaled.ravel()[:8], [0.0], turns])

    def nuisance(self, unknowns: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Columns d(px)/d(place) per mm, shape (2N, 2G), and d(px)/d(size), shape (2N,)."""
        places = self.places_mm(unknowns[9:])
        base = self.to_px(unknowns, places)
        if self.points.rigid:
            return np.zeros((base.size, 0)), np.zeros(base.size)
        columns = np.zeros((base.size, 2 * len(self.points.centre_mm)))
        for g in range(len(self.points.centre_mm)):
            mine = (self.points.group == g)[:, None]
            for axis in range(2):
                shift = np.where(mine, np.eye(2)[axis], 0.0)
                columns[:, 2 * g + axis] = (self.to_px(unknowns, places + shift) - base).ravel()
        spread = places - self.points.centre_mm[self.points.group]
        size = (self.to_px(unknowns, places + 0.01 * spread) - base).ravel() / 0.01
        return columns, size


def _rough_homography(centres_mm: FloatArray, centres_px: FloatArray) -> FloatArray:
    if len(centres_mm) >= 4:
        return homography_from(centres_mm, centres_px)
    if len(centres_mm) == 3:
        basis = np.column_stack([centres_mm, np.ones(3)])
        return np.vstack([np.linalg.solve(basis, centres_px).T, [0, 0, 1.0]])
    mm, px = centres_mm[1] - centres_mm[0], centres_px[1] - centres_px[0]
    ratio = complex(*px) / complex(*mm)
    turn = np.array([[ratio.real, -ratio.imag], [ratio.imag, ratio.real]])
    return np.vstack([np.column_stack([turn, centres_px[0] - turn @ centres_mm[0]]), [0, 0, 1.0]])


def fit_plane(
    points: PointSet,
    size: tuple[int, int],
    pixel_sds: tuple[float, ...] = PIXEL_SD_GRID,
    place_sds_mm: tuple[float, ...] = PLACE_SD_GRID_MM,
) -> PlaneFit:
    """Fit the map; see the module's text.

    Parameters
    ----------
    points : PointSet
        At least two groups, or one rigid group of four points or more.
    size : (int, int)
        Width and height of the photo.
    pixel_sds, place_sds_mm : tuple of float
        Noise levels to choose from.
    """
    model = _Model(points, size)
    if points.rigid:
        place_sds_mm = (0.0,)
    start = model.start()
    unknowns = _solve(model, start, _Linear.at(model, start).root(0.3, place_sds_mm[0]), True)
    linear = _Linear.at(model, unknowns)
    levels = [(px, mm) for px in pixel_sds for mm in place_sds_mm]
    scores = [linear.evidence(px, mm) for px, mm in levels]
    pixel_sd, place_sd = levels[int(np.argmax(scores))]
    root = linear.root(pixel_sd, place_sd)
    unknowns = _solve(model, unknowns, root, True)
    linear = _Linear.at(model, unknowns)
    covariance = linear.covariance(root)
    if abs(unknowns[8]) <= _LENS_SIGNIFICANT * np.sqrt(covariance[8, 8]):
        unknowns[8] = 0.0
        unknowns = _solve(model, unknowns, root, False)
        linear = _Linear.at(model, unknowns)
    return PlaneFit(
        homography=_unit(model.homography(unknowns)),
        lens=float(unknowns[8]),
        angles_rad=unknowns[9:],
        pixel_sd=pixel_sd,
        place_sd_mm=place_sd,
        size_factor=1.0 if points.rigid else linear.size_factor(pixel_sd, min(place_sd, 0.3)),
        residual_px=linear.miss.reshape(-1, 2),
        covariance=covariance[:9, :9],
        unscale_mm=model.unscale_mm,
        unscale_px=model.unscale_px,
        scaled=unknowns[:9],
        image_size=size,
    )


def _unit(matrix: FloatArray) -> FloatArray:
    return matrix / matrix[2, 2]


@dataclass(frozen=True)
class _Linear:
    """The fit linearised at one set of unknowns: misses, slopes, and how nuisance moves points."""

    miss: FloatArray
    jacobian: FloatArray
    places: FloatArray
    size: FloatArray
    size_sd: float

    @classmethod
    def at(cls, model: _Model, unknowns: FloatArray) -> _Linear:
        points = model.points
        base = model.predict(unknowns).ravel()
        columns = []
        for k in range(len(unknowns)):
            moved = unknowns.copy()
            moved[k] += 1e-6
            columns.append((model.predict(moved).ravel() - base) / 1e-6)
        places, size = model.nuisance(unknowns)
        edge_px = float(np.hypot(*(points.px[1] - points.px[0])))
        size_sd = float(np.hypot(points.size_sd, 2 * _EDGE_BIAS_PX / max(edge_px, 1.0)))
        return cls(points.px.ravel() - base, np.array(columns).T, places, size, size_sd)

    def noise(self, pixel_sd: float, place_sd: float, size_sd: float) -> FloatArray:
        """Covariance of the misses."""
        return (
            np.eye(len(self.miss)) * pixel_sd**2
            + place_sd**2 * self.places @ self.places.T
            + size_sd**2 * np.outer(self.size, self.size)
        )

    def root(self, pixel_sd: float, place_sd: float) -> FloatArray:
        """Inverse of the noise covariance's Cholesky factor."""
        return np.linalg.inv(np.linalg.cholesky(self.noise(pixel_sd, place_sd, self.size_sd)))

    def covariance(self, root: FloatArray) -> FloatArray:
        """Covariance of the unknowns."""
        weighted = root @ self.jacobian
        normal = weighted.T @ weighted
        normal[8, 8] += 1 / _lens_prior_sd() ** 2
        return np.linalg.pinv(normal, hermitian=True)

    def evidence(self, pixel_sd: float, place_sd: float) -> float:
        """Log marginal likelihood, up to a constant."""
        root = self.root(pixel_sd, place_sd)
        slopes, miss = root @ self.jacobian, root @ self.miss
        normal = slopes.T @ slopes
        normal[8, 8] += 1 / _lens_prior_sd() ** 2
        pull = slopes.T @ miss
        quality = miss @ miss - pull @ np.linalg.lstsq(normal, pull, rcond=None)[0]
        log_noise = -2 * np.sum(np.log(np.diag(root)))
        return float(-0.5 * (quality + log_noise + np.linalg.slogdet(normal)[1]))

    def size_factor(self, pixel_sd: float, place_sd: float) -> float:
        """Size of the groups over the size stated, as if that were wholly unknown."""
        root = np.linalg.inv(np.linalg.cholesky(self.noise(pixel_sd, place_sd, 0.0)))
        design = root @ np.column_stack([self.jacobian, self.size])
        normal = design.T @ design
        normal[8, 8] += 1 / _lens_prior_sd() ** 2
        step = np.linalg.lstsq(normal, design.T @ root @ self.miss, rcond=None)[0]
        return float(1 + step[-1])


def _lens_prior_sd() -> float:
    return _LENS_SD * 4.0  # k1 (r/f)^2 at r = half the diagonal, f = the diagonal


def _solve(model: _Model, start: FloatArray, root: FloatArray, lens_on: bool) -> FloatArray:
    free = np.ones(len(start), bool)
    free[8] = lens_on

    def whitened(values: FloatArray) -> FloatArray:
        unknowns = start.copy()
        unknowns[free] = values
        miss = root @ (model.predict(unknowns) - model.points.px).ravel()
        return np.append(miss, unknowns[8] / _lens_prior_sd())

    # MINPACK itself: the wrapper around it takes several times as long as the fit.
    result = start.copy()
    result[free] = leastsq(whitened, start[free], maxfev=4000, full_output=True)[0]
    return result
