"""Cell shares, links and tensors."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.part.grid.cells import Grid, clip_share, coverage, lay_grid, openings_x, openings_y
from analysis.part.grid.feeds import point_feed
from analysis.part.grid.network import (
    assemble,
    laplacian,
    permeability_tensor,
    split_tensor,
    unreached,
)
from analysis.part.plan.outline import disc, inside, rectangle


def test_coverage_of_a_slanted_edge_is_exact():
    grid = Grid(0, 0, 1, 1, 4, 2)
    triangle = np.array([[0, 0], [4, 0], [0, 2.0]])
    assert_allclose(coverage(triangle, grid), [[1, 1, 0.75, 0.25], [0.75, 0.25, 0, 0]], atol=1e-12)
    assert_allclose(coverage(triangle[::-1], grid), coverage(triangle, grid))


@pytest.mark.parametrize("cells", [7, 30, 101])
def test_shares_add_up_to_the_area_of_disc_less_hole(cells):
    outline, hole = disc(250), disc(80, (60.0, -40.0))
    grid = lay_grid(outline, cells)
    shares = clip_share(outline, [hole], grid)
    share = shares.cell
    area = share.sum() * grid.dx_mm * grid.dy_mm
    assert_allclose(area, np.pi * (250**2 - 80**2), rtol=1e-9)
    assert share.min() >= 0
    assert share.max() <= 1
    assert shares.open_x.shape == (grid.ny, grid.nx - 1)
    assert shares.open_y.shape == (grid.ny - 1, grid.nx)


def test_openings_follow_the_wall():
    grid = Grid(0, 0, 1, 1, 3, 3)
    triangle = np.array([[0, 0], [3, 0], [0, 3.0]])
    assert_allclose(openings_x(triangle, grid), [[1, 1], [1, 0], [0, 0]], atol=1e-12)
    assert_allclose(openings_y(triangle, grid), openings_x(triangle, grid).T, atol=1e-12)


def test_inside_agrees_with_the_shape():
    rng = np.random.default_rng(0)
    points = rng.uniform(-300, 300, (500, 2))
    assert_allclose(inside(points, disc(200)), np.hypot(*points.T) < 200)


@pytest.mark.parametrize("ratio", [1.0, 3.0, 40.0, 1000.0])
@pytest.mark.parametrize("angle", [0.0, 17.0, 45.0, 88.0, 133.0])
def test_tensor_is_split_into_positive_links(ratio, angle):
    tensor = permeability_tensor(ratio, 1.0, angle)
    links = split_tensor(tensor)
    assert len(links) <= 3
    assert all(weight > 0 for _, weight in links)
    again = sum(weight * np.outer(e, e) for e, weight in links)
    assert_allclose(again, tensor, rtol=1e-9, atol=1e-8 * ratio)


def test_links_hold_a_linear_field_in_balance():
    # No source: div(K grad u) = 0 for linear u, away from walls, at any angle.
    outline = rectangle(300, 200)
    grid = lay_grid(outline, 30)
    shares = clip_share(outline, [], grid)
    tensor = permeability_tensor(5.0, 1.0, 33.0)
    stack = np.zeros(grid.shape, int)
    links = assemble(grid, shares, stack, [tensor], np.ones(grid.shape), [outline])
    u = links.centre_mm @ (0.3, -0.7)
    out = links.field(laplacian(links) @ u)
    assert np.abs(out[3:-3, 3:-3]).max() < 1e-9 * np.abs(out).max() + 1e-12


def test_every_cell_has_a_way_in_even_in_a_very_uneven_stack():
    outline = rectangle(500, 300)
    grid = lay_grid(outline, 60)
    shares = clip_share(outline, [], grid)
    tensor = permeability_tensor(100.0, 1.0, 30.0)
    stack, pore = np.zeros(grid.shape, int), np.ones(grid.shape)
    links = assemble(grid, shares, stack, [tensor], pore, [outline])
    reached = ~unreached(laplacian(links), (np.arange(links.count) == 0).astype(float))
    assert reached.all()


@pytest.mark.parametrize("offset", [(0.0, 0.0), (0.5, 0.5), (0.3, 0.1)])
@pytest.mark.parametrize("radius", [1.0, 5.0, 12.0, 40.0])
def test_round_feed_carries_what_its_radius_should(offset, radius):
    # Steady radial flow to a ring at R: Q = 2 pi K h / ln(R / r0) (Dupuit; Thiem 1906).
    outline = disc(250)
    grid = lay_grid(outline, 60)
    shares = clip_share(outline, [], grid)
    stack = np.zeros(grid.shape, int)
    links = assemble(grid, shares, stack, [np.eye(2)], np.ones(grid.shape), [outline])
    centre = (offset[0] * grid.dx_mm, offset[1] * grid.dy_mm)
    feed = point_feed(links, centre, radius, np.eye(2))
    away = np.hypot(*(links.centre_mm - centre).T)
    ring = away > 200
    keep = feed.keep
    matrix = laplacian(links, keep).todense() + np.diag(feed.feed_m3)
    known = np.where(ring, np.log(away / radius), 0.0)
    free = ~ring
    u = known.copy()
    u[free] = np.linalg.solve(
        matrix[np.ix_(free, free)], -np.asarray(matrix[np.ix_(free, ring)] @ known[ring]).ravel()
    )
    flow = feed.feed_m3 @ u
    assert_allclose(flow, 2 * np.pi, rtol=0.012)
