"""The comparison on the screen."""

from analysis.runs.compare.comparison import compare_panels
from analysis.runs.compare.text import LINE_WIDTH, comparison_lines
from tests.made_up.facts import make_facts


def test_no_line_is_too_wide_and_every_panel_is_there():
    panels = [make_facts(f"cover with a rather long name number {i}") for i in range(5)]
    lines = comparison_lines(compare_panels(panels))
    assert max(len(line) for line in lines) <= LINE_WIDTH
    assert any(line.split() == ["A", "B", "C", "D"] for line in lines)
    assert any(line.split() == ["E"] for line in lines)
