"""Vents moved to where air ends."""

from __future__ import annotations

import numpy as np

from analysis.part.flow.filling import fill_plan, trapped_under
from analysis.part.plan.outline import rectangle
from analysis.part.plan.plan import PartFeed, PartPlan, PartStack, Place, Vent
from analysis.part.search.vents import with_vents_where_air_ends


def line(*points):
    return Place(np.array(points, float))


def test_vents_that_trap_air_are_moved_and_the_useless_left_out():
    # Fed at both ends; the vent at a quarter is passed early, the air ends in the middle.
    plan = PartPlan(
        rectangle(500, 60),
        (),
        PartStack(1e-10, 1e-10, 0.0, 0.5, 3.0),
        feeds=(PartFeed(line((0, 0), (0, 60))), PartFeed(line((500, 0), (500, 60)))),
        vents=(Vent(line((125, 0), (125, 60)), "quarter"),),
        cells=50,
    )
    fill = fill_plan(plan, steps=16)
    assert fill.trapped
    moved, mended = with_vents_where_air_ends(plan, fill)
    assert mended.trapped == ()
    assert not mended.in_trapped.any()
    assert [vent.name for vent in moved.vents] == ["vent 2"]
    assert abs(moved.vents[0].place.points_mm[0, 0] - 250) < 10
    assert trapped_under(fill, plan.vents)[0] == fill.trapped


def test_a_vent_that_serves_is_kept():
    plan = PartPlan(
        rectangle(500, 60),
        (),
        PartStack(1e-10, 1e-10, 0.0, 0.5, 3.0),
        feeds=(PartFeed(line((250, 0), (250, 60))),),
        vents=(Vent(line((500, 0), (500, 60)), "right"),),
        cells=50,
    )
    moved, mended = with_vents_where_air_ends(plan, fill_plan(plan, steps=16))
    assert mended.trapped == ()
    assert moved.vents[0].name == "right"
    assert len(moved.vents) == 2
    assert moved.vents[1].place.points_mm[0, 0] < 20
