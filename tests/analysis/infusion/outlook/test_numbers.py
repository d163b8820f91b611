"""The numbers of a part's board on the sample cover: seen as planned, and with nothing to see."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.infusion.ahead.next_feed import NOT_YET, OPEN
from analysis.infusion.learn.learnt import Learnt, Unlike
from analysis.infusion.outlook.numbers import learnt_forecast, planned_forecast, read_part_numbers
from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.part.answer.clock import clock_of
from analysis.part.plan.part_toml import read_part
from tests.made_up.part_seen import part_seen

COVER = Path(__file__).resolve().parents[4] / "sample_frames" / "part_cover"


@pytest.fixture(scope="module")
def job():
    whole = read_part(COVER)
    return replace(whole, plan=replace(whole.plan, cells=60))


@pytest.fixture(scope="module")
def forecast(job):
    return planned_forecast(job)


def look(job, forecast, share, **more):
    last_s = share * float(forecast.arrival_s.max())
    seen = part_seen(forecast.links, forecast.arrival_s, last_s=last_s)
    return seen, read_part_numbers(job, seen, forecast, **more)


def test_a_run_as_planned_has_the_plan_s_numbers(job, forecast):
    seen, numbers = look(job, forecast, 0.5)
    assert numbers.wetted_share == pytest.approx(seen.wetted_share[-1], abs=0.01)
    assert numbers.left.end_s == pytest.approx(float(forecast.arrival_s.max()), rel=0.03)
    assert numbers.left.gel_s == clock_of(job).gel_s
    assert numbers.hidden_share == 0.0
    assert not numbers.learnt


def test_resin_taken_in_is_what_the_whole_part_holds_at_the_end(job, forecast):
    _, half = look(job, forecast, 0.4)
    _, full = look(job, forecast, 1.01)
    pores = float(forecast.links.pore_m3[: forecast.links.cells].sum())
    assert full.resin_in_kg == pytest.approx(pores * clock_of(job).density_kg_m3)
    assert 0.0 < half.resin_in_kg < full.resin_in_kg
    assert full.left.filled


def test_the_later_feed_is_told_to_open_once_passed(job, forecast):
    early, late = (look(job, forecast, share)[1] for share in (0.1, 0.98))
    assert [feed.name for feed in early.feeds] == ["second line"]
    assert early.feeds[0].state == NOT_YET
    assert late.feeds[0].state == OPEN
    assert look(job, forecast, 0.98, opened=("second line",))[1].feeds == ()


def test_a_look_that_shows_nothing_says_why(job, forecast):
    seen, _ = look(job, forecast, 0.5)
    none = replace(seen, usable=False, reason="the part is out of view", doubts=("dark",))
    numbers = read_part_numbers(job, none, forecast)
    assert numbers.cannot == "the part is out of view"
    assert numbers.doubts == ("dark",)
    assert numbers.left is None
    assert numbers.wetted_share is None


def test_what_was_learnt_carries_its_interval_wider_where_it_does_not_explain_all(job, forecast):
    seen, _ = look(job, forecast, 0.5)
    on = bring_on_plan(seen, forecast.links)
    left = float(forecast.arrival_s.max()) - on.last_s
    ends = (on.last_s + left * factor for factor in (1.0, 0.8, 1.3))
    learnt = Learnt((), job.plan, forecast.arrival_s, *ends, None, None, (), 0.01, (), np.zeros(0))
    got = learnt_forecast(learnt, on)
    assert got.learnt
    assert got.doubt == pytest.approx(np.log(1.3))
    odd = replace(learnt, unlike=(Unlike,))
    assert learnt_forecast(odd, on).doubt == 0.35


def test_what_is_hidden_is_counted(job, forecast):
    seen, _ = look(job, forecast, 0.5)
    covered = replace(seen, seen=seen.seen & (np.arange(seen.seen.shape[1]) > 20)[None, :])
    numbers = read_part_numbers(job, covered, forecast)
    assert 0.2 < numbers.hidden_share < 0.5
