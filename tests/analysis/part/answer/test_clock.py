"""From impulse to time."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from analysis.fit.impulse import constant_impulse, logged_impulse
from analysis.panel.records import Log
from analysis.part.answer.clock import times_of
from vision.common.rounding import minutes


def test_quick_times_are_the_clock_s_own():
    theta = np.append(np.linspace(0, 6e8, 400) ** 1.0, np.inf)
    sagging = Log(np.array([0.0, 300.0, 301.0, 900.0]), np.array([9e4, 9.5e4, 2e4, 8e4]))
    shut = Log(np.array([0.0, 300.0, 400.0, 500.0]), np.array([9e4, 0.0, 0.0, 8e4]))
    for clock in (
        constant_impulse(95_000.0, 0.2),
        constant_impulse(95_000.0, 0.2, 4e-4),
        constant_impulse(95_000.0, 0.2, 2e-3),
        logged_impulse(sagging, 0.2, 1e-4),
        logged_impulse(shut, 0.2),
    ):
        assert_allclose(
            times_of(clock, theta)[:-1], clock.time_of(theta[:-1]), rtol=1e-6, atol=1e-6
        )
        assert times_of(clock, theta)[-1] == np.inf


def test_minutes_are_said_as_a_shop_says_them():
    assert minutes(np.inf) == "never"
    assert minutes(6000.0) == "100 min"
