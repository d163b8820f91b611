"""All curves in one picture: like panels on one line, told apart without colour."""

import numpy as np
import pytest

from analysis.panel.records import Resin, Vacuum
from analysis.record.figures import png_bytes
from analysis.runs.compare.figure import comparison_figure
from analysis.runs.panels.line_style import line_style
from tests.made_up.curves import make_front
from tests.made_up.facts import make_facts


def test_no_two_lines_look_alike_without_colour():
    looks = {(line_style(i).dash, line_style(i).marker) for i in range(26)}
    assert len(looks) == 26


def test_like_panels_fall_on_one_line_whatever_resin_and_vacuum():
    thin = make_facts("thin", resin=Resin(viscosity_pa_s=0.1), vacuum=Vacuum(80_000.0))
    upper, lower = comparison_figure({"A": [make_facts()], "B": [thin]}).axes
    (a, b), (c, d) = upper.lines, lower.lines
    at = 10.0  # min
    assert np.interp(at, *b.get_data()) > 1.2 * np.interp(at, *a.get_data())
    slopes = [np.polyfit(*line.get_data(), 1)[0] for line in (c, d)]
    assert slopes[0] == pytest.approx(slopes[1], rel=0.01)
    # 2 K / porosity, in cm2 for each million of impulse.
    assert slopes[0] == pytest.approx(2e-10 / 0.5 * 1e4 * 1e6, rel=0.01)


def test_repeats_share_a_look_and_what_does_not_count_is_named():
    raced = make_facts("r", front=make_front(race_tracking_mm=200.0))
    figure = comparison_figure({"A": [make_facts("a"), make_facts("b")], "B": [raced]})
    upper = figure.axes[0]
    a, b, r = upper.lines
    assert (a.get_marker(), a.get_linestyle()) == (b.get_marker(), b.get_linestyle())
    assert r.get_marker() != a.get_marker()
    assert [text.get_text() for text in upper.get_legend().get_texts()] == ["A", "B (not counted)"]
    assert "min" in upper.get_xlabel()
    assert "mm" in upper.get_ylabel()


def test_the_same_panels_give_the_same_picture():
    one, two = (png_bytes(comparison_figure({"A": [make_facts()]})) for _ in range(2))
    assert one == two


def test_without_viscosity_the_lower_half_says_so():
    figure = comparison_figure({"A": [make_facts(resin=Resin())]})
    assert figure.axes[1].texts[0].get_text() == "pressure or viscosity not stated"
