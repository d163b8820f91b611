"""Resin at a later feed before it can have been opened, against arrivals that are known."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.seen.early_feeds import early_feeds, find_early, with_early_feeds
from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.plan import PartFeed, PartPlan, PartStack, Place
from tests.made_up.part_seen import part_seen

OBLONG = np.array([[0.0, 0.0], [600.0, 0.0], [600.0, 300.0], [0.0, 300.0]])
SECOND_X = 400.0


def line(x):
    return Place(np.array([[x, 20.0], [x, 280.0]]))


def plan_of(**second):
    feeds = (PartFeed(line(5.0), name="first"), PartFeed(line(SECOND_X), name="second", **second))
    return PartPlan(OBLONG, (), PartStack(1e-10, 1e-10, 0.0, 0.5, 3.0), feeds=feeds)


@pytest.fixture(scope="module")
def links():
    return lay_canvas(plan_of(), 60).links


def arrival(links, second_s=None):
    """Resin from the left at 0.2 mm/s, and from the second feed from a time on."""
    x = links.centre_mm[: links.cells, 0]
    own = np.inf if second_s is None else second_s + np.abs(x - SECOND_X) / 0.2
    return np.minimum(x / 0.2, own)


def look(links, second_s, **seen):
    return part_seen(links, arrival(links, second_s), sd_s=5.0, **seen)


def test_resin_at_a_feed_before_its_planned_time_is_a_doubt(links):
    plan = plan_of(opens_at_s=900.0)
    seen = look(links, 540.0)
    (early,) = find_early(seen, plan, bring_on_plan(seen, links))
    assert early.name == "second"
    assert early.wet_s == pytest.approx(540.0, abs=60.0)
    assert early.sd_s > np.median(np.diff(seen.frame_s)) / 2
    found = with_early_feeds(seen, (early,))
    assert len(found.doubts) == 1
    assert "resin at feed 'second'" in found.doubts[0]
    minutes = float(found.doubts[0].split(" min before")[0].split(" ")[-1])
    assert minutes == pytest.approx((900.0 - 540.0) / 60, abs=1.0)
    assert "was it open? If so, write when it opens in part.toml" in found.doubts[0]


def test_resin_at_a_feed_that_waits_for_the_front_is_a_doubt_until_it_is_noted(links):
    plan, on = plan_of(opens_when_wet=True), bring_on_plan(look(links, 540.0), links)
    assert "no front had reached it" in early_feeds(plan, on)[0].text
    assert early_feeds(plan, on, [None, 530.0]) == ()
    assert "min before it was noted as opened" in early_feeds(plan, on, [None, 1200.0])[0].text


@pytest.mark.parametrize("plan", [plan_of(opens_at_s=2300.0), plan_of(opens_when_wet=True)])
def test_a_front_that_passes_a_shut_feed_is_none(links, plan):
    assert early_feeds(plan, bring_on_plan(look(links, None), links)) == ()


def test_a_feed_opened_when_it_was_due_is_none(links):
    on = bring_on_plan(look(links, 540.0, noise_s=5.0), links)
    assert early_feeds(plan_of(opens_at_s=530.0), on) == ()
    assert early_feeds(plan_of(opens_at_s=0.0), on) == ()


def test_what_was_not_seen_between_or_beside_is_no_ground_for_a_doubt(links):
    plan = plan_of(opens_at_s=900.0)
    between = look(links, 540.0, hidden=lambda x, y: (x < 390) & (np.abs(y - 150) < 20))
    assert early_feeds(plan, bring_on_plan(between, links)) == ()
    beside = look(links, 540.0, hidden=lambda x, y: np.abs(x - SECOND_X) < 60)
    assert early_feeds(plan, bring_on_plan(beside, links)) == ()


def test_less_than_the_times_are_sure_of_and_a_refused_run_say_nothing(links):
    plan = plan_of(opens_at_s=900.0)
    seen = look(links, 540.0)
    vague = bring_on_plan(replace(seen, start_sd_s=200.0), links)
    assert early_feeds(plan, vague) == ()
    refused = replace(seen, usable=False, reason="lens covered")
    assert find_early(refused, plan, bring_on_plan(seen, links)) == ()
    assert with_early_feeds(refused, ()) is refused
