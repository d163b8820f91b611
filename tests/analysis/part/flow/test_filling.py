"""Arrival map, sweep, mass balance, later feeds, vents and trapped air."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.part.flow.filling import fill_plan, told
from analysis.part.flow.impulse_sweep import STEPS, level_sizes, step_shares, sweep_part
from analysis.part.flow.system import fill_impulse, open_feeds
from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.outline import disc, l_shape, rectangle
from analysis.part.plan.plan import Gap, PartFeed, PartPlan, PartStack, Place, Vent, Zone

K, PHI = 1.0e-10, 0.5
STACK = PartStack(K, K, 0.0, PHI, 3.0)


def line(*points):
    return Place(np.array(points, float))


def strip(*feeds, cells=100, vents=(), **more):
    """A strip 500 mm long and 60 mm wide."""
    return PartPlan(rectangle(500, 60), (), STACK, feeds=feeds, vents=vents, cells=cells, **more)


LEFT = PartFeed(line((0, 0), (0, 60)), name="left")


def test_edge_feed_arrives_everywhere_as_the_square_of_the_distance():
    # theta = porosity x^2 / (2 K): Darcy with a sharp front.
    fill = fill_plan(strip(LEFT))
    x = fill.links.centre_mm[:, 0] / 1000
    front_mm = 1000 * np.sqrt(2 * K * fill.arrival / PHI)
    assert np.abs(front_mm - 1000 * x).max() < 0.2  # the cells are 5 mm
    assert fill.last_spot_mm[0] == pytest.approx(497.5)


def test_ring_feed_arrives_as_the_closed_form():
    # R^2 - r^2 - 2 r^2 ln(R/r) = 4 K theta / porosity, converging on the centre.
    rim = disc(250)
    plan = PartPlan(rim, (), STACK, feeds=(PartFeed(line(*rim, rim[0])),), cells=100)
    fill = fill_plan(plan)
    r = np.hypot(*fill.links.centre_mm.T) / 1000
    exact = PHI / (4 * K) * (0.25**2 - r**2 - 2 * r**2 * np.log(0.25 / r))
    inner = r < 0.24
    assert np.abs(fill.arrival - exact)[inner].max() < 0.008 * fill.total
    assert np.sqrt(np.mean((fill.arrival - exact)[inner] ** 2)) < 0.0035 * fill.total
    assert np.hypot(*fill.last_spot_mm) < 5.0


def uneven_part(cells=60):
    patch = Zone(
        "patch", rectangle(160, 200) + np.array([180, 60]), PartStack(4e-10, 1e-10, 35.0, 0.4, 5.0)
    )
    hole = rectangle(60, 50) + np.array([60, 300])
    vent = Vent(line((0, 500), (250, 500)))
    feed = PartFeed(line((500, 0), (500, 250)))
    outline = l_shape(500, 500, 250, 250)
    return PartPlan(outline, (hole,), STACK, (patch,), feeds=(feed,), vents=(vent,), cells=cells)


def test_sweep_ends_where_the_one_solve_says():
    plan = uneven_part()
    fill = fill_plan(plan)
    w = fill_impulse(open_feeds(lay_canvas(plan), plan.feeds))
    assert_allclose(fill.total, w.max(), rtol=1e-9)
    assert_allclose(fill.sweep_total, w.max(), rtol=1e-6)
    assert_allclose(fill.step_impulse[-1], w.max(), rtol=1e-6)
    spot = fill.links.centre_mm[int(np.argmax(w))]
    assert_allclose(fill.last_spot_mm, spot)
    assert np.nanmax(fill.arrival) <= fill.total


def test_resin_in_equals_resin_held_at_every_step():
    fill = fill_plan(uneven_part())
    assert_allclose(fill.step_injected_m3, fill.step_held_m3, rtol=1e-6)
    assert fill.mass_error < 1e-3
    assert len(fill.step_impulse) == STEPS
    # Pores of the whole part, from its plan: L less hole, the patch 25 mm short of the L's edge.
    l_m2, patch_m2, hole_m2 = 0.75 * 0.25, 0.160 * 0.190 + 0.070 * 0.010, 0.060 * 0.050
    pores = (l_m2 - patch_m2 - hole_m2) * PHI * 3e-3 + patch_m2 * 0.4 * 5e-3
    assert_allclose(fill.step_held_m3[-1], pores, rtol=0.002)


def test_coarse_to_fine_changes_the_work_and_not_the_answer():
    plan = uneven_part(50)
    quick = fill_plan(plan)
    plain = fill_plan(plan, coarse_to_fine=False)
    assert_allclose(quick.arrival, plain.arrival, rtol=1e-4, atol=1e-5 * plain.total)
    assert quick.step_solves.sum() < 0.8 * plain.step_solves.sum()
    assert level_sizes(50) == [25, 50]
    assert level_sizes(50, False) == [50]


def test_a_second_feed_that_opens_when_wet_splits_the_run():
    # One line at 0, the next at 250: the second opens when the front gets there, and the rest
    # is a fresh edge feed of 250 mm: theta = porosity (a^2 + b^2) / (2 K).
    second = PartFeed(line((250, 0), (250, 60)), opens_when_wet=True)
    fill = fill_plan(strip(LEFT, second))
    assert len(fill.stages) == 2
    assert_allclose(fill.stages[1].start, PHI * 0.25**2 / (2 * K), rtol=0.003)
    assert_allclose(fill.total, PHI * 2 * 0.25**2 / (2 * K), rtol=0.003)
    x = fill.links.centre_mm[:, 0] / 1000
    late = x > 0.27
    exact = PHI / (2 * K) * (0.25**2 + (x - 0.25) ** 2)
    assert_allclose(fill.arrival[late], exact[late], rtol=0.005)
    assert fill.mass_error < 1e-3


def test_a_second_feed_at_a_set_time_starts_from_the_state_it_finds():
    # From the far end at theta1: the two fronts meet where the dry middle closes.
    theta1 = PHI * 0.2**2 / (2 * K)
    right = PartFeed(line((500, 0), (500, 60)), opens_at_s=1.0)
    fill = fill_plan(strip(LEFT, right), [0.0, theta1])
    # a = sqrt(0.2^2 + s), b = sqrt(s), a + b = 0.5, in units of 2 K theta / porosity.
    s = ((0.5**2 - 0.2**2) / (2 * 0.5)) ** 2
    assert_allclose(fill.stages[1].start, theta1, rtol=1e-12)
    assert_allclose(fill.total, PHI / (2 * K) * (0.2**2 + s), rtol=0.005)
    assert abs(fill.last_spot_mm[0] - 1000 * (0.5 - np.sqrt(s))) < 6.0
    assert fill.mass_error < 1e-3


def test_feeds_that_all_open_at_once_need_no_second_stage():
    late = PartFeed(line((500, 0), (500, 60)), opens_at_s=1.0)
    fill = fill_plan(strip(LEFT, late), [0.0, 1e12])
    assert len(fill.stages) == 1
    assert_allclose(fill.total, PHI * 0.5**2 / (2 * K), rtol=1e-6)


def test_an_edge_gap_lets_resin_race_ahead():
    gap = Gap(np.array([[0.0, 60.0], [500.0, 60.0]]), 1.0, 1e-6 / 12, 3.0)
    plain = fill_plan(strip(LEFT))
    raced = fill_plan(strip(LEFT, gaps=(gap,)))
    x, y = raced.links.centre_mm[: raced.links.cells].T
    edge, far, low = y > 55, x > 400, y < 5
    found = raced.arrival[: raced.links.cells]
    assert found[edge & far].max() < 0.2 * plain.arrival[edge & far].min()
    assert found[low & far].min() > found[edge & far].max()
    assert raced.mass_error < 1e-3


def test_steps_draw_together_where_the_part_closes():
    shares = step_shares(40, True)
    assert len(shares) == 40
    assert np.all(np.diff(shares) > 0)
    assert 1 <= shares[-1] < 1 + 1e-6
    assert np.diff(shares)[-1] < 1e-3


def test_arrivals_hardly_depend_on_the_number_of_steps():
    plan = uneven_part(50)
    usual, many = fill_plan(plan), fill_plan(plan, steps=120)
    off = (usual.arrival - many.arrival) / many.total
    assert np.sqrt(np.mean(off**2)) < 0.004
    assert abs(np.mean(off)) < 0.002


def test_a_long_filling_tells_how_long_it_takes_yet():
    said, ticks = [], iter(range(0, 1000, 2))
    plan = strip(LEFT, cells=30)
    steps = list(told(sweep_part(plan, [0.0]), said.append, lambda: float(next(ticks))))
    assert len(steps) == STEPS
    left = [int(text.split("about ")[1].split()[0]) for text in said]
    assert len(left) > 5
    # Even in the root of the impulse and so in the filled share: k of N steps leave (N/k)^2 - 1.
    assert left == sorted(left, reverse=True)
    assert said[-1].startswith("100 % filled")
