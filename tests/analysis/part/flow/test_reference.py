"""The front against an independent finite element filling on a triangle mesh (scikit-fem).

Assembled by scikit-fem (Gustafsson and McBain, J. Open Source Softw. 5, 2369, 2020), marched here
by the control-volume method on nodes (Bruschke and Advani, Polym. Compos. 11, 398-405, 1990): other
mesh, other elements, other way through time.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import LinearNDInterpolator
from scipy.sparse.linalg import spsolve

from analysis.part.flow.filling import fill_plan
from analysis.part.plan.outline import l_shape, rectangle
from analysis.part.plan.plan import PartFeed, PartPlan, PartStack, Place, Zone

skfem = pytest.importorskip("skfem")

SIDE, HOLE, PATCH = 480.0, ((110.0, 330.0), (190.0, 410.0)), ((240.0, 0.0), (480.0, 240.0))
BASE = PartStack(1.0e-10, 1.0e-10, 0.0, 0.5, 3.0)
SECOND = PartStack(3.0e-10, 0.8e-10, 30.0, 0.4, 2.0)
MESH_MM = 12.0


def tensor(stack):
    c, s = np.cos(np.deg2rad(stack.angle_deg)), np.sin(np.deg2rad(stack.angle_deg))
    turn = np.array([[c, -s], [s, c]])
    return turn @ np.diag([stack.k1_m2, stack.k2_m2]) @ turn.T * stack.thickness_mm * 1e-3


def within(x, y, box):
    return (x > box[0][0]) & (x < box[1][0]) & (y > box[0][1]) & (y < box[1][1])


def mesh_in_mm():
    """Triangles on an L with a square hole, the inner nodes shaken off their lattice."""
    ticks = np.arange(0.0, SIDE + 1, MESH_MM)
    mesh = skfem.MeshTri.init_tensor(ticks, ticks)
    x, y = mesh.p[:, mesh.t].mean(axis=1)
    out = within(x, y, ((SIDE / 2, SIDE / 2), (SIDE, SIDE))) | within(x, y, HOLE)
    mesh = mesh.remove_elements(np.flatnonzero(out))
    fixed = np.zeros(mesh.p.shape[1], bool)
    fixed[mesh.boundary_nodes()] = True
    px, py = mesh.p
    fixed |= ((px == PATCH[0][0]) & (py <= PATCH[1][1])) | (
        (py == PATCH[1][1]) & (px >= PATCH[0][0])
    )
    shake = np.random.default_rng(1).uniform(-0.25, 0.25, mesh.p.shape) * MESH_MM
    return skfem.MeshTri(np.where(fixed, mesh.p, mesh.p + shake), mesh.t)


def finite_elements(mesh):
    """Stiffness and pore volume per node, in SI."""
    basis = skfem.Basis(skfem.MeshTri(mesh.p / 1000, mesh.t), skfem.ElementTriP1())
    x, y = np.asarray(basis.global_coordinates()) * 1000
    second = within(x, y, PATCH)
    k = np.where(second, tensor(SECOND)[..., None, None], tensor(BASE)[..., None, None])
    pore = np.where(
        second, SECOND.porosity * SECOND.thickness_mm, BASE.porosity * BASE.thickness_mm
    )

    @skfem.BilinearForm
    def flow(u, v, w):
        return np.einsum("ijkl,jkl,ikl->kl", w["k"], u.grad, v.grad)

    @skfem.LinearForm
    def volume(v, w):
        return w["pore"] * v

    return flow.assemble(basis, k=k).tocsr(), volume.assemble(basis, pore=pore * 1e-3)


def march(stiffness, pores, feed):
    """Impulse at which each node's control volume is half full."""
    n = len(pores)
    fill = np.where(feed, 1.0, 0.0)
    half = np.where(feed, 0.0, np.inf)
    now = 0.0
    while fill.min() < 1:
        wet = np.flatnonzero((fill >= 1) & ~feed)
        pressure = np.where(feed, 1.0, 0.0)
        if len(wet):
            rows = stiffness[wet]
            pressure[wet] = spsolve(rows[:, wet].tocsc(), -(rows @ pressure))
        inflow = np.maximum(-(stiffness @ pressure), 0.0)
        rate = np.where(fill < 1, inflow / pores, 0.0)
        moving = rate > 1e-12 * rate.max()
        wait = np.where(moving, (1 - fill) / np.where(moving, rate, 1.0), np.inf)
        # Nodes that would fill within a hair of the first are filled with it.
        step = wait.min() * 1.000001
        crossing = (fill < 0.5) & (fill + step * rate >= 0.5)
        half[crossing] = now + (0.5 - fill[crossing]) / rate[crossing]
        fill = np.where(fill + step * rate >= 1 - 1e-9, np.maximum(fill, 1.0), fill + step * rate)
        now += step
        assert now < 1e14
    assert n == len(half)
    return half


@pytest.mark.slow
def test_front_lines_agree_with_finite_elements_within_a_cell():
    mesh = mesh_in_mm()
    feed = mesh.p[0] == 0.0
    half = march(*finite_elements(mesh), feed)

    hole = rectangle(HOLE[1][0] - HOLE[0][0], HOLE[1][1] - HOLE[0][1]) + HOLE[0]
    zone = Zone("patch", rectangle(SIDE / 2, SIDE / 2) + PATCH[0], SECOND)
    line = PartFeed(Place(np.array([[0.0, 0.0], [0.0, SIDE]])))
    outline = l_shape(SIDE, SIDE, SIDE / 2, SIDE / 2)
    plan = PartPlan(outline, (hole,), BASE, (zone,), feeds=(line,), cells=40)
    fill = fill_plan(plan)

    grid = fill.links.grid
    ours = LinearNDInterpolator(fill.links.centre_mm, fill.arrival)(mesh.p.T)
    slope_y, slope_x = np.gradient(fill.arrival_map, grid.dy_mm, grid.dx_mm)
    steep = LinearNDInterpolator(
        fill.links.centre_mm, np.hypot(slope_x, slope_y)[fill.links.number >= 0]
    )(mesh.p.T)
    known = np.isfinite(ours) & np.isfinite(steep) & (steep > 0)
    assert known.mean() > 0.75
    off_mm = np.abs(ours - half)[known] / steep[known]
    assert off_mm.max() < grid.dx_mm
    assert np.percentile(off_mm, 98) < 0.5 * grid.dx_mm
    assert np.sqrt(np.mean(off_mm**2)) < 0.25 * grid.dx_mm
    assert abs(half.max() / fill.total - 1) < 0.02
