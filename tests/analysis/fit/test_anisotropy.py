from dataclasses import replace

import numpy as np
import pytest

from analysis.fit.anisotropy import (
    Anisotropy,
    equivalent_feed_radius,
    fit_anisotropy,
    permeability_ratio,
    principal_axes,
)
from analysis.fit.mixture_regression import Mixture, interval
from analysis.fit.permeability import NoFit, fit_permeability
from tests.made_up.curves import edge_front_mm, make_curve, make_panel, make_tracked

TIMES = np.linspace(20.0, 1500.0, 30)


def test_an_elliptical_front_far_out_gives_the_plain_ratio():
    # a/b = sqrt(K1/K2): Adams, Russel and Rebenfeld 1988.
    assert permeability_ratio(594.604, 420.448, 6.0) == pytest.approx(2.0, rel=2e-3)
    assert permeability_ratio(6.0001, 6.0001, 6.0) == pytest.approx(1.0)


def test_fit_of_ratio_and_angle():
    t = np.linspace(30.0, 900.0, 30)
    rng = np.random.default_rng(8)
    r = 5.0 * np.sqrt(t)
    curve = make_curve(
        t,
        r,
        0.5,
        flow="point",
        semi_major_mm=r * 2**0.25 + rng.normal(0, 0.5, 30),
        semi_minor_mm=r / 2**0.25 + rng.normal(0, 0.5, 30),
        angle_deg=(85.0 + rng.normal(0, 2, 30) + 90) % 180 - 90,
    )
    axes = fit_anisotropy(curve, curve.used, 0.001)
    assert axes.ratio == pytest.approx(2.0, rel=0.03)
    assert axes.angle_deg == pytest.approx(85.0, abs=1.5)
    assert axes.angle_low_deg < 85.0 < axes.angle_high_deg


def test_no_ellipses_no_axes():
    curve = make_curve(np.arange(10.0), np.arange(10.0), flow="point")
    assert fit_anisotropy(curve, curve.used, 0.006) is None


def test_a_round_hole_in_an_isotropic_stack_is_its_own_equal():
    assert equivalent_feed_radius(0.006, 1.0) == pytest.approx(0.006)


def test_ratio_by_hand():
    # a = 5, b = 4, r0 = 1: q = 2 - 1/20 = 1.95; (25 - 1.95) / (16 - 1.95).
    assert permeability_ratio(5.0, 4.0, 1.0) == pytest.approx(23.05 / 14.05)
    # a = 10, b = 8, r0 = 2: all lengths doubled.
    assert permeability_ratio(10.0, 8.0, 2.0) == pytest.approx(23.05 / 14.05)


def test_equal_radius_by_hand():
    # K1/K2 = 16: stretch 2, so half of 2 + 1/2 times the radius.
    assert equivalent_feed_radius(0.006, 16.0) == pytest.approx(0.006 * 1.25)
    assert equivalent_feed_radius(0.006, 1 / 16.0) == pytest.approx(0.006 * 1.25)


def ellipses(ratio=2.0, angle=20.0, sd_mm=0.5, n=30, seed=8, noise=1.0):
    t = np.linspace(30.0, 900.0, n)
    rng = np.random.default_rng(seed)
    r = 5.0 * np.sqrt(t)
    return make_curve(
        t,
        r,
        sd_mm,
        flow="point",
        semi_major_mm=r * ratio**0.25 + noise * rng.normal(0, 0.5, n),
        semi_minor_mm=r / ratio**0.25 + noise * rng.normal(0, 0.5, n),
        angle_deg=np.full(n, angle) + noise * rng.normal(0, 1, n),
    )


def test_axes_that_are_named_the_wrong_way_round_are_turned():
    # Semi-axes swapped: the ratio comes out below 1, so K1 lies across the angle given.
    curve = ellipses(ratio=0.5, angle=20.0)
    axes = fit_anisotropy(curve, curve.used, 0.001)
    assert axes.ratio == pytest.approx(2.0, rel=0.03)
    assert axes.angle_deg == pytest.approx(-70.0, abs=1.5)
    assert np.all(axes.log_ratio.mean[axes.log_ratio.weight > 1e-3] > 0)


