"""What a part teaches, against fillings whose values are known.

The truth comes from the plan's own solver with other values, so these tests check the search, its
intervals and what it refuses; tests/bench/part_learning.py checks it against another solver.
"""

from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.learn.coarse_model import (
    NEAR_ENOUGH,
    Anchor,
    CoarseFillings,
    CoarseModel,
    bring_near,
    fill_at,
)
from analysis.infusion.learn.fit_plan import fit_plan
from analysis.infusion.learn.knobs import drive_sd, knobs_of, number_of
from analysis.part.answer.clock import times_of
from analysis.part.flow.filling import fill_plan
from analysis.part.flow.front_level import bring_front
from analysis.part.plan.plan import Gap, PartFeed, Place
from tests.made_up.learnt_parts import COVER, filled, job_of, looked_at
from vision.errors import WetlineError

STACK, DOUBLER, END, GAP, FEED = range(5)
TRUE = np.array([-0.25, 0.3, 0.2, 0.25, 0.8])


@pytest.fixture(scope="module")
def job():
    return job_of(COVER)


@pytest.fixture(scope="module")
def truth(job):
    return filled(job, at=TRUE)


def learnt_at(job, truth, share, **more):
    return fit_plan(job, looked_at(truth, share, **more))


@pytest.fixture(scope="module")
def whole(job, truth):
    return learnt_at(job, truth, 1.01)


@pytest.fixture(scope="module")
def half(job, truth):
    return learnt_at(job, truth, 0.5)


@pytest.mark.parametrize("which", [STACK, DOUBLER, END, GAP, FEED])
def test_every_value_comes_back_inside_its_interval(job, whole, which):
    value, true = whole.values[which], number_of(job.plan, knobs_of(job.plan)[which], TRUE[which])
    # The far end wets last, so that little hangs on its K: it is not told.
    assert value.told is (which != END)
    assert value.low < true[0] < value.high
    assert value.unit == true[1]


@pytest.mark.parametrize("which", [STACK, DOUBLER])
def test_k_of_each_zone_is_within_five_per_cent(job, whole, which):
    true = number_of(job.plan, knobs_of(job.plan)[which], TRUE[which])[0]
    assert whole.values[which].value == pytest.approx(true, rel=0.05)


def test_the_plan_is_corrected_by_what_was_told(whole):
    assert whole.plan.stack.k1_m2 == pytest.approx(whole.values[STACK].value)
    assert whole.plan.zones[0].stack.k2_m2 == pytest.approx(whole.values[DOUBLER].value)
    assert whole.plan.gaps[0].width_mm == pytest.approx(whole.values[GAP].value)
    assert whole.plan.feeds[0].resistance_mm == pytest.approx(whole.values[FEED].value)
    assert whole.explains
    assert any("viscosity" in note for note in whole.notes)


def test_half_way_the_fill_time_is_forecast_within_five_per_cent(half, job, truth):
    full = truth[2]
    assert half.fill_time_s == pytest.approx(full, rel=0.05)
    assert half.fill_low_s < full < half.fill_high_s
    assert abs(filled(job)[2] / full - 1) > 0.15  # the plan's own word


def test_what_the_resin_has_not_reached_moves_with_the_others_and_is_not_told(job, half):
    end = half.values[END]
    assert not end.told
    assert end.why == "no resin has been seen in it yet: moved with the others"
    others = [value.value / value.planned for value in half.values if value.kind == "zone"][:2]
    assert min(*others, 1.0) < end.value / end.planned < max(others)
    true = number_of(job.plan, knobs_of(job.plan)[END], TRUE[END])[0]
    assert end.low < true < end.high
    assert end.high / end.low > 1.5
    assert half.plan.zones[1].stack.k1_m2 == end.planned  # the next plan keeps what was not told


