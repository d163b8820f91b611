"""Judging and searching layouts of feeds."""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.part.flow.filling import fill_plan
from analysis.part.flow.system import fill_impulse, open_feeds
from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.outline import inside, l_shape, line_distance_mm, rectangle
from analysis.part.plan.plan import PartFeed, PartPlan, PartStack, Place, Vent, Zone
from analysis.part.plan.search_goal import SearchGoal
from analysis.part.search import layout_score as part_judge
from analysis.part.search.candidates import CLEAR, candidates, line_at
from analysis.part.search.layout_score import Judge
from analysis.part.search.search import (
    _given,
    distinct,
    rank_layouts,
    score,
    search,
    with_layout,
)
from analysis.part.search.spacing import greatest_spacing, plain_spacing_mm
from vision.errors import WetlineError

K, PHI = 1.0e-10, 0.5
STACK = PartStack(K, K, 0.0, PHI, 3.0, 0.8, 1.2)


def strip(width=150.0, **more):
    vent = Vent(Place(np.array([[600.0, 0.0], [600.0, width]])))
    return PartPlan(rectangle(600, width), (), STACK, vents=(vent,), cells=60, **more)


def uneven():
    zone = Zone(
        "patch", rectangle(200, 200) + np.array([20, 20]), PartStack(4e-10, 1e-10, 35.0, 0.4, 5.0)
    )
    hole = rectangle(60, 50) + np.array([60, 300])
    vent = Vent(Place(np.array([[0.0, 500.0], [250.0, 500.0]])))
    return PartPlan(l_shape(500, 500, 250, 250), (hole,), STACK, (zone,), vents=(vent,), cells=50)


def point(x, y, radius=6.0):
    return Place(np.array([[x, y]], float), radius)


def line(*points):
    return Place(np.array(points, float))


LAYOUTS = [
    (point(120, 120),),
    (point(120, 120), point(400, 90, 30.0)),
    (line((300, 20), (300, 230)),),
    (line((300, 20), (300, 230)), point(60, 420)),
]


@pytest.mark.parametrize("few", [0, 10_000])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_judge_finds_what_a_fresh_solve_finds(layout, few, monkeypatch):
    # Both ways: through the shared factors (Woodbury) and by multigrid.
    monkeypatch.setattr(part_judge, "FEW", few)
    plan = uneven()
    judge = Judge(plan, lay_canvas(plan))
    fresh = fill_impulse(open_feeds(lay_canvas(plan), with_layout(plan, layout).feeds))
    assert_allclose(judge.w(layout), fresh, rtol=1e-6, atol=1e-6 * fresh.max())
    assert_allclose(judge.judge(layout).total, fresh.max(), rtol=1e-7)
    assert_allclose(judge.judge(layout).total, fresh.max(), rtol=1e-7)  # kept columns serve again


def test_one_feed_line_goes_to_the_middle():
    # Least time for one line is half way across the shorter side: porosity (L/2)^2 / (2 K).
    best = search(strip(900.0), SearchGoal(True, 1, "line", keep=2))[0]
    (place,) = best.layout
    assert_allclose(place.points_mm[:, 0], 300, atol=9)
    assert_allclose(best.total, PHI * 0.3**2 / (2 * K), rtol=0.03)


def test_two_feed_lines_go_to_the_quarters():
    best = search(dataclasses.replace(strip(900.0), cells=40), SearchGoal(True, 2, "line", keep=1))[
        0
    ]
    across = sorted(float(place.points_mm[:, 0].mean()) for place in best.layout)
    assert all(np.ptp(place.points_mm[:, 0]) < 1 for place in best.layout)
    assert_allclose(across, [150, 450], atol=12)
    assert_allclose(best.total, PHI * 0.15**2 / (2 * K), rtol=0.1)


def test_point_feed_stays_in_its_area_and_ranking_is_in_order():
    plan = strip()
    area = rectangle(150, 150) + np.array([60, 0])
    ranked = search(plan, SearchGoal(True, 1, "point", 6.0, (area,), keep=2))
    totals = [one.total for one in ranked]
    assert totals == sorted(totals)
    for one in ranked:
        assert inside(one.layout[0].points_mm, area).all()
    # The best place is the end of the area nearest to the middle of the strip.
    assert ranked[0].layout[0].points_mm[0, 0] > 180


def test_vents_last_puts_the_vent_at_the_end():
    plan = strip()
    best = search(plan, SearchGoal(True, 1, "line", wish="vents last"))[0]
    assert best.vent_lag < 0.01
    assert best.last_mm[0] > 580


def test_a_target_time_may_be_asked_for():
    plan = strip()
    target = PHI * 0.45**2 / (2 * K)
    best = search(plan, SearchGoal(True, 1, "line"), target)[0]
    assert abs(np.log(best.total / target)) < 0.05


