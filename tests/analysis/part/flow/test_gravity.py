"""Parts that do not lie level, against the closed form of a sloping strip."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.part.flow.filling import fill_plan
from analysis.part.plan.outline import rectangle
from analysis.part.plan.plan import Heights, PartFeed, PartPlan, PartStack, Place, Vent

K, PHI = 1.0e-10, 0.5


def strip(rise, across=0.0, share_per_m=0.11, cells=50):
    """A strip 1 m long and 200 mm wide, fed on the left, that rises by so much per length."""
    return PartPlan(
        rectangle(1000, 200),
        (),
        PartStack(K, K, 0.0, PHI, 3.0),
        feeds=(PartFeed(Place(np.array([[0.0, 0.0], [0.0, 200.0]]))),),
        vents=(Vent(Place(np.array([[1000.0, 0.0], [1000.0, 200.0]]))),),
        cells=cells,
        heights=Heights(0.0, (rise, across, 0.0), share_per_m / 1000),
    )


def sloping_law(x_m, head_per_m):
    """Impulse at which the front has run x.

    porosity dx / dtheta = K (1 - head x) / x, integrated: Darcy's law with a sharp front and
    gravity.
    """
    return PHI / K * (-x_m / head_per_m - np.log1p(-head_per_m * x_m) / head_per_m**2)


@pytest.mark.parametrize("rise", [0.9, 0.3, -0.9])
def test_a_sloping_strip_fills_as_the_closed_form(rise):
    fill = fill_plan(strip(rise))
    head = 0.11 * rise
    assert_allclose(fill.total, sloping_law(1.0, head), rtol=0.002)
    x = fill.links.centre_mm[:, 0] / 1000
    inner = x > 0.1
    assert_allclose(fill.arrival[inner], sloping_law(x[inner], head), rtol=0.01)
    assert fill.mass_error < 1e-3
    # The level strip is off by two thirds of the head, to first order.
    level = fill_plan(strip(0.0)).total
    assert_allclose(fill.total / level - 1, 2 / 3 * head, atol=0.6 * head**2)


def test_a_slope_across_the_flow_drives_it_down_the_slope():
    fill = fill_plan(strip(0.0, across=0.9))
    level = fill_plan(strip(0.0))
    x, y = fill.links.centre_mm.T
    middle = np.abs(x - 500) < 30
    low, high = (fill.arrival[middle & side].mean() for side in (y < 40, y > 160))
    assert high > 1.01 * low
    assert abs(fill.total / level.total - 1) < 0.03


def test_a_later_feed_on_a_slope_keeps_the_balance():
    second = PartFeed(Place(np.array([[500.0, 0.0], [500.0, 200.0]])), opens_when_wet=True)
    plan = strip(0.9)
    plan = dataclasses.replace(plan, feeds=(*plan.feeds, second))
    fill = fill_plan(plan, steps=20)
    assert len(fill.stages) == 2
    assert fill.mass_error < 2e-3
    assert np.all(np.diff(fill.step_injected_m3) > 0)
