"""A plan that is not what lies on the mould must not give calm wrong values."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.learn.fit_plan import fit_plan
from analysis.infusion.learn.learnt import LearntValue, Unlike
from analysis.infusion.learn.taken_back import (
    taken_back,
    turned_taken_back,
    unlike_note,
    unlike_share,
    wider,
)
from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.infusion.seen.turned import how_cloth_lies
from analysis.part.flow.filling import fill_plan
from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.plan import Gap, PartFeed, PartPlan, PartStack, Place
from tests.made_up.learnt_parts import PLATE, filled, job_of, looked_at
from tests.made_up.part_seen import part_seen


@pytest.fixture(scope="module")
def job():
    return job_of(PLATE)


@pytest.fixture(scope="module")
def canvas(job):
    return lay_canvas(job.plan)


def seen_of(job, plan, share):
    """What is seen while a part fills as another plan says; and its true fill time."""
    truth = filled(job, plan)
    return looked_at(truth, share, noise_s=3.0, sd_s=5.0), truth[2]


def untrue(found):
    """Values that are told and whose interval misses the plan, which is true here."""
    return [v.name for v in found.values if v.told and not v.low <= v.planned <= v.high]


def test_a_feed_that_is_shut_gives_no_calm_wrong_value(job):
    shut = replace(job.plan, feeds=job.plan.feeds[:1])
    on, full = seen_of(job, shut, 0.6)
    found = fit_plan(job, on)
    assert untrue(found) == []
    assert found.fill_low_s <= full <= found.fill_high_s
    assert any("a feed that is shut" in note for note in found.notes)


def test_a_gap_that_is_not_in_the_plan_gives_no_calm_wrong_value(job):
    line = np.array([[0.0, 300.0], [600.0, 300.0]])
    plan = replace(job.plan, feeds=job.plan.feeds[:1])
    raced = replace(plan, gaps=(*plan.gaps, Gap(line, 2.0, 2e-3**2 / 12, 3.0)))
    on, full = seen_of(job, raced, 0.6)
    found = fit_plan(replace(job, plan=plan), on)
    assert untrue(found) == []
    assert found.fill_low_s <= full <= found.fill_high_s
    assert any("a gap that is not in the plan" in note for note in found.notes)


def test_a_sound_run_takes_nothing_back(job):
    on, _ = seen_of(job, job.plan, 0.9)
    found = fit_plan(job, on)
    assert found.values[0].told
    assert not any("does not explain" in text for text in (*found.notes, found.values[0].why))


@pytest.fixture(scope="module")
def all_told(job):
    plan = job.plan
    names = [("zone", "base"), ("zone", "far patch"), ("gap", "gap"), ("feed", "a"), ("feed", "b")]
    assert len(names) == len(plan.stacks) + len(plan.gaps) + len(plan.feeds)
    return [LearntValue(kind, name, 1.0, 2.0, 1.9, 2.1, "m2", True) for kind, name in names]


def test_a_small_place_takes_back_its_own_zone_and_what_lies_beside_it(job, canvas, all_told):
    on, _ = seen_of(job, job.plan, 2.0)
    patch = Unlike(560.0, 40.0, 900.0, 200.0)
    assert unlike_share([patch], on) == pytest.approx(900 / (600 * 300), rel=0.02)
    out = taken_back(job.plan, all_told, [patch], on, canvas.stack)
    assert [v.told for v in out] == [True, False, True, True, True]
    assert (out[1].value, out[1].low, out[1].high) == pytest.approx((1.0, 0.95, 2.1))
    assert "x 560, y 40 mm" in out[1].why
    assert unlike_note([patch], on) == ()


@pytest.mark.parametrize(("area_mm2", "base_told"), [(900.0, True), (6000.0, False)])
def test_a_place_too_small_to_bend_k_of_its_zone_takes_back_the_gap_beside_it_only(
    job, canvas, all_told, area_mm2, base_told
):
    on, _ = seen_of(job, job.plan, 2.0)
    patch = [Unlike(300.0, 15.0, area_mm2, -60.0)]
    out = taken_back(job.plan, all_told, patch, on, canvas.stack)
    assert [v.told for v in out] == [base_told, True, False, True, True]


def test_much_that_is_unlike_takes_all_back_and_widens_the_forecast(job, canvas, all_told):
    on, full = seen_of(job, job.plan, 0.5)
    large = [Unlike(100.0, 100.0, 40_000.0, -0.3 * on.last_s)]
    assert not any(v.told for v in taken_back(job.plan, all_told, large, on, canvas.stack))
    said, low, high = wider(full, 0.95 * full, 1.05 * full, large, on)
    assert said == full
    assert low == pytest.approx(on.last_s + (full - on.last_s) / 1.3)
    assert high == pytest.approx(1.05 * full * 1.3)
    assert wider(full, 0.9 * full, 1.1 * full, [], on) == (full, 0.9 * full, 1.1 * full)


@pytest.fixture
def uneven():
    outline = np.array([[0.0, 0.0], [300.0, 0.0], [300.0, 200.0], [0.0, 200.0]])
    return PartPlan(outline, (), PartStack(3e-10, 1e-10, 0.0, 0.5, 3.0))


@pytest.mark.parametrize(("factor", "asked"), [(1 / 3, True), (3.0, True), (0.9, False)])
def test_cloth_that_may_lie_turned_has_both_readings_and_no_value(uneven, factor, asked):
    value = LearntValue("zone", "the stack", 3e-10, factor * 3e-10, 2e-10, 4e-10, "m2", True)
    (found,) = turned_taken_back(uneven, [value], ["not told"])
    assert found.told is not asked
    if asked:
        # By the definition of turned: what runs along one axis has the other's K.
        assert "K1 3.00e-10 m2 if it does" in found.why
        assert f"{factor * 3e-10:.2e} m2 if it lies as planned" in found.why
        assert found.value == value.planned
    assert turned_taken_back(uneven, [value], ["as planned"]) == (value,)


def test_cloth_that_is_turned_for_sure_is_said_to_be_exchanged(uneven):
    value = LearntValue("zone", "the stack", 3e-10, 2.9e-10, 2.7e-10, 3.1e-10, "m2", True)
    (found,) = turned_taken_back(uneven, [value], ["turned"])
    assert not found.told
    assert found.why.startswith("K along and across look exchanged")


@pytest.mark.parametrize(
    ("feed", "angle", "lies"),
    [("point", 0.0, "as planned"), ("point", 90.0, "turned"), ("line", 90.0, "not told")],
)
def test_how_cloth_lies_is_told_where_resin_ran_both_ways(uneven, feed, angle, lies):
    place = Place(np.array([[150.0, 100.0]]), 8.0)
    place = place if feed == "point" else Place(np.array([[0.0, 0.0], [0.0, 200.0]]))
    plan = replace(uneven, feeds=(PartFeed(place, name="feed"),), cells=40)
    true = replace(plan, stack=replace(plan.stack, angle_deg=angle))
    planned, seen = fill_plan(plan), fill_plan(true)
    links = planned.links
    on = bring_on_plan(part_seen(links, 1e-3 * seen.arrival[: links.cells]), links)
    stack = np.zeros(links.cells, int)
    assert how_cloth_lies(plan, on, stack, 1e-3 * planned.arrival[: links.cells]) == (lies,)
