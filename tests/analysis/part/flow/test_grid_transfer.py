"""Carrying values between grids."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from analysis.part.flow.grid_transfer import carry
from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.outline import l_shape
from analysis.part.plan.plan import PartPlan, PartStack

PLAN = PartPlan(l_shape(400, 300, 200, 150), (), PartStack(1e-10, 1e-10, 0.0, 0.5, 3.0), cells=20)


def test_a_linear_field_is_carried_exactly_inside_and_a_constant_everywhere():
    coarse, fine = lay_canvas(PLAN).links, lay_canvas(PLAN, 40).links
    matrix = carry(coarse, fine.centre_mm)
    assert_allclose(matrix @ np.full(coarse.count, 3.0), 3.0)
    field = coarse.centre_mm @ (2.0, -1.0)
    x, y = fine.centre_mm.T
    inner = (x > 15) & (x < 180) & (y > 15) & (y < 285)
    assert_allclose((matrix @ field)[inner], (fine.centre_mm @ (2.0, -1.0))[inner])


def test_a_point_off_the_grid_takes_the_nearest_cell():
    links = lay_canvas(PLAN).links
    matrix = carry(links, np.array([[-500.0, 10.0]]))
    nearest = int(np.argmin(np.hypot(*(links.centre_mm - (-500.0, 10.0)).T)))
    assert_allclose(matrix @ np.arange(links.count), nearest)
