"""What lies near a place, in words."""

import numpy as np
import pytest

from analysis.infusion.beside.surroundings import Surroundings
from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.plan import PartFeed, PartPlan, PartStack, Place, Zone

STACK = PartStack(1e-10, 1e-10, 0.0, 0.5, 3.0)
BENT = np.array([[0, 0], [400, 0], [400, 100], [200, 100], [200, 200], [0, 200]], float)
HOLE = np.array([[60, 60], [100, 60], [100, 100], [60, 100]], float)
ZONE = Zone("rib", np.array([[300, 0], [400, 0], [400, 100], [300, 100]], float), STACK)


@pytest.fixture(scope="module", params=["down", "up"])
def around(request):
    feed = PartFeed(Place(np.array([[0.0, 0.0], [0.0, 200.0]])), name="left line")
    plan = PartPlan(BENT, (HOLE,), STACK, (ZONE,), (), (feed,), y_runs=request.param)
    return Surroundings(plan, lay_canvas(plan, 40).links)


def near(around, x, y, reach=15):
    return np.hypot(*(around.centre_mm - (x, y)).T) < reach


def test_words_name_side_hole_zone_and_feed(around):
    rows = ("top", "bottom") if around.plan.y_runs == "down" else ("bottom", "top")
    assert around.words(near(around, 350, 50)) == f"at the {rows[0]} right, in zone rib"
    assert "at the hole" in around.words(near(around, 110, 80))
    assert "by left line" in around.words(near(around, 10, 100))
    assert around.words(near(around, 10, 180)).startswith(f"at the {rows[1]} left")


def test_only_the_inner_corner_and_the_holes_corners_count(around):
    at = around.corner_mm
    assert at[near(around, 195, 95)].min() < 10
    assert at[near(around, 65, 55)].min() < 12
    assert at[near(around, 395, 5)].min() > 100


def test_distances_to_walls_are_those_of_outline_and_hole(around):
    cell = near(around, 80, 45, 6)
    assert around.wall_mm[cell] == pytest.approx(60 - around.centre_mm[cell, 1], abs=0.01)
