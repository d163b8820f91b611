"""When a feed gave resin, and what the fit makes of it, against fillings by finite elements."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from analysis.infusion.beside.openings import find_openings
from analysis.infusion.learn.fit_plan import fit_plan
from analysis.infusion.learn.learnt import EARLY, LATE, SHUT, UNSEEN, WORKS
from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.part.grid.canvas import lay_canvas
from sample_frames._part_flow import fill
from sample_frames._part_world import Clock, Inlet, Patch, World
from tests.made_up.part_seen import part_seen
from tests.made_up.parts.cases import CLOTH, LEFT, PLATE, RIGHT_VENT, box, line
from tests.made_up.parts.cut_offs import job_of
from tests.made_up.parts.scored import at_places

FEED_X, PASSED_S = 220.0, 350.0
"""The front of the left line alone is at the second one by about then; full in 1,630 s."""
WAITS = -1.0
NEVER = 1e6


def world(opens_s, factor=1.0, mu_pa_s=0.6, log_sd=0.05, point=False, resists_mm=0.0):
    place = line((FEED_X, 160)) if point else line((FEED_X, 10), (FEED_X, 310))
    second = Inlet(
        "second line",
        place,
        radius_mm=8.0 if point else 0.0,
        opens_at_s=max(opens_s, 0.0),
        opens_when_wet=opens_s == WAITS,
        resistance_mm=resists_mm,
    )
    beyond = replace(CLOTH, k1_m2=factor * CLOTH.k1_m2, k2_m2=factor * CLOTH.k2_m2)
    patches = (Patch("beyond", box(FEED_X, 0, 480, 320), beyond),) if factor != 1.0 else ()
    clock = Clock(95_000.0, mu_pa_s)
    return World(
        PLATE, CLOTH, (LEFT, second), (RIGHT_VENT,), patches=patches, clock=clock, log_sd=log_sd
    )


@cache
def job(opens_s, point=False):
    plan = job_of(world(opens_s, point=point))
    return replace(plan, plan=replace(plan.plan, cells=48))


@cache
def filled(*args):
    return fill(world(*args), step_mm=10.0, px_mm=5.0, seed=3)


def look(planned, filling, share):
    links = lay_canvas(planned.plan).links
    arrival = at_places(filling, *links.centre_mm[: links.cells].T)
    noise = 0.006 * filling.fill_s
    seen = part_seen(links, arrival, noise_s=noise, sd_s=noise, last_s=share * filling.fill_s)
    return bring_on_plan(seen, links)


# When the plan opens the second line, what was noted, when it truly opened, when that was seen.
OTHERWISE = [
    (900.0, None, 600.0, 0.8, EARLY),
    (900.0, None, 150.0, 0.8, EARLY),
    (450.0, None, 900.0, 0.85, LATE),
    (WAITS, 450.0, 900.0, 0.85, LATE),
    (WAITS, None, 900.0, 0.85, LATE),
    (450.0, None, NEVER, 0.5, SHUT),
    (WAITS, 450.0, NEVER, 0.5, SHUT),
]


@pytest.mark.parametrize(("planned_s", "noted_s", "opened_s", "share", "state"), OTHERWISE)
def test_a_feed_that_opened_otherwise_is_told_and_the_fit_goes_by_what_was_seen(
    planned_s, noted_s, opened_s, share, state
):
    plan, filling = job(planned_s), filled(opened_s)
    on, noted = look(plan, filling, share), [None, noted_s]
    (found,) = find_openings(plan, on, noted)
    assert (found.name, found.state, found.noted) == ("second line", state, noted_s is not None)
    if planned_s != WAITS or noted_s is not None:
        assert found.said_s == (planned_s if noted_s is None else noted_s)
    learnt = fit_plan(plan, on, noted, openings=(found,))
    if state != SHUT:
        assert found.low_s < opened_s < found.high_s
        (again,) = learnt.openings
        assert again.since_s == pytest.approx(opened_s, rel=0.03)
        assert again.low_s < opened_s < again.high_s
    assert learnt.relied_on
    assert any("second line is taken as" in note for note in learnt.notes)
    assert learnt.values[0].value == pytest.approx(CLOTH.k1_m2, rel=0.05)
    assert learnt.values[0].low < CLOTH.k1_m2 < learnt.values[0].high
    assert learnt.fill_time_s == pytest.approx(filling.fill_s, rel=0.05)
    assert learnt.fill_low_s < filling.fill_s < learnt.fill_high_s


def test_by_the_plan_alone_the_same_forecast_is_far_off():
    plan, filling = job(450.0), filled(900.0)
    learnt = fit_plan(plan, look(plan, filling, 0.85))
    assert abs(learnt.fill_time_s / filling.fill_s - 1.0) > 0.1


def test_a_feed_that_is_shut_so_far_may_yet_open_and_the_forecast_holds_both():
    plan, filling = job(450.0), filled(900.0)
    on = look(plan, filling, 0.5)
    assert on.last_s < 900.0
    (found,) = find_openings(plan, on)
    assert (found.state, found.since_s) == (SHUT, np.inf)
    learnt = fit_plan(plan, on, openings=(found,))
    assert learnt.fill_low_s < filling.fill_s < learnt.fill_time_s
    assert learnt.fill_low_s < filled(NEVER).fill_s < learnt.fill_high_s


GOOD = [
    (450.0, (450.0,), 1.01),
    (WAITS, (WAITS,), 0.5),
    (450.0, (450.0, 1.0, 0.45), 0.8),
    (450.0, (450.0, 2.0), 0.8),
    (450.0, (450.0, 0.5), 0.8),
    (WAITS, (WAITS, 2.0), 0.8),
    (WAITS, (WAITS, 0.5), 0.8),
    (450.0, (450.0, 1.0, 0.6, 0.15), 0.8),
    (450.0, (450.0, 1.0, 0.6, 0.05, False, 150.0), 0.8),
]


@pytest.mark.parametrize(("planned_s", "true", "share"), GOOD)
def test_other_cloth_resin_or_a_feed_that_resists_is_not_taken_for_another_opening(
    planned_s, true, share
):
    plan = job(planned_s)
    found = find_openings(plan, look(plan, filled(*true), share))
    assert [one.state for one in found if one.other] == []


def test_a_feed_that_opened_when_it_was_to_is_seen_at_work():
    plan = job(450.0)
    (found,) = find_openings(plan, look(plan, filled(450.0), 0.8))
    assert (found.state, found.at_work, found.taken_s) == (WORKS, True, 450.0)


def test_what_does_not_show_yet_is_no_proof_and_the_forecast_holds_that_it_is_shut():
    plan, filling = job(WAITS, point=True), filled(WAITS, 1.0, 0.6, 0.05, True)
    on = look(plan, filling, 0.36)
    (found,) = find_openings(plan, on)
    assert (found.state, found.at_work) == (UNSEEN, False)
    assert found.passed_s < on.last_s
    learnt = fit_plan(plan, on, openings=(found,))
    shut = filled(NEVER, 1.0, 0.6, 0.05, True)
    assert learnt.fill_low_s < filling.fill_s < learnt.fill_high_s
    assert shut.fill_s < learnt.fill_high_s
    assert any("cannot be seen" in note for note in learnt.notes)
    # One that was noted is believed, and that is said.
    noted = replace(found, noted=True)
    believed = fit_plan(plan, on, [None, found.said_s], openings=(noted,))
    assert believed.fill_high_s < learnt.fill_high_s
    assert any("rest on the note" in note for note in believed.notes)


def test_what_was_seen_wet_all_over_is_not_said_to_fill_later_with_a_feed_shut():
    plan, filling = job(WAITS, point=True), filled(WAITS, 1.0, 0.6, 0.05, True)
    (found,) = find_openings(plan, look(plan, filling, 0.36))
    on = look(plan, filling, 1.1)
    assert on.wet.all()
    learnt = fit_plan(plan, on, openings=(found,))
    assert learnt.fill_high_s < on.last_s
    assert any("cannot be seen: values rest on the plan" in note for note in learnt.notes)
    assert not any("range of the fill time" in note for note in learnt.notes)


def test_a_few_seconds_of_an_opening_that_nobody_noted_are_not_taken_for_a_feed_that_resists():
    plan, filling = job(WAITS, point=True), filled(WAITS, 1.0, 0.6, 0.05, True)
    on = look(plan, filling, 0.5)
    learnt = fit_plan(plan, on, openings=find_openings(plan, on))
    assert learnt.fill_time_s == pytest.approx(filling.fill_s, rel=0.03)
    assert learnt.fill_low_s < filling.fill_s < learnt.fill_high_s


def test_a_feed_whose_time_has_not_come_or_that_the_front_has_not_reached_is_passed_over():
    late, waits = job(900.0), job(WAITS)
    assert find_openings(late, look(late, filled(900.0), 0.5)) == ()
    assert find_openings(waits, look(waits, filled(WAITS), 0.2)) == ()


def test_a_feed_that_is_dry_long_after_it_was_opened_is_seen_to_be_shut():
    plan = job(60.0)
    on = look(plan, filled(NEVER), 0.15)
    assert on.last_s < PASSED_S
    (found,) = find_openings(plan, on)
    assert found.state == SHUT
    assert np.isinf(found.passed_s)
