"""The comparison on the screen."""

from __future__ import annotations

import textwrap

from analysis.forecast.panel_text import CAUTION
from analysis.runs.compare.comparison import Comparison
from analysis.runs.compare.rows import (
    Cell,
    Row,
    difference_lines,
    ranking_head,
    ranking_lines,
    scatter_line,
    table_rows,
)

LABEL_WIDTH, LINE_WIDTH = 20, 96
COLUMNS = 4


def comparison_lines(found: Comparison) -> list[str]:
    """Write the comparison, the answer to the wish first."""
    out = textwrap.wrap(ranking_head(found), LINE_WIDTH)
    out += _wrapped(ranking_lines(found))
    out += ["", "Panels"]
    out += [f"  {label}: {panel.name}" for label, panel in found.panels.items()]
    out += ["", *_table(table_rows(found), list(found.panels))]
    out += ["What differs"]
    out += _wrapped(difference_lines(found))
    out += _wrapped([scatter_line(found)])
    if found.unlike:
        out += ["", "What was not alike"]
        out += _wrapped([one.line for one in found.unlike])
    if found.notes:
        out += ["", "Look at", *_wrapped(list(found.notes))]
    return [*out, "", *textwrap.wrap(CAUTION, LINE_WIDTH)]


def _wrapped(lines: list[str]) -> list[str]:
    return [
        part
        for line in lines
        for part in textwrap.wrap(line, LINE_WIDTH, initial_indent="  ", subsequent_indent="     ")
    ]


def _table(rows: list[Row], labels: list[str]) -> list[str]:
    """Draw the table, so many columns at a time as a screen holds."""
    out = []
    at_once = min(COLUMNS, len(labels))
    width = (LINE_WIDTH - LABEL_WIDTH - 2) // max(at_once, 3)
    for start in range(0, len(labels), at_once):
        some = slice(start, start + at_once)
        out += _drawn(Row("", tuple(Cell(label) for label in labels[some])), width)
        for row in rows:
            out += _drawn(Row(row.name, row.cells[some]), width)
        out.append("")
    return out


def _drawn(row: Row, width: int) -> list[str]:
    """Draw one row; a cell too wide for its column goes on below."""
    columns = [textwrap.wrap(row.name, LABEL_WIDTH - 2)]
    for cell in row.cells:
        lines = textwrap.wrap(cell.text, width - 1) or [""]
        columns.append(lines + textwrap.wrap(cell.more, width - 1))
    height = max(len(column) for column in columns)
    widths = [LABEL_WIDTH] + [width] * len(row.cells)
    return [
        "  "
        + "".join(
            (column[i] if i < len(column) else "").ljust(wide)
            for column, wide in zip(columns, widths, strict=True)
        ).rstrip()
        for i in range(height)
    ]
