"""One what-if against independent solutions."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp

from analysis.forecast.what_if import Change, least_that_fills, needed, outcome
from analysis.panel.records import Stack, Vacuum
from analysis.panel.resin import gel_time
from tests.made_up.forecasts import RESIN, made


def test_warming_a_thickening_resin_against_an_ode():
    growth = np.log(2) / 2400.0
    resin = replace(RESIN, viscosity_growth_per_s=growth)
    found = made(0.6, resin=resin)
    warm = outcome(found.case, Change(temperature_c=30.0))
    slope, cure = found.case.fit.slope, 1700.0 / 3600.0

    def speed(t, x):
        return 0.5 * slope * 95_000 / (0.11 * np.exp(growth / cure * t)) / x

    def full(t, x):
        return x[0] - np.sqrt(0.36 + 2 * found.case.fit.feed_length_m * 0.6)

    full.terminal = True
    run = solve_ivp(speed, (0, 1e5), [1e-4], events=full, rtol=1e-9, atol=1e-12)
    assert warm.time_s == pytest.approx(run.t_events[0][0], rel=1e-3)
    assert warm.margin == pytest.approx(0.7 * 1700.0 / warm.time_s, rel=1e-6)


def test_a_soft_stack_gains_less_from_vacuum():
    stiff = made(vacuum=Vacuum(70_000.0))
    soft = made(vacuum=Vacuum(70_000.0), stack=Stack(0.5, compaction_exponent=0.06))
    more = Change(drive=1.3)
    assert outcome(stiff.case, more).time_s < outcome(soft.case, more).time_s


def test_bounds_of_a_change_of_temperature_by_hand():
    # Viscosity carried by the rough energy brings 18 % for 10 C; it adds in squares to what is
    # there, and gel time's doubt to the margin's.
    rough = replace(RESIN, viscosity_second=None)
    found = made(resin=rough)
    plain, cold = outcome(found.case, Change()), outcome(found.case, Change(temperature_c=10.0))
    base = np.log(np.array(needed(found.case, Change())))
    half = np.hypot(base - base[0], 1.959964 * 0.18)
    gel = gel_time(rough, 10.0)
    down = np.hypot(half[2], 1.959964 * gel.relative_sd)
    up = np.hypot(half[1], 1.959964 * gel.relative_sd)
    assert cold.margin_low == pytest.approx(cold.margin * np.exp(-down), rel=1e-6)
    assert cold.margin_high == pytest.approx(cold.margin * np.exp(up), rel=1e-6)
    assert cold.margin_low / cold.margin < plain.margin_low / plain.margin


def test_only_the_run_itself_is_worked_out_again():
    found = made(feed_length_m=0.05)
    base = np.array(needed(found.case, Change()))
    assert_allclose(needed(found.case, Change(speed=2.0)), base / 2.0)
    assert_allclose(needed(found.case, Change(cure=2.0)), base)
    # x^2 + 2 a x: half the run with twice the resistance, and the run longer by a lag.
    a, run = found.case.fit.feed_length_m, found.case.length_m
    whole = run**2 + 2 * a * run
    half = needed(found.case, Change(length=0.5, feeds=2.0))[0] / base[0]
    assert half == pytest.approx(((run / 2) ** 2 + 4 * a * run / 2) / whole, rel=1e-6)
    lines = needed(found.case, Change(feeds=2.0))[0] / base[0]
    assert lines == pytest.approx((run**2 + 4 * a * run) / whole, rel=1e-6)
    late = needed(found.case, Change(lag_m=0.1))[0] / base[0]
    assert late == pytest.approx(((run + 0.1) ** 2 + 2 * a * (run + 0.1)) / whole, rel=1e-6)


def test_the_least_that_fills_ends_where_the_rule_does():
    found = made()
    sure = least_that_fills(found.case, lambda v: Change(speed=v), 1.0, 10.0, True)
    likely = least_that_fills(found.case, lambda v: Change(speed=v), 1.0, 10.0, False)
    assert outcome(found.case, Change(speed=sure)).room == pytest.approx(0.0, abs=1e-4)
    assert outcome(found.case, Change(speed=likely)).margin == pytest.approx(1.0, abs=1e-4)
    assert likely < sure
    assert least_that_fills(found.case, lambda v: Change(speed=v), 1.0, 1.5, True) is None
    assert least_that_fills(found.case, lambda v: Change(speed=v), 9.0, 10.0, True) == 9.0
