"""Areas about to be cut off: ten made-up runs that do it, ten good ones, and what is said."""

import numpy as np
import pytest

from analysis.infusion.ahead.cut_offs import find_cut_offs
from analysis.infusion.ahead.front_ahead import look_ahead
from analysis.infusion.seen.on_plan import bring_on_plan
from tests.made_up.cut_off_runs import made_run
from tests.made_up.part_seen import part_seen

CUT_OFF = (2, 4, 6, 14, 15, 19, 21, 27, 31, 37)
GOOD = (0, 1, 3, 7, 8, 9, 11, 12, 16, 17)
LEAD_S, LOOKS = 120.0, 12


def look(run, now_s, learnt=True, hidden=None, open_vents=None):
    """Cut-offs at a time of a made-up run."""
    photo = part_seen(run.links, run.truth_s, noise_s=3.0, last_s=now_s, hidden=hidden)
    on = bring_on_plan(photo, run.links)
    forecast = run.learnt_s if learnt else run.planned_s
    ahead = look_ahead(on, forecast)
    return find_cut_offs(run.plan, ahead, open_vents=open_vents, learnt=learnt)


def likely(cuts):
    return [cut for cut in cuts if cut.likely]


def told_in_time(run):
    """Whether it is told two minutes before it closes, at the right place, and not dropped."""
    first = min(run.closes_s)
    looks = [likely(look(run, share * first)) for share in np.linspace(0.1, 0.98, LOOKS)]
    at = [share * first for share in np.linspace(0.1, 0.98, LOOKS)]
    in_time = [cuts for now, cuts in zip(at, looks, strict=True) if now <= first - LEAD_S]
    if not in_time or not in_time[-1] or not all(looks[len(in_time) :]):
        return False
    truth = min(run.trapped, key=lambda t: abs(t.impulse))
    near = min(np.hypot(c.x_mm - truth.x_mm, c.y_mm - truth.y_mm) for c in in_time[-1])
    inside = any(cut.low_s <= first <= cut.high_s for cut in in_time[-1])
    return near < 0.15 * np.ptp(run.plan.outline_mm[:, 0]) and inside


def test_a_cut_off_is_told_two_minutes_before_in_nine_of_ten():
    runs = [made_run(number) for number in CUT_OFF]
    assert all(run.traps and min(run.closes_s) > 180.0 for run in runs)
    assert sum(told_in_time(run) for run in runs) >= 9


def test_ten_good_runs_raise_no_alarm():
    for number in GOOD:
        run = made_run(number)
        assert not run.trapped
        for share in np.linspace(0.08, 0.98, LOOKS):
            assert likely(look(run, share * float(run.truth_s.max()))) == [], (number, share)


@pytest.fixture(scope="module")
def run():
    return made_run(6)


def test_the_minutes_left_run_down_and_the_area_is_that_of_the_truth(run):
    first = min(run.closes_s)
    early, late = (likely(look(run, share * first))[0] for share in (0.5, 0.8))
    assert early.minutes_left == pytest.approx((early.closes_s - 0.5 * first) / 60.0)
    assert late.minutes_left < early.minutes_left
    assert late.low_min <= late.minutes_left <= late.high_min
    true = max(t.area_mm2 for t in run.trapped)
    assert late.area_mm2 == pytest.approx(true, rel=0.3)
    assert not late.closed
    assert not late.hidden


def test_once_closed_it_is_said_to_be(run):
    cuts = likely(look(run, 1.05 * min(run.closes_s)))
    assert cuts[0].closed
    assert cuts[0].minutes_left == 0.0


def test_from_the_plan_alone_it_only_may_happen(run):
    cuts = look(run, 0.5 * min(run.closes_s), learnt=False)
    assert likely(cuts) == []


def test_an_area_that_was_not_seen_is_said_to_be_hidden(run):
    first = min(run.closes_s)
    end = float(run.plan.outline_mm[:, 0].max())
    cuts = likely(look(run, 0.8 * first, hidden=lambda x, y: x > 0.3 * end))
    assert cuts
    assert all(cut.hidden for cut in cuts)


def test_a_place_that_was_never_seen_and_counts_as_dry_is_no_alarm():
    # Something lies on the part behind the front; the eyes had nothing to fill it from.
    good = made_run(1)
    half = 0.5 * float(good.truth_s.max())
    on = bring_on_plan(part_seen(good.links, good.truth_s, last_s=half), good.links)
    x, y = good.links.centre_mm[: good.links.cells].T
    thing = np.hypot(x - 0.3 * x.max(), y - 0.5 * y.max()) < 40.0
    assert on.wet[thing].all()
    on.time_s[thing], on.seen[thing] = np.inf, False
    cuts = find_cut_offs(good.plan, look_ahead(on, good.learnt_s))
    assert likely(cuts) == []
    assert [cut.hidden and cut.closed for cut in cuts] == [True]
    on.seen[thing] = True  # seen to be dry, it is one
    assert len(likely(find_cut_offs(good.plan, look_ahead(on, good.learnt_s)))) == 1


def test_a_vent_clamped_by_hand_is_no_way_out():
    good = made_run(1)
    half = 0.5 * float(good.truth_s.max())
    shut = likely(look(good, half, open_vents=[False] * len(good.plan.vents)))
    assert shut
    assert shut[0].closed
