"""Moving the feeds of a layout."""

from __future__ import annotations

import numpy as np

from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.outline import rectangle
from analysis.part.plan.plan import PartPlan, PartStack, Place, Vent
from analysis.part.plan.search_goal import SearchGoal
from analysis.part.search.layout_score import Judge
from analysis.part.search.moves import improve
from analysis.part.search.search import search

PLAN = PartPlan(
    rectangle(500, 300),
    (),
    PartStack(1e-10, 1e-10, 0.0, 0.5, 3.0),
    vents=(Vent(Place(np.array([[0.0, 0.0], [0.0, 300.0]]))),),
    cells=40,
)


def point(x, y):
    return Place(np.array([[x, y]], float), 5.0)


def test_two_points_end_no_worse_than_the_best_symmetric_pair():
    judge = Judge(PLAN, lay_canvas(PLAN))
    symmetric = min(
        judge.judge((point(250 - off, 150), point(250 + off, 150))).total
        for off in np.linspace(75, 175, 41)
    )
    found = search(PLAN, SearchGoal(True, 2, "point", keep=1))[0]
    assert found.total < 1.005 * symmetric


def test_feeds_that_block_each_other_are_moved_together():
    # Both stand too far to the left: either alone, moved to the right, makes it worse or no better.
    judge = Judge(PLAN, lay_canvas(PLAN))

    def score(one):
        return one.total, 0.0

    start = (point(60, 150), point(310, 150))
    best = improve(judge.judge, PLAN, SearchGoal(True, 2, "point"), score, start)
    across = sorted(place.points_mm[0, 0] for place in best.layout)
    assert np.abs(np.array(across) - [125, 375]).max() < 12
    quarters = judge.judge((point(125, 150), point(375, 150))).total
    assert best.total < 1.005 * quarters


def test_a_layout_at_its_best_stays():
    judge = Judge(PLAN, lay_canvas(PLAN))

    def far_off(one):
        return -one.last_mm[0], 0.0  # nothing moves the last spot past the wall

    start = (point(60, 150),)
    best = improve(judge.judge, PLAN, SearchGoal(True, 1, "point"), far_off, start)
    assert best.layout[0].points_mm.tolist() == start[0].points_mm.tolist()
