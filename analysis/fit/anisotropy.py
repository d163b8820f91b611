"""Point feed: principal permeabilities from the ellipse the front draws."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis.fit.mixture_regression import (
    Z_95,
    Mixture,
    ModelFit,
    Prediction,
    fit_model,
    interval,
    project,
    whiteners,
)
from analysis.fit.permeability import NoFit, PermeabilityFit
from vision.records import BoolArray, FloatArray, FrontCurve

MIN_RATIO_RADII = 2.5
"""Frames whose smaller semi-axis is below this many feed radii say nothing of the axis ratio."""


@dataclass(frozen=True)
class Anisotropy:
    """Axis ratio and direction.

    Attributes
    ----------
    ratio : float
        K1 / K2, at least 1.
    log_ratio : Mixture
        Guesses of ln(K1 / K2).
    angle_deg, angle_low_deg, angle_high_deg : float
        Direction of K1 from +x towards +y, in (-90, 90].
    """

    ratio: float
    log_ratio: Mixture
    angle_deg: float
    angle_low_deg: float
    angle_high_deg: float


@dataclass(frozen=True)
class PrincipalAxes:
    """Permeability along the two axes of the ellipse that a point-fed front draws.

    Attributes
    ----------
    k1_m2, k1_low_m2, k1_high_m2 : float
        Along the long axis, and its 95 % interval.
    k2_m2, k2_low_m2, k2_high_m2 : float
        Across it.
    angle_deg, angle_low_deg, angle_high_deg : float
        Direction of K1 from +x towards +y.
    ratio : float
        K1 / K2.
    """

    k1_m2: float
    k1_low_m2: float
    k1_high_m2: float
    k2_m2: float
    k2_low_m2: float
    k2_high_m2: float
    angle_deg: float
    angle_low_deg: float
    angle_high_deg: float
    ratio: float


def permeability_ratio(
    semi_major_m: ArrayLike, semi_minor_m: ArrayLike, feed_radius_m: float
) -> FloatArray:
    """K1 / K2 from one ellipse fed by a round hole of radius r0.

    ``K1/K2 = (a^2 - q) / (b^2 - q)`` with ``q = r0^2 (2 - r0^2 / (a b))``. The plain ratio
    (a/b)^2 starts at 1 at the hole and is biased towards 1 for early fronts.

    Notes
    -----
    Source: worked out here from the conserved second moment of the wet region (Richardson 1972,
    J. Fluid Mech. 56, 609, from memory) with the inlet's flux spread as if the front were far
    away; checked against a direct numerical solution in the tests.
    """
    a, b = np.asarray(semi_major_m, dtype=float), np.asarray(semi_minor_m, dtype=float)
    q = feed_radius_m**2 * (2.0 - feed_radius_m**2 / (a * b))
    return (a**2 - q) / (b**2 - q)


def equivalent_feed_radius(feed_radius_m: float, ratio: float) -> float:
    """Radius of the circle that feeds like the round hole does in an anisotropic stack.

    In coordinates stretched to isotropy the hole is an ellipse, whose far field is that of a
    circle of radius half the sum of its semi-axes (conformal radius; textbook result).
    """
    stretch = ratio**0.25
    return 0.5 * feed_radius_m * (stretch + 1.0 / stretch)


def fit_anisotropy(curve: FrontCurve, used: BoolArray, feed_radius_m: float) -> Anisotropy | None:
    """Fit axis ratio and angle over the frames; None where the ellipses are missing or too small.

    Parameters
    ----------
    curve : FrontCurve
        With `semi_major_mm`, `semi_minor_mm` and `angle_deg`.
    used : ndarray of shape (N,), bool
        Frames the permeability fit uses.
    feed_radius_m : float
        Radius of the feed hole.
    """
    a, b = curve.semi_major_mm / 1000.0, curve.semi_minor_mm / 1000.0
    big = np.nan_to_num(b, nan=0.0) > MIN_RATIO_RADII * feed_radius_m
    ok = used & np.isfinite(a) & np.isfinite(b) & np.isfinite(curve.angle_deg) & big
    if ok.sum() < 4:
        return None
    a, b, t = a[ok], b[ok], curve.time_s[ok]
    sd = np.maximum(np.nan_to_num(curve.front_clean_sd_mm[ok], nan=1.0), 0.05) / 1000.0
    log_ratio = np.log(permeability_ratio(a, b, feed_radius_m))
    ratio_fit = _constant(log_ratio, 2.0 * sd * np.hypot(1 / a, 1 / b), t)
    if ratio_fit is None:
        return None
    angle, low, high = _mean_angle(curve.angle_deg[ok], a, b, sd, t)
    log_k = float(ratio_fit.parameters[0])
    if log_k < 0:
        angle = angle + 90.0
    return Anisotropy(
        float(np.exp(abs(log_k))),
        project(
            ratio_fit.mixture,
            ratio_fit.mixture.mean[:, 0] * (1 if log_k >= 0 else -1),
            np.ones((len(ratio_fit.mixture.weight), 1)),
        ),
        _fold(angle),
        low,
        high,
    )


def _constant(values: FloatArray, sd: FloatArray, time_s: FloatArray) -> ModelFit | None:
    """Mean of values whose errors are correlated in time."""

    def predict(parameters: FloatArray) -> Prediction:
        return np.full(len(values), parameters[0]), lambda: np.ones((len(values), 1))

    return fit_model(predict, np.zeros(1), values, sd, whiteners(time_s))


def _mean_angle(
    angle_deg: FloatArray, a: FloatArray, b: FloatArray, sd: FloatArray, t: FloatArray
) -> tuple[float, float, float]:
    """Mean direction of axes (period 180 degrees) with its interval; all directions if round."""
    weight = (a - b) ** 2 / sd**2
    doubled = np.radians(2.0 * angle_deg)
    mean = 0.5 * np.degrees(np.angle(np.sum(weight * np.exp(1j * doubled))))
    off = (angle_deg - mean + 90.0) % 180.0 - 90.0
    scatter = np.degrees(sd * np.sqrt(2.0) / np.maximum(a - b, 0.1 * sd))
    fit = _constant(off, scatter, t)
    if fit is None:
        return _fold(mean), mean - 90.0, mean + 90.0
    low, high = interval(fit.mixture, 0.0)
    centre = mean + float(fit.parameters[0])
    half = min(max(high - fit.parameters[0], fit.parameters[0] - low), 90.0)
    return _fold(centre), _fold(centre) - half, _fold(centre) + half


def _fold(angle_deg: float) -> float:
    """Bring an axis direction into (-90, 90]."""
    return float(90.0 - (90.0 - angle_deg) % 180.0)


def principal_axes(fit: PermeabilityFit | NoFit, found: Anisotropy | None) -> PrincipalAxes | None:
    """Compute K1 and K2 about K = sqrt(K1 K2), None where K or its axes are not known."""
    if found is None or isinstance(fit, NoFit) or fit.flow != "point":
        return None
    if fit.k_m2 is None or fit.k_low_m2 is None or fit.k_high_m2 is None:
        return None
    log_sd = float(np.log(fit.k_high_m2 / fit.k_low_m2)) / (2 * Z_95)
    ends: list[float] = []
    for sign in (0.5, -0.5):
        m = found.log_ratio
        half = project(m, sign * m.mean[:, 0], np.full((len(m.weight), 1), sign))
        low, high = interval(half, log_sd)
        ends += [fit.k_m2 * found.ratio**sign, *(fit.k_m2 * float(np.exp(v)) for v in (low, high))]
    k1, k1_low, k1_high, k2, k2_low, k2_high = ends
    return PrincipalAxes(
        k1_m2=k1,
        k1_low_m2=k1_low,
        k1_high_m2=k1_high,
        k2_m2=k2,
        k2_low_m2=k2_low,
        k2_high_m2=k2_high,
        angle_deg=found.angle_deg,
        angle_low_deg=found.angle_low_deg,
        angle_high_deg=found.angle_high_deg,
        ratio=found.ratio,
    )
