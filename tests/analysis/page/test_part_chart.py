"""The chart of a part: planned, seen, the end with its range, gel."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.axes import Axes

from analysis.infusion.outlook.numbers import Forecast, PartNumbers
from analysis.page.part_chart import part_chart_svg, planned_share
from analysis.part.flow.filling import fill_plan
from analysis.runs.panels.good_run import Reference
from analysis.runs.repeat.band import good_band
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


def band_of(*factors):
    """Return the band of runs that fill as the square root of time, to 98 % at 1,200 s."""
    share = np.linspace(0.0, 98.0, 50)
    clock = 1200.0 * (share / 98.0) ** 2
    runs = [Reference(f"day {k}", f * clock, share, f * 1200.0) for k, f in enumerate(factors)]
    return good_band(runs, unit="% wet")


@pytest.mark.parametrize("narrow", [False, True])
def test_the_band_of_good_runs_is_hatched_and_named(planned, narrow):
    shown = part_chart_svg(board(), planned, narrow, band_of(0.95, 1.0, 1.06))
    assert "good runs" in shown
    assert "<pattern" in shown  # matplotlib's hatch
    assert "good runs" not in part_chart_svg(board(), planned, narrow)


def test_the_band_starts_at_nothing_wet_and_ends_with_the_slowest(planned, monkeypatch):
    drawn = []
    fill = Axes.fill_betweenx
    monkeypatch.setattr(Axes, "fill_betweenx", lambda *a, **k: (drawn.append(a), fill(*a, **k))[1])
    good = band_of(0.9, 1.0, 1.1)
    part_chart_svg(board(), planned, good=good)
    axes, percent, early, late = drawn[0]
    assert (percent[0], early[0], late[0]) == (0.0, 0.0, 0.0)
    assert (np.diff(percent) > 0).all()
    assert (np.diff(late) >= 0).all()
    assert (early <= late).all()
    assert late[-1] == pytest.approx(good.late_s[-1] / 60)
    assert axes.get_xlim()[1] >= min(late[-1], 2 * 1400 / 60)  # or twice the forecast's own end
    # Half of 98 % at a quarter of the time: x^2 = k t (Darcy, constant drive).
    quarter = np.interp(49.0, percent, np.sqrt(early * late))
    assert quarter == pytest.approx(1200 * (0.9 * 1.0 * 1.1) ** (1 / 3) / 4 / 60, rel=0.01)
