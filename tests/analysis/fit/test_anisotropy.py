import numpy as np
import pytest

from analysis.fit.anisotropy import (
    equivalent_feed_radius,
    fit_anisotropy,
    permeability_ratio,
)
from tests.made_up.curves import make_curve


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
