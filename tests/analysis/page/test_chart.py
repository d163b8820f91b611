"""Distance against time with the forecast, drawn for the page."""

import re
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.axes import Axes

from analysis.page.chart import chart_svg
from analysis.runs.panels.good_run import reference_from
from analysis.runs.repeat.band import good_band
from analysis.watch.board import Board
from tests.made_up.boards import forecast_board

TIMES = np.linspace(1.0, 900.0, 60)
GOOD = (reference_from("good", TIMES, np.sqrt(100.0 * TIMES)),)


def words(svg):
    """Texts of a chart; matplotlib writes each as a comment beside its outlines, or as text."""
    ElementTree.fromstring(svg)
    return " ".join([*re.findall(r"<!-- (.*?) -->", svg), *re.findall(r">([^<>]+)</text>", svg)])


def test_measured_points_forecast_and_gel_are_named():
    shown = words(chart_svg(forecast_board()))
    for name in ("measured", "forecast", "95 % band", "end of the panel", "gel"):
        assert name in shown
    assert "good runs" not in shown


@pytest.mark.parametrize("narrow", [False, True])
def test_good_runs_are_drawn_before_the_first_picture_too(narrow):
    shown = words(chart_svg(Board("strip"), GOOD, narrow=narrow))
    assert "good runs" in shown
    assert "measured" not in shown


def test_the_band_of_good_runs_goes_on_until_the_slowest_is_there(monkeypatch):
    drawn = []
    fill = Axes.fill_betweenx
    monkeypatch.setattr(Axes, "fill_betweenx", lambda *a, **k: (drawn.append(a), fill(*a, **k))[1])
    chart_svg(forecast_board(), GOOD)
    _, front_mm, early, late = drawn[0]
    good = good_band(GOOD)
    assert (front_mm[0], early[0], late[0]) == (0.0, 0.0, 0.0)
    assert front_mm[-1] == good.distance_mm[-1]
    assert late[-1] == pytest.approx(good.late_s[-1] / 60)
    assert late[-1] > good.middle_s[-1] / 60 > early[-1]


def test_a_run_that_never_ends_still_has_a_chart():
    board = forecast_board(gel_s=1e6)
    never = np.full(5, np.inf)
    end = board.numbers.end.__class__(
        300.0, np.inf, 570.0, np.inf, board.numbers.end.front_mm, never, never, never
    )
    numbers = board.numbers.__class__(
        board.numbers.front, board.numbers.time_s, board.numbers.front_mm, end
    )
    shown = words(chart_svg(Board("strip", numbers=numbers, gel=board.gel)))
    assert "measured" in shown
    assert "gel " not in shown
