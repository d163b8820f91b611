"""A feed opened after the front had passed it, against fillings by finite elements."""

from dataclasses import replace
from functools import cache

import pytest

from analysis.infusion.beside.opened_early import find_opened_early
from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.part.grid.canvas import lay_canvas
from sample_frames._part_flow import fill
from sample_frames._part_world import Clock, Inlet, Patch, World
from tests.made_up.part_seen import part_seen
from tests.made_up.parts.cases import CLOTH, LEFT, PLATE, RIGHT_VENT, box, line
from tests.made_up.parts.cut_offs import job_of
from tests.made_up.parts.scored import at_places

DUE_S, OPENED_S, FEED_X = 900.0, 600.0, 220.0


def world(opens_s, factor=1.0, mu_pa_s=0.6, log_sd=0.05):
    second = Inlet("second line", line((FEED_X, 10), (FEED_X, 310)), opens_at_s=opens_s)
    beyond = replace(CLOTH, k1_m2=factor * CLOTH.k1_m2, k2_m2=factor * CLOTH.k2_m2)
    patches = (Patch("beyond", box(FEED_X, 0, 480, 320), beyond),) if factor != 1.0 else ()
    return World(
        PLATE,
        CLOTH,
        (LEFT, second),
        (RIGHT_VENT,),
        patches=patches,
        clock=Clock(95_000.0, mu_pa_s),
        log_sd=log_sd,
    )


@cache
def job():
    plan = job_of(world(DUE_S))
    return replace(plan, plan=replace(plan.plan, cells=40))


def look(true, share):
    links = lay_canvas(job().plan).links
    filled = fill(true, step_mm=10.0, px_mm=5.0, seed=3)
    arrival = at_places(filled, *links.centre_mm[: links.cells].T)
    noise = 0.006 * filled.fill_s
    seen = part_seen(links, arrival, noise_s=noise, sd_s=noise, last_s=share * filled.fill_s)
    return bring_on_plan(seen, links)


@pytest.mark.parametrize(("share", "mu_pa_s"), [(0.8, 0.6), (1.01, 0.7)])
def test_a_feed_opened_after_the_front_passed_it_tells_since_when(share, mu_pa_s):
    on = look(world(OPENED_S, mu_pa_s=mu_pa_s), share)
    (found,) = find_opened_early(job(), on)
    assert (found.name, found.planned_s) == ("second line", DUE_S)
    assert found.passed_s < OPENED_S
    assert found.since_s == pytest.approx(OPENED_S, abs=60.0)
    assert found.low_s < OPENED_S < found.high_s < DUE_S
    # What was noted is believed.
    assert find_opened_early(job(), on, [None, OPENED_S]) == ()


@pytest.mark.parametrize(
    "true",
    [
        world(DUE_S),
        world(DUE_S, mu_pa_s=0.45),
        world(DUE_S, factor=2.0),
        world(DUE_S, factor=4.0),
        world(1e6),
    ],
    ids=["as planned", "warmer resin", "looser beyond", "much looser beyond", "never opened"],
)
def test_other_reasons_for_a_quick_front_are_not_taken_for_it(true):
    assert find_opened_early(job(), look(true, 0.8)) == ()
