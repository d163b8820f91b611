import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad, solve_ivp

from analysis.fit.impulse import constant_impulse, logged_impulse
from analysis.panel.records import Log

DOUBLING_S = 1800.0


@pytest.mark.parametrize(("length_m", "time_s"), [(0.5, 1834.962)])
def test_exponential_rise_matches_its_closed_form(length_m, time_s):
    # Worked out independently (ODE): reference case, viscosity doubling in 1800 s.
    impulse = constant_impulse(95_000.0, 0.2, np.log(2) / DOUBLING_S)
    theta = length_m**2 * 0.5 / (2 * 1e-10)
    assert_allclose(impulse.time_of(theta), time_s, rtol=1e-6)


def test_resin_that_stiffens_never_fills_and_has_a_farthest_reach():
    impulse = constant_impulse(95_000.0, 0.2, np.log(2) / DOUBLING_S)
    needed = np.array([0.8, 1.0]) ** 2 * 0.5 / (2 * 1e-10)
    assert np.all(np.isinf(impulse.time_of(needed)))
    # Worked out independently (ODE): 0.702426 m.
    assert_allclose(np.sqrt(2 * 1e-10 * impulse.theta_end / 0.5), 0.702426, rtol=1e-6)


def test_linear_rise_in_viscosity_from_a_log():
    # mu = mu0 (1 + t/tau): t = tau (exp(t0/tau) - 1), worked out independently (ODE): 1938.860 s.
    time_s = np.linspace(0, 4000, 4001)
    impulse = logged_impulse(95_000.0, Log(time_s, 0.2 * (1 + time_s / DOUBLING_S)))
    assert_allclose(impulse.time_of(0.25 * 0.5 / 2e-10), 1938.860, rtol=1e-6)


def test_pressure_ramp_moves_the_start_by_half_the_ramp():
    # After a ramp of T seconds x^2 = D (t - T/2): by integration of Darcy's law.
    impulse = logged_impulse(Log(np.array([0.0, 60.0]), np.array([0.0, 95_000.0])), 0.2)
    assert_allclose(impulse.at(300.0), 95_000 / 0.2 * 270.0)


def test_logs_of_both_against_quadrature_and_back():
    pressure = Log(np.array([0.0, 60.0, 600.0]), np.array([0.0, 95_000.0, 90_000.0]))
    viscosity = Log(np.array([30.0, 300.0, 900.0]), np.array([0.2, 0.25, 0.5]))
    impulse = logged_impulse(pressure, viscosity)
    times = np.array([5.0, 70.0, 250.0, 800.0, 1500.0])
    knots = [30, 60, 300, 600, 900]
    expected = [quad(impulse.rate, 0, t, points=knots, limit=200)[0] for t in times]
    assert_allclose(impulse.at(times), expected, rtol=1e-9)
    assert_allclose(impulse.time_of(impulse.at(times)), times, rtol=1e-9)


def test_a_moving_front_by_ode_agrees_with_the_impulse():
    # dx/dt = K P(t) / (porosity mu(t) x), integrated by SciPy.
    pressure = Log(np.array([0.0, 500.0, 1000.0]), np.array([95_000.0, 70_000.0, 90_000.0]))
    impulse = logged_impulse(pressure, 0.2, 3e-4)

    def speed(t, x):
        drive = np.interp(t, pressure.time_s, pressure.value)
        return 1e-10 * drive / (0.5 * 0.2 * np.exp(3e-4 * t) * x)

    times = np.array([200.0, 700.0, 1500.0])
    start = np.sqrt(4e-10 * impulse.at(1.0))
    run = solve_ivp(speed, (1.0, 1500.0), [start], t_eval=times, rtol=1e-10, atol=1e-12)
    assert_allclose(np.sqrt(4e-10 * impulse.at(times)), run.y[0], rtol=1e-6)


def test_before_the_start_the_impulse_runs_backwards():
    impulse = constant_impulse(95_000.0, 0.2)
    assert_allclose(impulse.at(-10.0), -4_750_000.0)
    assert_allclose(impulse.time_of(-4_750_000.0), -10.0)


