"""Areas about to be cut off: made-up runs that do it, good ones, and what is said.

The truth is filled by finite elements that share nothing with the plan's own filling; the forecast
is the plan's with cloth and gaps known as well as they are once they were learnt from.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest

from analysis.infusion.ahead.cut_offs import find_cut_offs
from analysis.infusion.ahead.front_ahead import look_ahead
from analysis.infusion.seen.on_plan import bring_on_plan
from tests.made_up.part_seen import part_seen
from tests.made_up.parts.cut_offs import CUT_OFF, GOOD, HOSES, flow_case, job_of, nearly, numbered
from tests.made_up.parts.scored import at_places, forecast_of, score_cut_offs

LEAD_MIN, LOOKS, SEED = 2.0, 6, 5
COARSE = 80
"""Cells along the good runs, which raise no alarm on 60, 80 or the usual 120."""
NUMBERS = ("0", "5", "9", "12", "17", "19")
"""Some of the parts by chance in whose truth nothing is cut off."""


def learnt(world):
    return nearly(world, SEED)


@dataclass(frozen=True)
class Run:
    """A plan as learnt, its forecast and the truth; times in seconds."""

    plan: object
    links: object
    learnt_s: np.ndarray
    truth_s: np.ndarray
    closing: object


@cache
def made_run(kind, name):
    world, filled, closings = flow_case(kind, name)
    job = job_of(learnt(world))
    links, learnt_s = forecast_of(job)
    centre = links.centre_mm[: links.cells]
    truth_s = at_places(filled, centre[:, 0], centre[:, 1])
    return Run(job.plan, links, learnt_s, truth_s, closings[0] if closings else None)


def look(run, now_s, learnt=True, hidden=None, open_vents=None):
    """Cut-offs at a time of a made-up run."""
    photo = part_seen(run.links, run.truth_s, noise_s=3.0, last_s=now_s, hidden=hidden)
    ahead = look_ahead(bring_on_plan(photo, run.links), run.learnt_s)
    return find_cut_offs(run.plan, ahead, open_vents=open_vents, learnt=learnt)


def likely(cuts):
    return [cut for cut in cuts if cut.likely]


def test_a_cut_off_is_told_two_minutes_before_in_nine_of_ten_on_every_outline():
    scores = {name: score_cut_offs("cut off", name, learnt, LOOKS) for name in CUT_OFF}
    late = [name for name, score in scores.items() if score.lead_min < LEAD_MIN]
    assert len(late) <= len(scores) / 10, late
    assert {name: s.false_alarms for name, s in scores.items() if s.false_alarms} == {}


def test_good_runs_raise_no_alarm():
    cases = [("good", name) for name in GOOD] + [("number", name) for name in NUMBERS]
    told = {case: score_cut_offs(*case, learnt, LOOKS, cells=COARSE) for case in cases}
    assert all(score.closing is None for score in told.values())
    assert {case: s.false_alarms for case, s in told.items() if s.false_alarms} == {}


@pytest.mark.parametrize("hose", HOSES)
def test_what_lies_under_a_hose_is_no_dry_area(hose):
    """Nothing under it was ever seen to wet; what is truly cut off is told all the same."""
    good = score_cut_offs("good", "frame", learnt, 4, hose)
    assert (good.false_alarms, good.false_may) == (0, 0)
    cut = score_cut_offs("cut off", "two lines", learnt, 4, hose)
    assert cut.lead_min >= 5.0
    assert (cut.false_alarms, cut.false_may) == (0, 0)


def test_a_dry_place_half_under_a_hose_is_told():
    good = made_run("good", "plain")
    half = 0.5 * float(good.truth_s.max())
    on = bring_on_plan(part_seen(good.links, good.truth_s, last_s=half), good.links)
    x, y = good.links.centre_mm[: good.links.cells].T
    dry = np.hypot(x - 0.3 * x.max(), y - 0.5 * y.max()) < 45.0
    assert on.wet[dry].all()
    on.time_s[dry] = np.inf
    on.seen[dry & (x < 0.3 * x.max())] = False
    (cut,) = likely(find_cut_offs(good.plan, look_ahead(on, good.learnt_s)))
    assert cut.closed
    assert cut.cells[: len(dry)][dry].mean() > 0.6


def test_the_parts_by_chance_have_holes_gaps_and_two_feeds_among_them():
    worlds = [numbered(number) for number in range(40)]
    assert any(world.holes_mm for world in worlds)
    assert any(len(world.inlets) > 1 for world in worlds)
    assert any(world.slots for world in worlds)
    assert len({len(world.outline_mm) for world in worlds}) >= 4


@pytest.fixture(scope="module")
def run():
    return made_run("cut off", "two lines")


def test_the_minutes_left_run_down_and_the_area_is_that_of_the_truth(run):
    first = run.closing.time_s
    early, late = (likely(look(run, share * first))[0] for share in (0.5, 0.8))
    assert early.minutes_left == pytest.approx((early.closes_s - 0.5 * first) / 60.0)
    assert late.minutes_left < early.minutes_left
    assert late.low_min <= late.minutes_left <= late.high_min
    assert late.low_s <= first <= late.high_s
    assert late.area_mm2 == pytest.approx(run.closing.area_mm2, rel=0.3)
    assert not late.closed
    assert not late.hidden


def test_once_closed_it_is_said_to_be(run):
    cuts = likely(look(run, 1.05 * run.closing.time_s))
    assert cuts[0].closed
    assert cuts[0].minutes_left == 0.0


def test_from_the_plan_alone_it_only_may_happen(run):
    assert likely(look(run, 0.5 * run.closing.time_s, learnt=False)) == []


def test_an_area_that_was_not_seen_is_said_to_be_hidden(run):
    cuts = likely(look(run, 0.8 * run.closing.time_s, hidden=lambda x, y: x > 140))
    assert cuts
    assert all(cut.hidden for cut in cuts)


def test_a_place_that_was_never_seen_behind_the_front_is_no_dry_area():
    # Something lies on the part behind the front; the eyes had nothing to fill it from.
    good = made_run("good", "plain")
    half = 0.5 * float(good.truth_s.max())
    on = bring_on_plan(part_seen(good.links, good.truth_s, last_s=half), good.links)
    x, y = good.links.centre_mm[: good.links.cells].T
    thing = np.hypot(x - 0.3 * x.max(), y - 0.5 * y.max()) < 45.0
    assert on.wet[thing].all()
    on.time_s[thing], on.seen[thing] = np.inf, False
    assert find_cut_offs(good.plan, look_ahead(on, good.learnt_s)) == ()
    on.seen[thing] = True  # seen to be dry, it is one
    assert len(likely(find_cut_offs(good.plan, look_ahead(on, good.learnt_s)))) == 1


def test_a_vent_clamped_by_hand_is_no_way_out():
    good = made_run("good", "plain")
    half = 0.5 * float(good.truth_s.max())
    shut = likely(look(good, half, open_vents=[False] * len(good.plan.vents)))
    assert shut
    assert shut[0].closed
