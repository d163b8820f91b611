"""The verdict on a forecast fill, and what makes a test unfair."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.fit.permeability import NoFit
from analysis.forecast.fill_time import FillForecast
from analysis.forecast.panel_answer import answer
from analysis.forecast.verdict import (
    GelLimits,
    in_doubt,
    judge_fill,
    margin_interval,
    room_to_gel,
    unfair_reasons,
    vacuum_drop,
)
from analysis.panel.records import Log, Resin, Vacuum
from tests.made_up.curves import (
    VISCOSITY_PA_S,
    edge_front_mm,
    make_curve,
    make_front,
    make_panel,
    make_tracked,
)
from vision.records import DrySpot, FrontSummary

LIMITS = GelLimits(gel_s=3600.0, working_s=2520.0, gel_sd=0.10)


def fill(minutes, high_minutes, low_minutes=10.0):
    return FillForecast(0.6, minutes * 60.0, low_minutes * 60.0, high_minutes * 60.0)


@pytest.mark.parametrize(
    ("minutes", "high", "verdict", "may_gel_first"),
    [
        (30.0, 41.9, "fills", False),
        (30.0, 42.1, "tight", False),
        (40.0, 48.0, "tight", False),
        (40.0, 61.0, "tight", True),  # the upper bound is past the gel time
        (49.0, 53.0, "tight", True),  # below it, but gel time has its own doubt: from 49 min
        (50.0, np.inf, "tight", True),
        (60.1, 70.0, "gels first", False),
        (np.inf, np.inf, "gels first", False),
    ],
)
def test_verdict_against_working_and_gel_time(minutes, high, verdict, may_gel_first):
    found = judge_fill(fill(minutes, high), LIMITS)
    assert (found.verdict, found.may_gel_first) == (verdict, may_gel_first)
    assert found.reason


def test_what_may_gel_first_says_so_first():
    found = judge_fill(fill(40.0, 61.0), LIMITS)
    assert found.headline == "MAY GEL FIRST (TIGHT)"
    assert found.reason.startswith("it may gel first: 600 mm needs 40 min (95 %: up to 61 min)")
    assert judge_fill(fill(40.0, 48.0), LIMITS).headline == "TIGHT"


def test_doubts_of_fill_and_gel_add_in_squares():
    # 40 min against gel at 60: ln 1.5 is 0.405; gel takes 0.196, which leaves 0.355 to the fill.
    left = np.sqrt(np.log(1.5) ** 2 - (1.959964 * 0.10) ** 2)
    inside, outside = (40.0 * np.exp(left * k) for k in (0.999, 1.001))
    assert not judge_fill(fill(40.0, inside), LIMITS).may_gel_first
    assert judge_fill(fill(40.0, outside), LIMITS).may_gel_first


def test_a_vague_gel_time_is_no_ground_for_fills():
    vague = GelLimits(gel_s=3600.0, working_s=2520.0, gel_sd=0.40)
    found = judge_fill(fill(30.0, 35.0), vague)
    assert (found.verdict, found.may_gel_first) == ("tight", True)
    assert "95 %: from 27 min" in found.reason  # 60 min times exp(-1.96 x 0.4), rounded down


def test_bounds_are_rounded_to_the_safe_side():
    limits = GelLimits(gel_s=3659.0, working_s=2579.0)
    reason = judge_fill(fill(30.0, 36.02), limits).reason
    assert reason == "600 mm fills in 30 min (95 %: at most 37 min); working time is 42 min"


def test_room_is_what_the_fill_may_still_slow_down():
    room = room_to_gel(1800.0, 2000.0, LIMITS)
    assert room == pytest.approx(np.log(2520.0 / 2000.0))
    assert room_to_gel(1800.0, 2600.0, LIMITS) < 0
    assert room_to_gel(1800.0, np.inf, LIMITS) == -np.inf


def reasons(panel=None, scale=None, **front):
    times = np.linspace(20.0, 1500.0, 10)
    tracked = make_tracked(make_curve(times, np.sqrt(times)), make_front(**front), scale)
    return unfair_reasons(panel or make_panel(), tracked, NoFit(""))


def test_an_even_run_is_fair():
    assert reasons() == []


def test_race_tracking_that_leaves_few_even_lanes_is_unfair():
    # The lead itself is within bounds, but the middle is fed from the sides.
    assert reasons(race_tracking_mm=60.0, clean_lanes_mm=((80.0, 160.0),)) == []
    found = reasons(race_tracking_mm=60.0, clean_lanes_mm=((80.0, 140.0),))
    assert "only 60 of 200 mm of the width ran evenly" in found[0]
    assert "raced 90 mm ahead" in reasons(race_tracking_mm=90.0)[0]


def test_dry_area_counts_where_only_the_scale_knows_the_width():
    # 550 mm x 200 mm reached: 2 % are 2200 mm2.
    spots = (DrySpot(300.0, 100.0, 2300.0),)
    assert "23 cm2 stayed dry" in reasons(make_panel(width_m=None), dry_spots=spots)[0]
    assert reasons(dry_spots=(DrySpot(300.0, 100.0, 2100.0),)) == []


def test_a_vacuum_that_falls_by_more_than_a_tenth_is_unfair():
    def log(end_pa):
        return Log(np.array([0.0, 1500.0]), np.array([95_000.0, end_pa]))

    held = make_panel(vacuum=Vacuum(95_000.0, log=log(86_000.0)))
    fell = make_panel(vacuum=Vacuum(95_000.0, log=log(85_000.0)))
    assert reasons(held) == []
    assert "sagged by 11 %" in reasons(fell)[0]
    typed = make_panel(vacuum=Vacuum(95_000.0, typed=log(85_000.0)))
    assert "sagged by 11 %" in reasons(typed)[0]


@pytest.mark.parametrize(
    ("factor", "verdict"), [(1.0, "fills"), (60.0, "cannot decide"), (1e-4, "cannot decide")]
)
def test_a_permeability_no_stack_has_gives_no_verdict(factor, verdict):
    # A run 60 times too fast, as when minutes are read as seconds.
    time_s = np.linspace(60, 1500, 30)
    panel = make_panel(resin=Resin(viscosity_pa_s=VISCOSITY_PA_S * factor, gel_time_s=1e9))
    found = answer(make_tracked(make_curve(time_s, edge_front_mm(time_s))), panel)
    assert found.verdict == verdict
    if factor != 1.0:
        assert "the permeability comes out at" in found.reason
        sure = replace(panel, stack=replace(panel.stack, k_confirmed=True))
        assert answer(make_tracked(make_curve(time_s, edge_front_mm(time_s))), sure).verdict in (
            "fills",
            "tight",
        )


def test_bounds_of_a_fill_that_gels_first_are_rounded_to_the_safe_side():
    limits = GelLimits(gel_s=3659.0, working_s=2520.0)
    reason = judge_fill(FillForecast(0.6, 5280.0, 4499.0, 6200.0), limits).reason
    assert "600 mm needs 88 min (95 %: 74 min or more)" in reason
    assert "gels at 60 min" in reason


def test_doubts_of_the_front_are_all_named():
    front = FrontSummary(True, "", 20, 12, doubts=("sun", "shadow"))
    assert "may be wrong: sun; shadow. Look at the photos" in in_doubt(front)
    shown = in_doubt(replace(front, unexplained_picture="where.png"))
    assert "sun; shadow. where.png in the results shows where. Look at the photos" in shown


def test_the_margin_of_a_fill_that_may_never_end():
    never = FillForecast(0.6, np.inf, 1000.0, np.inf)
    assert margin_interval(never, 2520.0, 0.1) == pytest.approx(
        (0.0, 0.0, 2.52 * np.exp(0.1959964))
    )
    assert margin_interval(never, -10.0, 0.1) == (0.0, 0.0, 0.0)
    found = margin_interval(fill(30.0, 40.0, 25.0), 2520.0, 0.1)
    down, up = (np.hypot(0.1959964, np.log(ratio)) for ratio in (40 / 30, 30 / 25))
    assert found == pytest.approx((1.4, 1.4 * np.exp(-down), 1.4 * np.exp(up)))


def test_what_the_vacuum_does_after_the_front_or_before_its_best_does_not_count():
    noise = np.random.default_rng(3).normal(0, 0.3, 30)
    t = np.linspace(20.0, 1500.0, 30)
    at = np.array([0.0, 300.0, 900.0, 1500.0, 2400.0])
    drive = np.array([80e3, 95e3, 92e3, 94e3, 20e3])
    panel = make_panel(vacuum=Vacuum(95e3, log=Log(at, drive)))
    found = answer(make_tracked(make_curve(t, edge_front_mm(t) + noise, 0.3)), panel)
    # From the best, 95, to the worst after it while the front ran, 92.
    assert vacuum_drop(panel, found.fit) == pytest.approx(1.0 - 92.0 / 95.0)


def test_a_front_that_follows_no_law_is_no_fair_test():
    # A camera clock that was set on by an hour half-way: the fit is 60 mm off on either side.
    noise = np.random.default_rng(3).normal(0, 0.3, 30)
    t = np.linspace(20.0, 1500.0, 30)
    x = edge_front_mm(t) + noise
    sound = answer(make_tracked(make_curve(t, x, 0.3)), make_panel())
    jumped = answer(make_tracked(make_curve(t + 3600.0 * (t > 700.0), x, 0.3)), make_panel())
    assert sound.verdict != "unfair test"
    assert sound.fit.misfit_m < 0.001
    assert jumped.verdict == "unfair test"
    assert "no steady flow" in jumped.reason or "lost" in jumped.reason


def test_frames_left_out_as_off_the_fit_count_in_the_misfit():
    t = np.linspace(20.0, 1500.0, 30)
    x = edge_front_mm(t)
    x[[7, 15]] += 40.0
    fit = answer(make_tracked(make_curve(t, x, 0.3)), make_panel()).fit
    assert not fit.used[[7, 15]].any()
    assert fit.misfit_m == pytest.approx(np.sqrt(2 * 0.04**2 / len(t)), rel=0.1)