def test_a_pump_that_stops_for_good_never_gets_further():
    impulse = logged_impulse(Log(np.array([0.0, 100.0]), np.array([95_000.0, 0.0])), 0.2)
    assert_allclose(impulse.theta_end, 95_000.0 / 0.2 * 50.0)
    assert np.isinf(impulse.time_of(1.01 * impulse.theta_end))
    assert impulse.time_of(0.5 * impulse.theta_end) < 100.0


def random_logs(seed):
    rng = np.random.default_rng(seed)
    pressure = Log(np.sort(rng.uniform(0, 900, 5)), rng.uniform(60e3, 95e3, 5))
    viscosity = Log(
        np.sort(rng.uniform(0, 900, 4)), 0.2 * np.exp(np.cumsum(rng.uniform(0, 0.4, 4)))
    )
    return pressure, viscosity


def rate_by_hand(pressure, viscosity, t):
    """Pressure straight and viscosity exponential between readings; the last rise goes on."""
    drive = np.interp(t, pressure.time_s, pressure.value)
    log_mu = np.interp(t, viscosity.time_s, np.log(viscosity.value))
    rise = np.diff(np.log(viscosity.value[-2:]))[0] / np.diff(viscosity.time_s[-2:])[0]
    return drive / np.exp(log_mu + rise * max(t - viscosity.time_s[-1], 0.0))


@pytest.mark.parametrize("seed", range(4))
def test_any_logs_against_quadrature_and_back(seed):
    pressure, viscosity = random_logs(seed)
    impulse = logged_impulse(pressure, viscosity)
    knots = np.unique(np.concatenate([pressure.time_s, viscosity.time_s]))
    for t in (10.0, 200.0, 450.0, 880.0, 1400.0):
        inside = [k for k in knots if k < t]
        wanted = quad(
            lambda s: rate_by_hand(pressure, viscosity, s), 0, t, points=inside or None, limit=200
        )[0]
        assert float(impulse.at(t)) == pytest.approx(wanted, rel=1e-7)
        assert float(impulse.rate(t)) == pytest.approx(
            rate_by_hand(pressure, viscosity, t), rel=1e-9
        )
        assert float(impulse.time_of(wanted)) == pytest.approx(t, rel=1e-7)
    end = quad(
        lambda s: rate_by_hand(pressure, viscosity, s), 0, 3e4, points=list(knots), limit=500
    )[0]
    assert impulse.theta_end >= end * (1 - 1e-6)
    assert np.isinf(impulse.time_of(impulse.theta_end * 1.001))


def test_a_falling_viscosity_log_is_not_carried_on():
    falling = Log(np.array([0.0, 100.0]), np.array([0.4, 0.2]))
    impulse = logged_impulse(95_000.0, falling)
    assert_allclose(impulse.rate(np.array([100.0, 500.0])), 95_000.0 / 0.2)
    assert impulse.theta_end == np.inf


def test_before_a_log_that_starts_from_nothing_the_first_rise_holds():
    impulse = logged_impulse(Log(np.array([0.0, 60.0]), np.array([0.0, 95_000.0])), 0.2)
    assert_allclose(impulse.at(-6.0), -6.0 * 95_000.0 / 0.2 / 2.0)


def test_growth_so_slow_that_it_is_none():
    # Series of (1 - exp(-z)) / z about 0 against the plain quotient.
    steady = constant_impulse(95_000.0, 0.2)
    for growth in (1e-12, 1e-8, 1e-7):
        slow = constant_impulse(95_000.0, 0.2, growth)
        wanted = 95_000.0 / 0.2 * -np.expm1(-growth * 900.0) / growth
        assert float(slow.at(900.0)) == pytest.approx(wanted, rel=1e-9)
        assert float(slow.time_of(steady.at(900.0))) == pytest.approx(900.0, rel=1e-3)


def test_a_single_reading_holds_throughout():
    one = logged_impulse(Log(np.array([30.0]), np.array([80_000.0])), 0.2)
    assert_allclose(one.at(np.array([10.0, 100.0])), np.array([10.0, 100.0]) * 4e5)
