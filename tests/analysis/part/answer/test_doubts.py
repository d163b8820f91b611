"""What makes a part's fill time uncertain."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
from numpy.testing import assert_allclose

from analysis.fit.impulse import constant_impulse
from analysis.panel.records import Resin, Vacuum
from analysis.part.answer.doubts import Doubt, Ends, doubts, joined_ends, plan_ends
from analysis.part.flow.filling import fill_plan
from analysis.part.plan.conditions import Conditions
from analysis.part.plan.outline import rectangle
from analysis.part.plan.part_toml import PartJob
from analysis.part.plan.plan import PartFeed, PartPlan, PartStack, Place, Vent
from analysis.part.plan.search_goal import SearchGoal

STACK = PartStack(1e-10, 1e-10, 0.0, 0.5, 3.0, 0.8, 1.25)
PLAN = PartPlan(
    rectangle(400, 80),
    (),
    STACK,
    feeds=(PartFeed(Place(np.array([[0.0, 0.0], [0.0, 80.0]]))),),
    vents=(Vent(Place(np.array([[400.0, 0.0], [400.0, 80.0]]))),),
    cells=40,
)


def job(conditions, plan=PLAN, from_panel=False):
    vacuum = Vacuum(95_000.0, 0.02)
    clock = constant_impulse(95_000.0, 0.2)
    return PartJob(Path(), plan, Resin(), vacuum, clock, SearchGoal(), conditions, from_panel)


def names(*given, **more):
    return [one.name for one in doubts(job(*given, **more), 1.0, Ends(0.8, 1.25, 1.1))]


def test_doubts_add_in_squares_of_their_logarithms():
    low, high = joined_ends(10.0, (Doubt("a", 0.9, 1.2), Doubt("b", 1.0, 1.1)))
    assert_allclose(low, 9.0)
    assert_allclose(np.log(high / 10), np.hypot(np.log(1.2), np.log(1.1)))


def test_what_panel_and_part_share_is_not_counted_twice():
    sure = Conditions(repeat_sd=0.08, feed_line="same", viscosity_sd=0.0)
    assert names(sure, from_panel=True) == ["permeability", "the next lay-up"]
    assert "vacuum" in names(sure)
    other = dataclasses.replace(sure, feed_line="other", viscosity_sd=0.07)
    assert names(other, from_panel=True)[2:] == ["viscosity", "the feed's own resistance"]
    # An interval that was taken for want of one has the lay-up's scatter in it.
    taken = dataclasses.replace(PLAN, stack=dataclasses.replace(STACK, assumed=True))
    assert "the next lay-up" not in names(sure, plan=taken)


def test_a_feed_of_unknown_resistance_adds_what_twenty_millimetres_add():
    # x^2 + 2 a x over x^2 (Darcy with a resistance in series).
    fill = fill_plan(PLAN, steps=8)
    ends = plan_ends(PLAN, [0.0], fill, print)
    assert_allclose([ends.low / fill.total, ends.high / fill.total], [0.8, 1.25])
    assert_allclose(ends.slow_feed, 1 + 2 * 20 / 400, rtol=1e-6)
