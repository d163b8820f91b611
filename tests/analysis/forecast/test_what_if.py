"""One what-if against independent solutions."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from analysis.forecast.what_if import Change, outcome
from analysis.panel.records import Stack, Vacuum
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
