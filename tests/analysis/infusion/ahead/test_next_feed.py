"""Whether a feed may be opened: passed, not yet, hidden, and on two looks."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.ahead.next_feed import AT_WORK, HIDDEN, NOT_YET, OPEN, feeds_to_open
from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.outline import rectangle
from analysis.part.plan.plan import PartFeed, PartPlan, PartStack, Place
from tests.made_up.part_seen import part_seen


def line(*points):
    return Place(np.array(points, float))


FEEDS = (
    PartFeed(line((0, 0), (0, 200)), name="first"),
    PartFeed(line((202, 0), (202, 200)), 600.0, name="third"),
    PartFeed(line((102, 0), (102, 200)), 300.0, name="second"),
)


@pytest.fixture(scope="module")
def plan():
    return PartPlan(
        rectangle(300, 200), (), PartStack(1e-10, 1e-10, 0.0, 0.5, 3.0), feeds=FEEDS, cells=60
    )


@pytest.fixture(scope="module")
def links(plan):
    return lay_canvas(plan).links


def stand(plan, links, last_s, seen_s=None, hidden=None, **more):
    arrival = links.centre_mm[:, 0] if seen_s is None else seen_s
    on = bring_on_plan(part_seen(links, arrival, last_s=last_s, hidden=hidden), links)
    return feeds_to_open(plan, on, **more)


def test_a_feed_that_the_front_has_passed_may_be_opened(plan, links):
    second, third = stand(plan, links, 150.0)
    assert (second.name, second.state, second.dry_mm) == ("second", OPEN, 0.0)
    assert second.text == "second: the front is past all of it: open it"
    assert (third.name, third.state) == ("third", NOT_YET)
    assert third.dry_mm == pytest.approx(200.0)


def test_the_nearest_due_comes_first_whether_it_waits_for_a_time_or_for_the_front(plan, links):
    waits = [
        replace(f, opens_at_s=0.0, opens_when_wet=True) if f.name == "third" else f for f in FEEDS
    ]
    waiting = replace(plan, feeds=tuple(waits))
    arrival = links.centre_mm[:, 0][: links.cells]
    for pace, order in ((1.0, ["third", "second"]), (2.0, ["second", "third"])):
        found = stand(waiting, links, 50.0, arrival_s=pace * arrival)
        assert [feed.name for feed in found] == order
        third = next(feed for feed in found if feed.name == "third")
        assert third.due_s == pytest.approx(202.0 * pace, abs=5.0 * pace)


def test_one_that_seems_open_asks_for_the_note(plan, links):
    second, third = stand(plan, links, 150.0, at_work=("second",))
    assert (second.state, third.state) == (AT_WORK, NOT_YET)
    assert "note it as open" in second.text


def test_a_stretch_that_is_dry_is_told_by_its_length(plan, links):
    lagging = links.centre_mm[:, 0] + np.where(links.centre_mm[:, 1] > 140, 100.0, 0.0)
    second = stand(plan, links, 150.0, lagging)[0]
    assert second.state == NOT_YET
    assert second.dry_mm == pytest.approx(60.0, abs=2.0)
    assert "not yet: 60 mm of it still dry" in second.text


def test_two_looks_must_agree(plan, links):
    assert stand(plan, links, 104.0)[0].state == OPEN
    assert stand(plan, links, 104.0, settled_s=95.0)[0].state == NOT_YET


def test_a_hidden_part_is_said_and_most_of_it_hidden_decides_nothing(plan, links):
    some = stand(plan, links, 150.0, hidden=lambda x, y: y > 160)[0]
    assert some.state == OPEN
    assert some.text.endswith("40 mm of it hidden")
    most = stand(plan, links, 150.0, hidden=lambda x, y: y > 40)[0]
    assert most.state == HIDDEN
    assert "look at the part itself" in most.text


def test_a_hidden_part_that_was_filled_as_dry_is_not_called_passed(plan, links):
    lagging = links.centre_mm[:, 0] + np.where(links.centre_mm[:, 1] > 160, 100.0, 0.0)
    second = stand(plan, links, 150.0, lagging, hidden=lambda x, y: y > 150)[0]
    assert second.state == HIDDEN


def test_open_ones_are_left_out(plan, links):
    assert [feed.name for feed in stand(plan, links, 150.0, opened=("second",))] == ["third"]


def test_cloth_under_a_feed_s_own_hose_is_judged_by_what_lies_beside_it(plan, links):
    def hose(x, y):
        return np.abs(x - 102.0) < 8.0

    before = stand(plan, links, 60.0, hidden=hose)[0]
    assert before.state == NOT_YET
    at_it = stand(plan, links, 108.0, hidden=hose)[0]
    assert at_it.state == NOT_YET
    past = stand(plan, links, 150.0, hidden=hose)[0]
    assert (past.state, past.hidden_mm) == (OPEN, 0.0)
    half = links.centre_mm[:, 0] + np.where(links.centre_mm[:, 1] > 100, 80.0, 0.0)
    assert 100.0 <= stand(plan, links, 150.0, half, hidden=hose)[0].dry_mm <= 120.0
