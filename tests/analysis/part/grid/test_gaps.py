"""Open edge gaps against finite elements that have the gap as a strip of its own (scikit-fem).

Assembled by scikit-fem (Gustafsson and McBain, J. Open Source Softw. 5, 2369, 2020) with quadratic
elements graded towards the gap. An open slot of width g carries g^2 / 12 (plane Poiseuille flow).
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.part.flow.system import fill_impulse, open_feeds
from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.outline import rectangle
from analysis.part.plan.plan import Gap, PartFeed, PartPlan, PartStack, Place

K, PHI = 1.0e-10, 0.5
LENGTH, WIDTH = 500.0, 200.0
FEED = [[0.0, 0.0], [0.0, WIDTH]]
EDGE = [[0.0, 0.0], [LENGTH, 0.0]]


def gapped(width_mm, *lines, feed=FEED, radius_mm=0.0, cells=60, resistance_mm=0.0):
    gaps = tuple(Gap(np.array(line), width_mm, (width_mm * 1e-3) ** 2 / 12, 3.0) for line in lines)
    stack = PartStack(K, K, 0.0, PHI, 3.0)
    place = Place(np.array(feed, float), radius_mm)
    feeds = (PartFeed(place, resistance_mm=resistance_mm),)
    return PartPlan(rectangle(LENGTH, WIDTH), (), stack, gaps=gaps, feeds=feeds, cells=cells)


def impulse(plan):
    system = open_feeds(lay_canvas(plan), plan.feeds)
    return system, fill_impulse(system)


def finite_elements(width_mm):
    """W of a strip fed at x = 0, with a gap of its own along y < width."""
    skfem = pytest.importorskip("skfem")
    x = np.concatenate([np.linspace(0, 20, 41), np.linspace(20, LENGTH, 161)[1:]])
    y = np.append(np.linspace(0, width_mm, 5), width_mm + WIDTH * np.linspace(0, 1, 81)[1:] ** 1.8)
    mesh = skfem.MeshQuad.init_tensor(x / 1000, y / 1000)
    basis = skfem.Basis(mesh, skfem.ElementQuad2())
    in_gap = basis.global_coordinates()[1] * 1000 < width_mm
    k, pore = np.where(in_gap, (width_mm * 1e-3) ** 2 / 12, K), np.where(in_gap, 1.0, PHI)

    @skfem.BilinearForm
    def flow(u, v, w):
        return w["k"] * (u.grad[0] * v.grad[0] + u.grad[1] * v.grad[1])

    @skfem.LinearForm
    def volume(v, w):
        return w["pore"] * v

    matrix, load = flow.assemble(basis, k=k), volume.assemble(basis, pore=pore)
    fed = basis.get_dofs(lambda at: at[0] < 1e-12)
    solved = skfem.solve(*skfem.condense(matrix, load, D=fed))
    return basis, solved


@pytest.mark.parametrize("width_mm", [0.5, 1.0, 3.0])
def test_a_gap_that_meets_the_feed_line_carries_what_finite_elements_say(width_mm):
    basis, solved = finite_elements(width_mm)
    system, w = impulse(gapped(width_mm, EDGE))
    assert_allclose(w.max(), solved.max(), rtol=0.005)
    # Along the gap too, a tenth of the way from the feed on.
    nodes = system.links.channel_mm
    far = nodes[:, 0] > 50
    points = np.stack([nodes[far, 0], np.full(far.sum(), width_mm / 2)]) / 1000
    beside = basis.probes(points) @ solved
    assert_allclose(w[system.links.cells :][far], beside, rtol=0.02)


def test_a_gap_that_stops_short_of_the_feed_is_not_joined_to_it():
    open_to_it = impulse(gapped(1.0, EDGE))[1].max()
    short = impulse(gapped(1.0, [[40.0, 0.0], [LENGTH, 0.0]]))[1].max()
    plain = impulse(gapped(1.0))[1].max()
    assert 1.3 * open_to_it < short < plain


def test_a_feed_across_the_middle_of_a_gap_feeds_it_both_ways():
    _, w = impulse(gapped(1.0, EDGE, feed=[[250.0, 0.0], [250.0, WIDTH]]))
    system, half = impulse(gapped(1.0, EDGE, feed=[[250.0, 0.0], [250.0, WIDTH]], cells=120))
    assert_allclose(w.max(), half.max(), rtol=0.01)
    along = half[system.links.cells :]
    assert_allclose(along, along[::-1], rtol=1e-6)


def test_a_round_feed_over_a_gap_opens_into_it():
    on_it = impulse(gapped(1.0, EDGE, feed=[[250.0, 5.0]], radius_mm=6.0))[1].max()
    off_it = impulse(gapped(1.0, EDGE, feed=[[250.0, 25.0]], radius_mm=6.0))[1].max()
    assert on_it < 0.9 * off_it


def test_gaps_that_meet_at_a_corner_are_one_channel():
    corner = [[LENGTH, 0.0], [LENGTH, WIDTH]]
    apart = [[LENGTH, 8.0], [LENGTH, WIDTH]]
    joined = impulse(gapped(2.0, EDGE, corner))[1].max()
    loose = impulse(gapped(2.0, EDGE, apart))[1].max()
    in_one = impulse(gapped(2.0, [*EDGE, [LENGTH, WIDTH]]))[1].max()
    assert_allclose(joined, in_one, rtol=0.01)
    assert joined < 0.99 * loose


def test_a_feed_that_resists_holds_the_gap_back_too():
    slow = impulse(gapped(1.0, EDGE, resistance_mm=50.0))[1].max()
    assert slow > 1.1 * impulse(gapped(1.0, EDGE))[1].max()
