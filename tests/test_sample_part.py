"""The made-up flow of parts: closed forms, and held against the project's own filling."""

import numpy as np
import pytest

from analysis.part.flow.filling import fill_plan
from analysis.part.plan.plan import Gap, PartFeed, PartPlan, PartStack, Place, Zone
from sample_frames._part_flow import Clock, Inlet, Layup, Patch, Slot, World, fill

K, PHI, DP, MU = 2e-10, 0.5, 95_000.0, 0.2
LAYUP = Layup(K, K, porosity=PHI)


def box(x0, y0, x1, y1):
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], float)


def edge(resistance_mm=0.0, tall=100.0):
    line = np.array([(0.0, 0.0), (0.0, tall)])
    return Inlet("edge", line, resistance_mm=resistance_mm)


@pytest.mark.parametrize("resistance_mm", [0.0, 50.0])
def test_line_feed_follows_darcy(resistance_mm):
    # H. Darcy, 1856, with a sharp front: x^2 + 2 a x = 2 K dP t / (phi mu).
    world = World(box(0, 0, 400, 100), LAYUP, (edge(resistance_mm),))
    filled = fill(world)
    x = filled.x_mm * 1e-3
    exact = (x**2 + 2e-3 * resistance_mm * x) * PHI * MU / (2 * K * DP)
    off = np.abs(filled.time_s - exact) / exact.max()
    assert off[:, x < 0.37].max() < 0.008
    assert off.max() < 0.03  # the last side of a triangle before the wall


def test_point_feed_follows_the_radial_law():
    # r^2 (2 ln(r/r0) - 1) + r0^2 = 4 K dP t / (phi mu): radial Darcy flow from a disc of r0.
    point = Inlet("point", np.array([(250.0, 250.0)]), radius_mm=8.0)
    filled = fill(World(box(0, 0, 500, 500), LAYUP, (point,)))
    x, y = np.meshgrid(filled.x_mm - 250, filled.y_mm - 250)
    r = np.hypot(x, y) * 1e-3
    near = (r > 0.03) & (r < 0.22)
    exact = r[near] ** 2 * (2 * np.log(r[near] / 0.008) - 1) + 0.008**2
    exact *= PHI * MU / (4 * K * DP)
    assert np.abs(filled.time_s[near] - exact).max() < 0.02 * exact.max()


def test_thickening_resin_takes_longer_by_the_closed_form():
    # theta = (dP / mu0) (D / ln 2) (1 - 2^(-t/D)) for a viscosity that doubles every D.
    clock = Clock(DP, MU, 300.0)
    assert clock.time_s(clock.impulse(412.0)) == pytest.approx(412.0)
    assert clock.impulse(300.0) == pytest.approx(DP / MU * 300 / np.log(2) / 2)
    assert np.isinf(clock.time_s(2 * DP / MU * 300 / np.log(2)))


def test_a_feed_that_is_smaller_than_the_mesh_is_refused():
    point = Inlet("dot", np.array([(50.0, 50.0)]), radius_mm=1.0)
    with pytest.raises(ValueError, match="dot"):
        fill(World(box(0, 0, 100, 100), LAYUP, (point,)))


def test_it_agrees_with_the_filling_of_the_plan():
    # Two discretisations of one part: finite elements here, cells there. They part most in the
    # gap's wake and where fronts meet.
    outline, hole = box(0, 0, 600, 400), box(400, 100, 500, 300)
    slow, gap = box(150, 0, 300, 200), np.array([(0.0, 400.0), (600.0, 400.0)])
    less = Layup(0.8e-10, 0.8e-10, porosity=PHI)
    second = np.array([(300.0, 0.0), (300.0, 400.0)])
    world = World(
        outline,
        LAYUP,
        (edge(tall=400.0), Inlet("second", second, opens_at_s=200.0)),
        holes_mm=(hole,),
        patches=(Patch("slow", slow, less),),
        slots=(Slot(gap, 0.6),),
    )
    filled = fill(world)
    stack = PartStack(K, K, 0.0, PHI, 3.0)
    plan = PartPlan(
        outline,
        (hole,),
        stack,
        (Zone("slow", slow, PartStack(0.8e-10, 0.8e-10, 0.0, PHI, 3.0)),),
        (Gap(gap, 0.6, 0.6e-3**2 / 12, 3.0),),
        (
            PartFeed(Place(edge(tall=400.0).points_mm)),
            PartFeed(Place(second), opens_at_s=200.0),
        ),
        cells=120,
    )
    there = fill_plan(plan, [0.0, 200.0 * DP / MU])
    centre = there.links.centre_mm
    col, row = ((centre - 0.0) // 4.0).astype(int).T
    mine = filled.time_s[np.minimum(row, 99), np.minimum(col, 149)]
    theirs = there.arrival[: len(centre)] * MU / DP
    off = np.abs(mine - theirs)[np.isfinite(mine)] / filled.fill_s
    assert np.quantile(off, 0.95) < 0.02
    assert np.median(off) < 0.006
