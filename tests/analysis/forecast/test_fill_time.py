import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad, solve_ivp

from analysis.fit.permeability import fit_permeability
from analysis.forecast.fill_time import forecast_fill
from analysis.panel.records import Resin
from tests.made_up.closed_forms import (
    both_edges_impulse,
    disc_impulse,
    edge_impulse,
    rim_impulse,
)
from tests.made_up.curves import D_M2_S, edge_front_mm, make_curve, make_panel, make_tracked

K_OVER_POROSITY = 1e-10 / 0.5
RATE = 95_000.0 / 0.2
TIMES = np.linspace(20.0, 1500.0, 30)


@pytest.mark.parametrize(
    ("impulse", "time_s"),
    [
        (edge_impulse(0.5, K_OVER_POROSITY), 1315.789),
        (edge_impulse(1.0, K_OVER_POROSITY), 5263.158),
        (edge_impulse(0.5, K_OVER_POROSITY, 0.05), 1578.947),
        (both_edges_impulse(0.5, K_OVER_POROSITY), 328.947),
        (disc_impulse(0.25, 0.010, K_OVER_POROSITY), 894.630),
        (rim_impulse(0.25, 0.2, K_OVER_POROSITY), 12.2329),
        (rim_impulse(0.25, 0.1, K_OVER_POROSITY), 89.9321),
        (rim_impulse(0.25, 0.05, K_OVER_POROSITY), 136.7179),
        (rim_impulse(0.25, 0.0, K_OVER_POROSITY), 164.474),
    ],
)
def test_closed_forms_of_the_reference_case(impulse, time_s):
    # Darcy's law; times worked out independently by quadrature to 1e-13.
    assert impulse / RATE == pytest.approx(time_s, rel=1e-5)


def test_rim_feed_against_quadrature():
    # Speed of a ring closing in: K P / (porosity mu r ln(R/r)).
    expected = quad(lambda r: r * np.log(0.25 / r) / K_OVER_POROSITY, 0.1, 0.25)[0]
    assert rim_impulse(0.25, 0.1, K_OVER_POROSITY) == pytest.approx(expected, rel=1e-9)


def test_disc_feed_against_an_ode():
    run = solve_ivp(
        lambda theta, r: K_OVER_POROSITY / (r * np.log(r / 0.010)),
        (disc_impulse(0.0101, 0.010, K_OVER_POROSITY), disc_impulse(0.2, 0.010, K_OVER_POROSITY)),
        [0.0101],
        rtol=1e-10,
        atol=1e-13,
    )
    assert run.y[0, -1] == pytest.approx(0.2, rel=1e-6)


def test_doubling_the_length_takes_four_times_as_long():
    ratio = edge_impulse(0.8, K_OVER_POROSITY) / edge_impulse(0.4, K_OVER_POROSITY)
    assert ratio == pytest.approx(4.0, rel=1e-12)


def fitted(panel=None, **curve):
    x = edge_front_mm(TIMES, **curve) + np.random.default_rng(3).normal(0, 0.3, len(TIMES))
    return fit_permeability(panel or make_panel(), make_tracked(make_curve(TIMES, x, 0.3)))


def test_forecast_of_a_longer_part():
    fill = forecast_fill(fitted(), 1.0, 0.08, working_time_s=2520.0)
    assert fill.time_s == pytest.approx(1.0 / D_M2_S, rel=0.02)
    assert fill.time_low_s < 1.0 / D_M2_S < fill.time_high_s
    assert fill.longest_run_m == pytest.approx(np.sqrt(D_M2_S * 2520.0), rel=0.01)
    assert fill.longest_low_m < fill.longest_run_m < fill.longest_high_m


def test_viscosity_doubt_widens_permeability_but_not_the_same_lay_up():
    vague = make_panel(resin=Resin(viscosity_pa_s=0.2, viscosity_sd=0.3))
    sharp = make_panel(resin=Resin(viscosity_pa_s=0.2, viscosity_sd=0.01))
    a, b = (fitted(p) for p in (vague, sharp))
    assert a.k_high_m2 / a.k_low_m2 > 2 * b.k_high_m2 / b.k_low_m2
    first, second = (forecast_fill(f, 1.0, 0.05) for f in (a, b))
    assert_allclose(first.time_high_s, second.time_high_s, rtol=1e-9)


def test_feed_resistance_goes_along_to_the_part():
    fill = forecast_fill(fitted(feed_length_m=0.05), 1.0, 0.05)
    assert fill.time_s == pytest.approx(1.1 / D_M2_S, rel=0.03)


def test_resin_that_stiffens_gives_never():
    growth = np.log(2) / 1800.0
    x = np.sqrt(D_M2_S * -np.expm1(-growth * TIMES) / growth) * 1000.0
    panel = make_panel(resin=Resin(viscosity_pa_s=0.2, viscosity_growth_per_s=growth))
    fit = fit_permeability(panel, make_tracked(make_curve(TIMES, x, 0.3)))
    assert forecast_fill(fit, 1.0, 0.05).time_s == np.inf
    # Worked out independently (ODE): 0.5 m in 1834.962 s.
    assert forecast_fill(fit, 0.5, 0.05).time_s == pytest.approx(1834.962, rel=0.01)


def test_a_point_fed_part_from_an_edge_fed_panel():
    fill = forecast_fill(fitted(), 0.25, 0.05, feed="point")
    expected = disc_impulse(0.25, 0.005, K_OVER_POROSITY) / RATE
    assert fill.time_s == pytest.approx(expected, rel=0.02)


def test_the_longest_run_counts_the_feed():
    # x^2 + 2 a x = D t at the working time.
    found = fitted(feed_length_m=0.05)
    run = forecast_fill(found, 1.0, 0.08, working_time_s=2520.0).longest_run_m
    a, d = found.feed_length_m, found.slope * 95_000.0 / 0.2
    assert a == pytest.approx(0.05, rel=0.1)
    assert run**2 + 2 * a * run == pytest.approx(d * 2520.0, rel=1e-9)
