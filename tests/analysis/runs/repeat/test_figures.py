"""The pictures of a repeat, by what they must hold."""

import numpy as np

from analysis.record.figures import png_bytes
from analysis.runs.repeat.control_chart import control_chart
from analysis.runs.repeat.figures import charts_figure


def test_chart_marks_signals_and_limits():
    values = [1.0, 1.1, 0.9, 1.05, 1.0, 2.0]
    chart = control_chart("Resin taken", "kg/m²", list("123456"), values, 5)
    upper, lower = charts_figure((chart,)).axes
    assert "kg/m²" in upper.get_title(loc="left")
    levels = sorted(line.get_ydata()[0] for line in upper.lines if len(set(line.get_ydata())) == 1)
    assert np.isclose(levels[:3], [chart.lower, chart.centre, chart.upper]).all()
    squares = [line for line in upper.lines if line.get_marker() == "s"]
    assert {float(line.get_xdata()[0]) for line in squares} == {6.0}
    assert [text.get_text() for text in lower.get_xticklabels()] == list("123456")
    one, two = (png_bytes(charts_figure((chart,))) for _ in range(2))
    assert one == two