def test_the_given_feeds_are_a_start_too():
    feed = PartFeed(point(250, 60))
    plan = strip(feeds=(feed,))
    best = search(plan, SearchGoal(True, 1, "point", keep=1))[0]
    own = Judge(plan, lay_canvas(plan)).judge((feed.place,))
    assert best.total <= own.total * (1 + 1e-9)
    assert _given(plan, SearchGoal(True, 1, "point")) == [(feed.place,)]
    assert _given(plan, SearchGoal(True, 2, "point")) == []
    assert _given(plan, SearchGoal(True, 1, "line")) == []


def test_search_is_the_same_every_time():
    first, second = (search(strip(), SearchGoal(True, 1, "point", keep=1)) for _ in range(2))
    for one, other in zip(first, second, strict=True):
        assert one.total == other.total
        assert_allclose(one.layout[0].points_mm, other.layout[0].points_mm)


def test_feeds_keep_clear_of_vents_and_holes():
    plan = uneven()
    for place in candidates(plan, SearchGoal(True, 1, "point")):
        assert line_distance_mm(place.points_mm, plan.vents[0].place.points_mm)[0] > CLEAR * 500
        assert not inside(place.points_mm, plan.holes_mm[0]).any()
    lines = candidates(plan, SearchGoal(True, 1, "line"))
    assert lines
    for place in lines:
        points = place.points_mm[0] + np.linspace(0, 1, 50)[:, None] * np.diff(
            place.points_mm, axis=0
        )
        assert inside(points, plan.outline_mm).all()


def test_no_room_for_a_feed_is_told():
    nook = SearchGoal(True, 1, "line", allowed_mm=(rectangle(3, 3) + np.array([596, 70]),))
    with pytest.raises(WetlineError, match="leaves no room for a feed"):
        search(strip(), nook)


def test_many_layouts_are_ranked_alike_on_one_core_and_on_two():
    plan = strip()
    places = candidates(plan, SearchGoal(True, 2, "point"))
    layouts = list(itertools.combinations(places, 2))[:20]
    alone = rank_layouts(plan, layouts, 40, workers=1)
    shared = rank_layouts(plan, layouts, 40, workers=2)
    assert_allclose([r.total for r in alone], [r.total for r in shared], rtol=1e-9)
    assert [r.layout[0].points_mm[0, 0] for r in shared] == [
        layout[0].points_mm[0, 0] for layout in layouts
    ]


def test_near_copies_are_shown_once():
    plan = strip()
    judge = Judge(plan, lay_canvas(plan))
    two = [judge.judge((line((x, 10), (x, 140)),)) for x in (300, 304, 420)]
    assert len(distinct(two, plan, 5)) == 2


def test_score_follows_the_wish():
    one = part_judge.Ranked((), 8.0, (0.0, 0.0), 0.3)
    assert score(one, SearchGoal(), None)[0] == 8.0
    assert score(one, SearchGoal(wish="vents last"), None)[0] == 0.3
    assert score(one, SearchGoal(), 8.0)[0] == 0.0


def test_total_of_a_layout_is_that_of_its_filling():
    plan = strip()
    layout = (point(200, 75),)
    total = Judge(plan, lay_canvas(plan)).judge(layout).total
    assert_allclose(fill_plan(with_layout(plan, layout), steps=8).sweep_total, total, rtol=1e-6)


def test_greatest_spacing_of_feed_lines():
    # Half the spacing on either side: s = 2 sqrt(2 K theta / porosity), at the low end of K.
    plan = strip(400.0)
    impulse = PHI * 0.11**2 / (2 * K * 0.8)
    assert_allclose(plain_spacing_mm(STACK, impulse, 0.0), 220.0)
    along_y, along_x = greatest_spacing(plan, SearchGoal(), impulse)
    assert (along_y.along, along_x.along) == ("y", "x")
    assert along_y.lines == 3  # 600 / 220 = 2.7
    assert along_y.spacing_mm == pytest.approx(200.0)
    assert along_y.total <= impulse
    assert along_x.lines == 2
    few = greatest_spacing(plan, SearchGoal(), impulse / 1000)
    assert few[0].lines is None


def test_uneven_stack_spaces_lines_by_its_direction():
    stack = dataclasses.replace(STACK, k1_m2=4 * K)
    ratio = plain_spacing_mm(stack, 1e8, 0.0) / plain_spacing_mm(stack, 1e8, 90.0)
    assert ratio == pytest.approx(2.0)


def test_line_at_takes_the_longest_piece():
    plan = uneven()
    place = line_at(plan, SearchGoal(), 0, 90.0)  # x = 90 runs through the hole at y = 300 to 350
    assert place is not None
    assert place.points_mm[0, 1] < 5
    assert 290 < place.points_mm[1, 1] < 301
    assert PartFeed(place).place.is_line
