"""Fronts that bend away from their law, and fronts that do not."""

import numpy as np
import pytest

from analysis.fit.curvature import FALSE_ALARMS, P_LIMIT, Bend, find_bend
from analysis.fit.frame_selection import Readings
from analysis.fit.front_laws import edge_law, point_law
from analysis.fit.impulse import constant_impulse
from analysis.fit.permeability import fit_permeability
from analysis.forecast.panel_answer import answer
from analysis.panel.records import Resin
from tests.bench.bend_power import rates
from tests.made_up.curves import (
    D_M2_S,
    edge_front_mm,
    make_curve,
    make_front,
    make_panel,
    make_scale,
)
from vision.records import Tracked

TIMES = np.linspace(20.0, 1500.0, 30)
HALVES_S = 2200.0


def thickened_s(time_s):
    """Impulse in seconds of fresh resin, when viscosity doubles each `HALVES_S`."""
    growth = np.log(2) / HALVES_S
    return -np.expm1(-growth * np.asarray(time_s)) / growth


def tracked(time_s, front_mm, sd_mm=0.5):
    return Tracked(None, make_curve(time_s, front_mm, sd_mm), make_front(), make_scale())


def noise(sd=0.5, seed=4):
    return np.random.default_rng(seed).normal(0, sd, len(TIMES))


@pytest.mark.parametrize("feed_m", [0.0, 0.05])
def test_a_sound_front_is_not_called_bent(feed_m):
    bend = fit_permeability(
        make_panel(), tracked(TIMES, edge_front_mm(TIMES, feed_length_m=feed_m) + noise())
    ).bend
    assert not bend.clear
    assert bend.p_value > 0.1


def test_thickening_that_nobody_stated_is_found_with_its_size():
    x = edge_front_mm(thickened_s(TIMES)) + noise()
    fit = fit_permeability(make_panel(), tracked(TIMES, x))
    assert fit.bend.p_value < 0.001
    # The speed in x^2 falls as 2^(-t / HALVES_S), from the start of the run to its end.
    assert fit.bend.late_speed == pytest.approx(2 ** (-TIMES[-1] / HALVES_S), rel=0.1)


def test_thickening_that_is_stated_bends_nothing():
    x = edge_front_mm(thickened_s(TIMES)) + noise()
    resin = Resin(viscosity_pa_s=0.2, viscosity_growth_per_s=np.log(2) / HALVES_S)
    assert not fit_permeability(make_panel(resin=resin), tracked(TIMES, x)).bend.clear


def test_an_s_of_slow_start_and_slow_end_is_found():
    x = edge_front_mm(thickened_s(TIMES), feed_length_m=0.06) + noise(0.3)
    bend = fit_permeability(make_panel(), tracked(TIMES, x, 0.3)).bend
    assert bend.clear
    assert bend.late_speed < 0.8


def test_the_verdict_says_what_may_cause_the_bend():
    found = answer(tracked(TIMES, edge_front_mm(thickened_s(TIMES)) + noise()), make_panel())
    assert found.verdict == "unfair test"
    for word in ("p under 0.001", "thickened", "sagged", "ran empty", "viscosity_doubling_min"):
        assert word in found.reason
    assert f"lost {100 * (1 - found.fit.bend.late_speed):.0f} % of its speed" in found.reason


def test_a_point_fed_front_is_tested_too():
    law, impulse = point_law(0.006), constant_impulse(95_000.0, 0.2)
    for seconds, clear in ((TIMES, False), (thickened_s(TIMES), True)):
        r = law.front(2.0 * D_M2_S / 95_000.0 * 0.2 * impulse.at(seconds)) + noise(2e-4)
        readings = Readings(TIMES, r, np.full(30, 2e-4), np.ones(30, bool), ("",) * 30)
        assert find_bend(law, impulse, readings, False).clear is clear


def test_a_feed_hole_that_is_off_by_a_tenth_is_no_bend():
    true, said, impulse = point_law(0.006), point_law(0.0066), constant_impulse(95_000.0, 0.2)
    r = true.front(2.0 * D_M2_S / 95_000.0 * 0.2 * impulse.at(TIMES))
    readings = Readings(TIMES, r, np.full(30, 2e-4), np.ones(30, bool), ("",) * 30)
    bend = find_bend(said, impulse, readings, False)
    assert bend.late_speed == pytest.approx(1.0, abs=0.02)
    assert not bend.clear


def test_cloth_around_a_point_feed_is_allowed_more_than_along_an_edge():
    impulse, bent = constant_impulse(95_000.0, 0.2), np.linspace(0, 1, 30)
    seconds = TIMES * (1 - 0.07 * bent)  # the speed falls by about 14 %
    told = []
    for law, k in ((edge_law(), 1.0), (point_law(0.006), 2.0)):
        x = law.front(k * D_M2_S / 95_000.0 * 0.2 * impulse.at(seconds))
        readings = Readings(TIMES, x, np.full(30, 2e-4), np.ones(30, bool), ("",) * 30)
        told.append(find_bend(law, impulse, readings, False))
    assert told[0].late_speed == pytest.approx(told[1].late_speed, abs=0.05)
    assert told[0].clear
    assert not told[1].clear


def test_too_few_frames_cannot_tell():
    t = TIMES[:5]
    readings = Readings(t, edge_front_mm(t) / 1e3, np.full(5, 1e-3), np.ones(5, bool), ("",) * 5)
    assert find_bend(edge_law(), constant_impulse(95_000.0, 0.2), readings, True) is None


def test_the_limit_is_strict():
    assert Bend(0.5, P_LIMIT * 0.999).clear
    assert not Bend(0.5, P_LIMIT).clear


@pytest.mark.slow
@pytest.mark.parametrize("pen", [True, False])
def test_sound_panels_simulated_independently_are_seldom_called_bent(pen):
    # At a rate of FALSE_ALARMS two or more of 30 come in 4 % of such tests (binomial).
    assert FALSE_ALARMS == 0.01
    assert rates(30, 2, pen, "")[1] <= 1 / 30


@pytest.mark.slow
@pytest.mark.parametrize(
    ("trouble", "least"), [("thickening", 0.85), ("sagging vacuum", 0.6), ("stall", 0.85)]
)
def test_pen_marked_panels_in_trouble_are_warned_of(trouble, least):
    assert rates(20, 2, True, trouble)[1] >= least
