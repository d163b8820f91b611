"""The obstacle solver against an explicit march that fills one cell at a time."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from analysis.part.flow import obstacle
from analysis.part.flow.filling import fill_plan
from analysis.part.flow.obstacle import fill_state, injected_m3
from analysis.part.flow.system import fill_impulse, make_system, open_feeds
from analysis.part.grid.canvas import lay_canvas
from analysis.part.grid.cells import clip_share, lay_grid
from analysis.part.grid.factor import among
from analysis.part.grid.network import assemble
from analysis.part.plan.outline import l_shape, rectangle
from analysis.part.plan.plan import PartFeed, PartPlan, PartStack, Place, Zone


def march(matrix, feed, pores):
    """Fill cell after cell: pressure solve, time to the next full cell, repeat.

    The textbook control-volume filling (Bruschke and Advani, Polym. Compos. 11, 398-405, 1990),
    written here with dense solves. Gives the impulse at which each cell is full.
    """
    n = len(pores)
    dense = np.asarray(matrix.todense())
    fill, full_at, now = np.zeros(n), np.full(n, np.inf), 0.0
    wet = np.zeros(n, bool)
    while not wet.all():
        pressure = np.zeros(n)
        if wet.any():
            pressure[wet] = np.linalg.solve(dense[np.ix_(wet, wet)], feed[wet])
        inflow = feed - dense @ pressure
        inflow[wet] = 0.0
        room = np.where(
            wet | (inflow <= 1e-300), np.inf, (1 - fill) * pores / np.maximum(inflow, 1e-300)
        )
        step = room.min()
        fill = np.where(wet, 1.0, fill + step * inflow / pores)
        now += step
        done = ~wet & (room <= step * (1 + 1e-12))
        wet |= done
        full_at[done] = now
    return full_at


def uneven_part(seed=3):
    """A part of random permeability and porosity, fed along part of an edge."""
    rng = np.random.default_rng(seed)
    grid = lay_grid(rectangle(240, 200), 12)
    shares = clip_share(rectangle(240, 200), (), grid)
    stack = np.arange(grid.nx * grid.ny).reshape(grid.shape)
    k = 1e-10 * np.exp(rng.standard_normal(stack.size))
    tensors = [np.eye(2) * value * 3e-3 for value in k]
    pore = 3e-3 * rng.uniform(0.3, 0.7, grid.shape)
    links = assemble(grid, shares, stack, tensors, pore)
    feed = np.where((links.centre_mm[:, 0] < 20) & (links.centre_mm[:, 1] < 90), 6e-13, 0.0)
    return make_system(links, feed, np.ones(len(links.first)), links.pore_m3)


def test_total_from_one_solve_equals_the_march_on_any_cells():
    system = uneven_part()
    full_at = march(system.matrix, system.feed_m3, system.pore_m3)
    w = fill_impulse(system)
    assert_allclose(w.max(), full_at.max(), rtol=1e-9)
    assert int(np.argmax(w)) == int(np.argmax(full_at))


def test_fill_states_equal_the_march_at_every_stage():
    system = uneven_part(5)
    full_at = march(system.matrix, system.feed_m3, system.pore_m3)
    n = len(full_at)
    for share in (0.05, 0.2, 0.5, 0.8, 0.99):
        impulse = share * full_at.max()
        state = fill_state(system, impulse, system.pore_m3, np.zeros(n, bool), np.zeros(n))
        clear = np.abs(full_at / impulse - 1) > 1e-6
        assert_allclose(state.wet[clear], (full_at <= impulse)[clear])
        assert_allclose(injected_m3(system, state), system.pore_m3 @ state.fill, rtol=1e-6)


def test_solution_satisfies_the_obstacle_problem():
    stack, patch = PartStack(2e-10, 1e-10, 25.0, 0.5, 3.0), PartStack(5e-11, 5e-11, 0.0, 0.6, 4.0)
    zone = Zone("patch", rectangle(150, 150), patch)
    feed = PartFeed(Place(np.array([[300.0, 0.0], [300.0, 150.0]])))
    plan = PartPlan(l_shape(300, 300, 150, 150), (), stack, (zone,), feeds=(feed,), cells=40)
    system = open_feeds(lay_canvas(plan), plan.feeds)
    assert (system.matrix - system.matrix.T).count_nonzero() == 0
    off = system.matrix.copy()
    off.setdiag(0)
    assert off.max() <= 0  # nothing positive off the diagonal, at any angle
    impulse = 0.4 * fill_impulse(system).max()
    n = len(system.pore_m3)
    from_dry = fill_state(system, impulse, system.pore_m3, np.zeros(n, bool), np.zeros(n))
    from_wet = fill_state(system, impulse, system.pore_m3, np.ones(n, bool), np.zeros(n))
    assert_allclose(from_dry.u, from_wet.u, atol=1e-6 * impulse)
    short = system.matrix @ from_dry.u + system.pore_m3 - impulse * system.feed_m3
    unit = system.pore_m3.mean()
    assert from_dry.u.min() >= 0
    assert from_dry.u.max() <= impulse
    assert short.min() >= -1e-6 * unit
    assert np.abs(short[from_dry.wet]).max() < 1e-6 * unit


def test_wet_part_grows_with_the_impulse():
    plan = PartPlan(
        rectangle(300, 200),
        (),
        PartStack(3e-10, 1e-10, 40.0, 0.5, 3.0),
        feeds=(PartFeed(Place(np.array([[150.0, 100.0]]), 5.0)),),
        cells=30,
    )
    system = open_feeds(lay_canvas(plan), plan.feeds)
    top = fill_impulse(system).max()
    n = len(system.pore_m3)
    before = np.zeros(n, bool)
    for share in np.linspace(0.05, 1.0, 9):
        state = fill_state(system, share * top, system.pore_m3, np.zeros(n, bool), np.zeros(n))
        assert not (before & ~state.wet).any()
        before = state.wet


def test_a_matrix_too_large_to_copy_is_worked_on_whole_with_the_same_result(monkeypatch):
    outline = rectangle(500, 300)
    feed = PartFeed(Place(np.array([[0.0, 0.0], [0.0, 200.0]])))
    plan = PartPlan(outline, (), PartStack(2e-10, 1e-10, 30.0, 0.5, 3.0), feeds=(feed,), cells=130)
    picked = fill_plan(plan, steps=8)
    monkeypatch.setattr(obstacle, "WIDE_FROM", 1300)
    whole = fill_plan(plan, steps=8)
    assert_allclose(whole.arrival, picked.arrival, rtol=1e-6)
    assert whole.mass_error < 1e-7


def test_cells_picked_out_of_a_matrix_are_those_that_scipy_picks():
    matrix = uneven_part().matrix
    count = matrix.shape[0]
    some = np.random.default_rng(2).random(count) < 0.6
    for inside in (some, np.ones(count, bool), np.zeros(count, bool), np.arange(count) == 7):
        cells = np.flatnonzero(inside).astype(np.int32)
        mine, theirs = among(matrix, inside, cells), matrix[cells][:, cells]
        assert mine.shape == theirs.shape
        for name in ("data", "indices", "indptr"):
            assert getattr(mine, name).tobytes() == getattr(theirs, name).tobytes(), name
