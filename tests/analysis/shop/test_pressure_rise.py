"""Shapes of a pressure rise against closed forms and plain linear algebra."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.shop.pressure_rise import (
    DESORBING,
    DIFFUSING,
    DYING,
    TEMPER,
    Gas,
    Leak,
    fit_rise,
)

MINUTES = np.linspace(0.0, 20.0, 41)


@pytest.mark.parametrize(
    ("kind", "risen", "rate"),
    [
        # Rates that fall as exp(-t/tau), 1/(tau + t) and 1/sqrt(tau + t) (vacuum practice).
        (DYING, 1 - np.exp(-2.0), lambda t: np.exp(-t / 5) / 5),
        (DESORBING, np.log(3.0), lambda t: 1 / (5 + t)),
        (DIFFUSING, np.sqrt(3.0) - 1, lambda t: 0.5 / np.sqrt(5 * (5 + t))),
    ],
)
def test_gas_given_off(kind, risen, rate):
    gas = Gas(kind, 5.0)
    assert float(gas.risen(10.0)) == pytest.approx(risen)
    assert float(gas.risen(0.0)) == 0.0
    step = 1e-6
    assert (float(gas.risen(4.0 + step)) - float(gas.risen(4.0))) / step == pytest.approx(
        rate(4.0), rel=1e-4
    )


def test_a_leak_goes_on_at_its_last_rate():
    leak = Leak(np.array([0.0, 1.0, 3.0]), np.array([0.0, 1.0, 2.0]))
    assert_allclose(leak.risen(np.array([0.5, 2.0, 3.0, 7.0])), [0.5, 1.5, 2.0, 4.0])


def noisy(rise, sd=0.02, seed=3):
    return 5.0 + rise + np.random.default_rng(seed).normal(0, sd, len(MINUTES))


def test_every_trial_is_kept_with_its_weight():
    fit = fit_rise(MINUTES, noisy(0.4 * MINUTES), 0.01, 1013.25)
    assert fit.mixture.weight.sum() == pytest.approx(1.0)
    assert len(fit.leaks) == len(fit.gases) == len(fit.mixture.weight)
    assert fit.shape in ("steady leak", "outgassing", "leak and outgassing")


def test_the_time_in_which_gas_dies_away():
    fit = fit_rise(MINUTES, noisy(6 * -np.expm1(-MINUTES / 3)), 0.01, 1013.25)
    assert fit.dying_min is None or 1.0 < fit.dying_min < 10.0
    assert fit_rise(MINUTES, noisy(0.4 * MINUTES), 0.01, 1013.25).dying_min is None


def test_parts_add_up_and_a_steady_leak_is_a_straight_line():
    p = noisy(0.4 * MINUTES)
    fit = fit_rise(MINUTES, p, 0.01, 1013.25)
    slope = np.polyfit(MINUTES, p, 1)[0]
    whole, leak, gas = (
        fit.part(30.0, *which, 1e-9)[0] for which in ((True, True), (True, False), (False, True))
    )
    assert whole == pytest.approx(leak + gas)
    assert whole == pytest.approx(30.0 * slope, rel=0.05)
    assert fit.part(30.0, False, False, 1e-9)[0] == 0.0


def test_drift_widens_the_bounds():
    fit = fit_rise(MINUTES, noisy(0.4 * MINUTES), 0.01, 1013.25)
    _, low, high = fit.part(20.0, True, True, 1e-9)
    _, wide_low, wide_high = fit.part(20.0, True, True, 1.0)
    assert wide_high - wide_low == pytest.approx(np.hypot(high - low, 2 * 1.96), rel=0.1)


def test_the_step_of_the_gauge_bounds_what_is_known():
    exact = 5.0 + 0.4 * MINUTES
    fine, coarse = (fit_rise(MINUTES, exact, step, 1013.25) for step in (0.01, 1.0))
    spread = [fit.part(20.0, True, True, 1e-9) for fit in (fine, coarse)]
    assert spread[1][2] - spread[1][1] > 5 * (spread[0][2] - spread[0][1])


def test_a_leak_that_slows_above_a_tenth_of_the_air_pressure():
    # dp/dt = c (pa^2 - p^2): p = pa tanh(c pa t + atanh(p0/pa)).
    c = 20.0 / 60.0 / 1013.25**2
    p = 1013.25 * np.tanh(c * 1013.25 * MINUTES * 60.0 + np.arctanh(5.0 / 1013.25))
    fit = fit_rise(MINUTES, p, 0.1, 1013.25)
    assert fit.part(1e-3, True, False, 1e-9)[0] * 1e3 == pytest.approx(20.0, rel=0.02)
    slowing = [leak for leak in fit.leaks if leak is not None and leak.passed[-1] < 19.9]
    wanted = (p[-1] - p[0]) / 20.0
    assert slowing[0].passed[-1] == pytest.approx(wanted, rel=1e-3)
    low = fit_rise(MINUTES, 5.0 + 0.4 * MINUTES, 0.1, 1013.25)
    assert all(leak is None or leak.passed[-1] == 20.0 for leak in low.leaks)


def test_nothing_is_taken_for_less_than_nothing():
    falling = 5.0 - 0.02 * MINUTES + 0.5 * -np.expm1(-MINUTES / 3)
    fit = fit_rise(MINUTES, falling, 0.01, 1013.25)
    rates = fit.mixture.mean[[leak is not None and bool(g) for leak, g in zip(
        fit.leaks, fit.gases, strict=True)], 1]  # fmt: skip
    assert np.all(rates > -0.02)


def test_a_straight_rise_is_plain_least_squares():
    p = noisy(0.4 * MINUTES, 0.3)
    fit = fit_rise(MINUTES, p, 0.01, 1013.25)
    assert fit.gases[0] == ()
    slope, start = np.polyfit(MINUTES, p, 1)
    _, covariance = np.polyfit(MINUTES, p, 1, cov=True)
    assert_allclose(fit.mixture.mean[0], [start, slope, 0.0, 0.0], rtol=1e-8, atol=1e-12)
    assert_allclose(fit.mixture.covariance[0, :2, :2], covariance[::-1, ::-1], rtol=1e-6)
    assert fit.mixture.freedom[0] == len(MINUTES) - 2


@pytest.mark.parametrize("count", [6, 41])
def test_weights_by_hand(count):
    t = MINUTES[:: 40 // (count - 1)]
    p = noisy(0.4 * MINUTES, 0.3)[:: 40 // (count - 1)]
    fit = fit_rise(t, p, 0.01, 1013.25)
    gas = next(i for i, leak in enumerate(fit.leaks) if leak is None and len(fit.gases[i]) == 1)
    kinds = [(leak is not None, bool(gases)) for leak, gases in zip(
        fit.leaks, fit.gases, strict=True)]  # fmt: skip
    score = []
    for column in (t, fit.gases[gas][0].risen(t)):
        design = np.stack([np.ones_like(t), column], axis=1)
        left = p - design @ np.linalg.lstsq(design, p, rcond=None)[0]
        k = 3  # start, size, noise
        score.append(
            count * np.log(left @ left / count) + 2 * k + 2 * k * (k + 1) / (count - k - 1)
        )
    wanted = np.exp(-TEMPER * (score[0] - score[1]))
    wanted *= kinds.count((False, True)) / kinds.count((True, False))
    assert fit.mixture.weight[0] / fit.mixture.weight[gas] == pytest.approx(wanted, rel=1e-6)


def test_shapes_with_more_numbers_than_readings_hardly_count():
    t = np.arange(5.0)
    fit = fit_rise(t, 5.0 + 0.4 * t + np.array([0, 0.1, -0.1, 0.1, 0]), 0.1, 1013.25)
    both = [leak is not None and bool(gas) for leak, gas in zip(fit.leaks, fit.gases, strict=True)]
    assert fit.mixture.weight[both].sum() < 1e-3


def test_trial_times_are_shares_of_the_log():
    fit = fit_rise(MINUTES, noisy(0.4 * MINUTES), 0.01, 1013.25)
    times = {gas.tau_min for gases in fit.gases for gas in gases}
    assert min(times) == pytest.approx(0.03 * 20.0)
    assert max(times) == pytest.approx(2.0 * 20.0)
    assert {gas.kind for gases in fit.gases for gas in gases} == {DYING, DESORBING, DIFFUSING}
    pairs = [gases for gases in fit.gases if len(gases) == 2]
    assert all(slow.tau_min > fast.tau_min for slow, fast in pairs)