@pytest.mark.parametrize(("deep_mm", "why"), [(10.0, True), (90.0, False)])
def test_a_zone_that_resin_has_only_just_come_into_moves_with_the_others(job, truth, deep_mm, why):
    links, arrival, full = truth
    x, y = links.centre_mm[: links.cells].T
    column = arrival[(np.abs(y - 200) < 60) & (np.abs(x - 780 - deep_mm) < 10)]
    end = learnt_at(job, truth, float(np.median(column)) / full).values[END]
    just = "resin has only just come into it: moved with the others"
    assert (end.why == just) is why
    true = number_of(job.plan, knobs_of(job.plan)[END], TRUE[END])[0]
    assert end.low < true < end.high
    if why:
        assert not end.told
        assert 0.75 < end.value / end.planned < 1.35  # between the stack's and the doubler's


def test_a_factor_that_all_zones_share_is_forecast_for_those_still_dry(job):
    shared = -0.35
    off = filled(job, at=np.array([shared, shared, shared, 0.0, 0.0]))
    found = learnt_at(job, off, 0.45)
    end = found.values[END]
    assert not end.told
    assert np.log(end.value / end.planned) == pytest.approx(shared, abs=0.07)
    assert end.low < end.planned * np.exp(shared) < end.high
    assert found.fill_time_s == pytest.approx(off[2], rel=0.03)


def test_k_holds_the_doubt_of_viscosity_and_vacuum_but_what_is_seen_does_not(job, truth, whole):
    sure = replace(
        job,
        conditions=replace(job.conditions, own_viscosity_sd=0.0),
        vacuum=replace(job.vacuum, pressure_sd=0.0),
    )
    stated, exact = whole, learnt_at(sure, truth, 1.01)
    assert drive_sd(sure) == 0.0
    for which, power in ((STACK, 1.0), (GAP, 1 / 3), (FEED, 0.0)):
        value, alone = stated.values[which], exact.values[which]
        assert (value.seen_low, value.seen_high) == pytest.approx((alone.low, alone.high))
        if power == 0.0:
            assert (value.low, value.high) == (value.seen_low, value.seen_high)
            continue
        # Independent doubts add in squares (JCGM 100:2008, 5.1.2).
        both = np.hypot(np.log(alone.high / alone.low) / 2, 1.96 * power * np.hypot(0.05, 0.02))
        assert np.log(value.high / value.low) / 2 == pytest.approx(both)


def test_arrival_is_as_seen_where_wet_and_later_than_the_last_look_where_not(half, truth):
    _, arrival, full = truth
    wet = arrival < 0.5 * full
    assert np.abs(half.arrival_s[wet] - arrival[wet]).max() < 60
    assert (half.arrival_s[arrival > 0.52 * full] >= 0.5 * full - 1).all()


def test_what_was_hidden_is_not_told_and_no_feed_is_said_to_have_fed_nothing(job, truth):
    def hidden(x, y):
        return ((x > 440) & (x < 650) & (y > 70) & (y < 330)) | (x < 30)

    found = learnt_at(job, truth, 1.01, hidden=hidden)
    assert not found.values[DOUBLER].told
    assert "hidden" in found.values[DOUBLER].why
    feed = found.values[FEED]
    assert not feed.told
    assert feed.why == "the cloth that would show it was not seen, as under the feed's own hose"


def test_a_gap_that_is_not_in_the_plan_is_told_as_unlike_it(job):
    line = np.array([[100.0, 0.0], [850.0, 0.0]])
    raced = replace(job.plan, gaps=(*job.plan.gaps, Gap(line, 2.5, 2.5e-3**2 / 12, 3.0)))
    found = learnt_at(job, filled(job, raced), 0.6)
    assert not found.explains
    assert found.relied_on is not any("not to be relied on" in text for text in found.notes)
    # Along the raced wall the resin came earlier than any values of the plan explain.
    assert any(one.late_s < 0 and one.y_mm < 120 for one in found.unlike)


def test_little_seen_teaches_nothing(job, truth):
    with pytest.raises(WetlineError, match="too little of the part"):
        learnt_at(job, truth, 0.9, hidden=lambda x, y: x > 5)


