"""The chart of a part: planned, seen, the end with its range, gel."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.outlook.numbers import Forecast, PartNumbers
from analysis.page.part_chart import part_chart_svg, planned_share
from analysis.part.flow.filling import fill_plan
from analysis.watch.part.board import PartBoard
from tests.made_up.part_board import LEFT
from tests.made_up.parts.cut_offs import flow_case, job_of


@pytest.fixture(scope="module")
def planned():
    job = job_of(flow_case("good", "plain")[0])
    fill = fill_plan(job.plan, steps=12)
    arrival = fill.arrival[: fill.links.cells]
    return Forecast(fill.links, 1200.0 * arrival / arrival.max())


def board(**more):
    numbers = PartNumbers(
        0.6, 0.01, left=LEFT, last_s=600.0, time_s=np.array([200.0, 400.0]),
        shares=np.array([0.3, 0.5]),
    )  # fmt: skip
    return PartBoard("cover", part=replace(numbers, **more))


@pytest.mark.parametrize("narrow", [False, True])
def test_planned_seen_and_range_are_named(planned, narrow):
    shown = part_chart_svg(board(), planned, narrow)
    for words in ("planned", "seen", "full, range", "wet, % of the part"):
        assert f"<!-- {words} -->" in shown or words in shown


def test_gel_is_drawn_when_it_is_near(planned):
    assert "gel" in part_chart_svg(board(), planned)
    far = replace(LEFT, gel_s=50_000.0)
    assert "<!-- gel" not in part_chart_svg(board(left=far), planned)


def test_before_resin_the_plan_alone_is_drawn(planned):
    assert "planned" in part_chart_svg(PartBoard("cover"), planned)


def test_the_planned_share_is_that_of_the_area(planned):
    share = planned_share(planned, np.array([0.0, 300.0, 1200.0]))
    assert share[2] == 1.0
    # x^2 = k t on an even plate fed from one side (Darcy): half is wet at a quarter of the time.
    assert share[1] == pytest.approx(0.5, abs=0.02)
