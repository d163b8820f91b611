"""Round feeds on the grid."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.part.grid.cells import clip_share, lay_grid
from analysis.part.grid.feeds import point_feed
from analysis.part.grid.network import (
    assemble,
    laplacian,
)
from analysis.part.plan.outline import disc


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