def test_a_second_look_starts_from_the_first(job, truth, half):
    again = fit_plan(job, looked_at(truth, 0.55), start=half)
    assert again.values[STACK].value == pytest.approx(half.values[STACK].value, rel=0.04)
    assert again.fill_time_s == pytest.approx(truth[2], rel=0.05)


def test_a_feed_opened_later_than_planned_does_not_spoil_k(job):
    middle = PartFeed(Place(np.array([[420.0, 0.0], [420.0, 140.0]])), 600.0, name="middle line")
    two = replace(job, plan=replace(job.plan, feeds=(*job.plan.feeds, middle)))
    truly = replace(job.plan, feeds=(*job.plan.feeds, replace(middle, opens_at_s=1500.0)))
    on = looked_at(filled(job, truly, np.append(TRUE, 0.0)), 0.9)
    found = fit_plan(two, on, opened_s=[None, 1500.0])
    true = number_of(job.plan, knobs_of(job.plan)[STACK], TRUE[STACK])[0]
    assert found.values[STACK].value == pytest.approx(true, rel=0.05)


@pytest.fixture(scope="module")
def fine(job):
    return replace(job, plan=replace(job.plan, cells=90))


@pytest.fixture(scope="module")
def fine_truth(fine):
    return filled(fine, at=TRUE)


@pytest.fixture(scope="module")
def fillings(fine, fine_truth):
    return CoarseFillings(fine.plan, fine_truth[0], knobs_of(fine.plan), (0.0,))


def test_the_quick_grid_forecasts_as_the_plans_own_does(fine, fillings, fine_truth):
    planned = Anchor(np.zeros(len(TRUE)), (0.0,), fill_plan(fine.plan, (0.0,)))
    model, (_, arrival, full) = CoarseModel(fine, fillings, planned), fine_truth
    assert fillings.at(TRUE).links.cells < 0.6 * len(arrival)
    assert model.fill_time_s(TRUE) == pytest.approx(full, rel=0.01)
    assert off_by(model.arrival_s(TRUE), fine_truth, 0.95) < 0.03


def test_before_there_is_an_anchor_the_coarse_grid_stands_for_itself(fine, fillings, fine_truth):
    model = CoarseModel(fine, fillings)
    assert model.fill_time_s(TRUE) == pytest.approx(fine_truth[2], rel=0.02)
    assert off_by(model.arrival_s(TRUE), fine_truth, 0.95) < 0.05


def test_a_filling_started_from_a_coarse_one_is_that_of_the_plan_alone(fine, fillings, fine_truth):
    found = fill_at(fine.plan, fillings.knobs, TRUE, (0.0,), fillings.at(TRUE)).filling
    assert found.total == pytest.approx(float(fine.impulse.at(fine_truth[2])), rel=1e-6)
    again = times_of(fine.impulse, found.arrival[: found.links.cells])
    # Read off 16 steps in place of 24.
    assert off_by(again, fine_truth, 0.5) < 0.002
    assert off_by(again, fine_truth, 0.95) < 0.02


def off_by(arrival_s, truth, share):
    """By how much so many of the times are off at most, those of the first tenth left out."""
    _, true, full = truth
    late = true > 0.1 * full
    return float(np.quantile(np.abs(arrival_s[late] / true[late] - 1), share))


@pytest.mark.parametrize("guess", [0.3, 0.62, 0.64, 0.9])
@pytest.mark.parametrize("cells", [30.0, 150.0])
def test_the_front_is_brought_to_a_waiting_feed_in_a_few_looks(guess, cells):
    looks = []

    def lead(root):
        looks.append(root)
        # The front goes as the root of the impulse; where it has not come, a cell tells no more.
        return max(cells * (root - 0.63), -0.5)

    found, needed = bring_near(lead, -0.5, guess), len(looks)
    assert abs(cells * (found - 0.63)) < NEAR_ENOUGH
    assert found == pytest.approx(bring_front(lead, -0.5, guess), abs=0.1 / cells)
    assert needed <= (6 if abs(guess - 0.63) < 0.02 else 9)
