"""Figures whose axes tell inches, inHg and pounds too.

An inch is 25.4 mm, a pound 0.45359237 kg by definition; a conventional inch of mercury is
33.86389 mbar (NIST SP 811, appendix B.8, from memory).
"""

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from analysis.record.story.inch_axes import chart_in_inches, map_in_inches


def chart(up_label, top):
    figure = Figure()
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.1, 0.1, 0.8, 0.8))
    axes.plot([0, 1], [0, top], label="allowed: 20 mbar in 5 min")
    axes.set_ylim(0, top)
    axes.set_ylabel(up_label)
    axes.text(0.5, top / 2, "flow length 650 mm")
    axes.legend()
    return figure


@pytest.mark.parametrize(
    ("label", "top", "unit", "other"),
    [
        ("flow front, mm", 254.0, "in", 10.0),
        ("front distance squared, cm²", 645.16, "in²", 100.0),
        ("bag, mbar absolute", 338.6389, "inHg", 10.0),
        ("resin in the part, kg", 4.5359237, "lb", 10.0),
    ],
)
def test_a_chart_has_the_other_unit_at_the_right(label, top, unit, other):
    figure = chart_in_inches(chart(label, top))
    (right,) = figure.axes[0].child_axes
    figure.canvas.draw()
    assert right.get_ylabel() == unit
    assert right.get_ylim() == pytest.approx((0.0, other), rel=1e-6)
    assert figure.axes[0].get_position().x1 < 0.9  # room for it
    assert figure.axes[0].texts[0].get_text() == "flow length 650 mm (25.59 in)"
    told = figure.axes[0].get_legend().get_texts()[0].get_text()
    assert told == "allowed: 20 mbar (0.59 inHg) in 5 min"


def test_a_chart_of_no_such_unit_stays_as_it_is():
    figure = chart_in_inches(chart("working time / fill time", 5.0))
    assert figure.axes[0].child_axes == []
    assert figure.axes[0].get_position().x1 == pytest.approx(0.9)


def test_a_map_has_both_numbers_on_each_tick_of_a_length():
    figure = Figure()
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    shown = axes.imshow(np.zeros((3, 6)), extent=(0, 600, 300, 0))
    figure.colorbar(shown).set_label("wetted, min from resin start")
    axes.set_xlabel("x, mm from the feed edge")
    axes.set_ylabel("y, mm across")
    axes.set_xticks([0, 254, 508])
    axes.set_yticks([127])
    before = [tick.get_text() for tick in figure.axes[1].get_yticklabels()]
    map_in_inches(figure)
    figure.canvas.draw()
    assert axes.get_xlabel() == "x, mm (in) from the feed edge"
    assert axes.get_ylabel() == "y, mm (in) across"
    assert [tick.get_text() for tick in axes.get_xticklabels()] == [
        "0\n(0)", "254\n(10.0)", "508\n(20.0)",
    ]  # fmt: skip
    assert [tick.get_text() for tick in axes.get_yticklabels()] == ["127\n(5.0)"]
    assert [tick.get_text() for tick in figure.axes[1].get_yticklabels()] == before
