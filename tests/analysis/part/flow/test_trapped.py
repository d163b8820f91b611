"""Air cut off from every vent: where, when, how much, and where a vent would end it."""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.testing import assert_allclose

from analysis.part.flow.filling import fill_plan
from analysis.part.plan.outline import rectangle
from analysis.part.plan.plan import Gap, PartFeed, PartPlan, PartStack, Place, Vent

K, PHI = 1.0e-10, 0.5


def line(*points):
    return Place(np.array(points, float))


def strip(feeds, vents, gaps=(), width=60.0, cells=100):
    stack = PartStack(K, K, 0.0, PHI, 3.0)
    return PartPlan(
        rectangle(500, width),
        (),
        stack,
        gaps=gaps,
        feeds=tuple(PartFeed(place) for place in feeds),
        vents=tuple(Vent(place) for place in vents),
        cells=cells,
    )


LEFT, RIGHT = line((0, 0), (0, 60)), line((500, 0), (500, 60))


def test_a_vent_cut_off_is_told_with_place_and_size():
    # Both ends feed and the vent sits at a quarter: what lies beyond is cut off when it is passed,
    # at porosity x^2 / (2 K), and ends in the middle.
    fill = fill_plan(strip([LEFT, RIGHT], [line((125, 0), (125, 60))]))
    (air,) = fill.trapped
    assert abs(air.x_mm - 250) <= 5
    assert abs(air.y_mm - 30) <= 5
    assert_allclose(air.area_mm2, 250 * 60, rtol=0.03)
    assert_allclose(air.impulse, PHI * 0.125**2 / (2 * K), rtol=0.05)
    assert_allclose(fill.in_trapped.sum() * 25, air.area_mm2)


def test_a_vent_at_the_last_spot_traps_nothing():
    for place in (RIGHT, Place(np.array([[500.0, 30.0]]))):
        fill = fill_plan(strip([LEFT], [place]))
        assert fill.trapped == ()
        assert not fill.in_trapped.any()


def test_the_place_named_is_where_the_air_ends_and_a_vent_there_ends_it():
    # Resin races along both edges and shuts the vent at the far end; the air ends near that end,
    # far from the middle of the area that was cut off.
    gaps = tuple(Gap(np.array([[0.0, y], [500.0, y]]), 2.0, 4e-6 / 12, 3.0) for y in (0.0, 200.0))
    far = (500.0, 0.0), (500.0, 8.0)
    plan = strip([line((0, 0), (0, 200))], [line(*far)], gaps, 200.0)
    fill = fill_plan(plan)
    air = fill.trapped[0]
    x = fill.links.centre_mm[fill.in_trapped, 0]
    assert air.area_mm2 > 0.3 * 500 * 200
    assert air.x_mm > x.mean() + 50
    last = fill.links.centre_mm[np.where(fill.in_trapped, fill.arrival, 0).argmax()]
    assert np.hypot(air.x_mm - last[0], air.y_mm - last[1]) <= 10
    more = tuple(Vent(Place(np.array([spot]))) for one in fill.trapped for spot in one.ends_mm)
    mended = fill_plan(dataclasses.replace(plan, vents=(*plan.vents, *more)))
    assert mended.trapped == ()


def test_an_area_that_falls_apart_ends_in_two_places():
    # Feeds at both ends and in the middle: two dry areas, one vent that is passed early.
    middle = line((250, 0), (250, 60))
    fill = fill_plan(strip([LEFT, middle, RIGHT], [line((125, 0), (125, 60))]))
    (air,) = fill.trapped
    assert abs(air.x_mm - 375) <= 5
    # A narrow bridge of late resin: the cut-off area is one, its ends are two.
    late = [line((0, 0), (0, 60)), line((500, 0), (500, 60)), line((250, 0), (250, 10))]
    both = fill_plan(strip(late, [Place(np.array([[2.0, 30.0]]))]))
    assert len(both.trapped[0].ends_mm) == 2
    assert sorted(round(x / 125) for x, _ in both.trapped[0].ends_mm) == [1, 3]


def test_without_vents_all_the_air_is_trapped():
    fill = fill_plan(strip([LEFT], []))
    (air,) = fill.trapped
    assert_allclose(air.area_mm2, 500 * 60, rtol=0.01)
    assert air.impulse == 0.0
    assert air.x_mm > 490
