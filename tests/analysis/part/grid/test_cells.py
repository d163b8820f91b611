"""Cell shares."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.part.grid.cells import Grid, clip_share, coverage, lay_grid, openings_x, openings_y
from analysis.part.plan.outline import disc, inside


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
