import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.fit.anisotropy import (
    equivalent_feed_radius,
    fit_anisotropy,
    permeability_ratio,
    principal_from_three,
)
from tests.made_up.curves import make_curve


@pytest.mark.parametrize(
    ("k0", "k45", "k90", "k1", "k2", "angle"),
    [
        (1.790546e-10, 1.696920e-10, 1.062122e-10, 2.0e-10, 1.0e-10, 20.0),
        (4.705882e-11, 4.054318e-11, 4.210526e-11, 5.0e-11, 4.0e-11, -30.0),
        (9.785120e-11, 2.890227e-10, 7.625593e-11, 3.0e-10, 5.0e-11, 40.0),
    ],
)
def test_three_edge_fed_panels(k0, k45, k90, k1, k2, angle):
    # Weitzenboeck, Shenoi and Wilson, Polym. Compos. 20, 321-335, for the method; numbers worked
    # out independently by tensor inversion.
    found = principal_from_three(k0, k45, k90)
    assert_allclose(found, (k1, k2, angle), rtol=2e-5)


def test_three_panels_with_equal_ends():
    # K0 = K90 has no solution in the published quotient form; the tensor form has: 45 degrees.
    k1, k2 = 2e-10, 1e-10
    across = 2.0 / (1 / k1 + 1 / k2)
    assert_allclose(principal_from_three(across, k1, across), (k1, k2, 45.0), rtol=1e-9)
    assert_allclose(principal_from_three(1e-10, 1e-10, 1e-10)[:2], (1e-10, 1e-10))


def test_three_panels_that_cannot_be_one_stack():
    with pytest.raises(ValueError, match="cannot belong to one stack"):
        principal_from_three(1e-10, 1e-12, 1e-10)


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