def test_small_ellipses_and_frames_left_out_do_not_count():
    curve = ellipses(n=8)
    assert fit_anisotropy(curve, curve.used, 0.001) is not None
    assert fit_anisotropy(curve, np.arange(8) < 3, 0.001) is None
    assert fit_anisotropy(curve, curve.used, 0.2) is None


def test_the_interval_of_the_ratio_holds_and_narrows_with_more_frames():
    widths = []
    for n in (10, 60):
        curve = ellipses(n=n)
        m = fit_anisotropy(curve, curve.used, 0.001).log_ratio
        low, high = interval(m, 0.0)
        assert low < np.log(2.0) < high
        widths.append(high - low)
    assert widths[1] < widths[0]


def test_the_direction_of_a_round_front_is_not_known():
    curve = ellipses(ratio=1.0 + 1e-6, noise=0.0)
    axes = fit_anisotropy(curve, curve.used, 0.001)
    assert axes.ratio == pytest.approx(1.0, abs=1e-3)
    sharp = fit_anisotropy(ellipses(), ellipses().used, 0.001)
    assert sharp.angle_high_deg - sharp.angle_low_deg < 3.0
    assert sharp.angle_low_deg < 20.0 < sharp.angle_high_deg


@pytest.mark.parametrize(("angle", "told"), [(90.0, 90.0), (-90.0, 90.0), (89.0, 89.0)])
def test_directions_are_told_from_minus_90_to_90(angle, told):
    curve = ellipses(angle=angle, noise=0.0)
    assert fit_anisotropy(curve, curve.used, 0.001).angle_deg == pytest.approx(told, abs=1e-6)


def fit_of_k(**changes):
    base = fit_permeability(make_panel(), make_tracked(make_curve(TIMES, edge_front_mm(TIMES))))
    values = {"flow": "point", "k_m2": 4e-11, "k_low_m2": 3.6e-11, "k_high_m2": 4.4e-11}
    return replace(base, **(values | changes))


def sure_ratio(ratio, sd=0.0):
    m = Mixture(np.ones(1), np.array([[np.log(ratio)]]), np.full((1, 1, 1), sd**2), np.full(1, 1e6))
    return Anisotropy(ratio, m, 20.0, 15.0, 25.0)


def test_principal_axes_by_hand():
    # K1 = K sqrt(K1/K2), K2 = K / sqrt(K1/K2); the ratio's doubt counts half in the logarithm.
    axes = principal_axes(fit_of_k(), sure_ratio(4.0, 0.2))
    assert (axes.k1_m2, axes.k2_m2) == (pytest.approx(8e-11), pytest.approx(2e-11))
    half = np.hypot(np.log(4.4 / 3.6) / 2, 1.959964 * 0.1)
    assert axes.k1_low_m2 == pytest.approx(8e-11 * np.exp(-half), rel=1e-4)
    assert axes.k1_high_m2 == pytest.approx(8e-11 * np.exp(half), rel=1e-4)
    assert axes.k2_low_m2 == pytest.approx(2e-11 * np.exp(-half), rel=1e-4)
    assert axes.k2_high_m2 == pytest.approx(2e-11 * np.exp(half), rel=1e-4)
    assert (axes.angle_deg, axes.angle_low_deg, axes.angle_high_deg) == (20.0, 15.0, 25.0)
    assert axes.ratio == 4.0


def test_no_axes_without_what_they_need():
    assert principal_axes(fit_of_k(), None) is None
    assert principal_axes(NoFit("no front"), sure_ratio(2.0)) is None
    assert principal_axes(fit_of_k(flow="edge"), sure_ratio(2.0)) is None
    for field in ("k_m2", "k_low_m2", "k_high_m2"):
        assert principal_axes(fit_of_k(**{field: None}), sure_ratio(2.0)) is None
