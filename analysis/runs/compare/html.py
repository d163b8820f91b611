"""The comparison as one page."""

from __future__ import annotations

from analysis.forecast.panel_text import CAUTION
from analysis.runs.compare.comparison import Comparison
from analysis.runs.compare.rows import (
    difference_lines,
    ranking_head,
    ranking_lines,
    scatter_line,
    table_rows,
)
from analysis.runs.panels.page import answer_box, bullets, page, picture, section, table

CAPTION = (
    "Above: the fronts as they ran. Below: with resin and vacuum as stated taken out, panels of "
    "one permeability fall on one straight line; a bend shows that something changed."
)


def build_page(found: Comparison, png: bytes, version: str = "") -> str:
    """Build the page of a comparison.

    Parameters
    ----------
    found : Comparison
    png : bytes
        The picture of all curves.
    version : str
        Version of Wetline.
    """
    labels = list(found.panels)
    rows = [(row.name, [(c.text, c.more) for c in row.cells]) for row in table_rows(found)]
    metres = [
        (name, [(_square(text), _square(more)) for text, more in cells]) for name, cells in rows
    ]
    names = [f"{label}: {panel.name}" for label, panel in found.panels.items()]
    parts = [
        answer_box(ranking_head(found), ranking_lines(found)),
        section("Panels", bullets(names)),
        section("Side by side", table(["", *labels], metres)),
        section("Curves", picture(png, CAPTION)),
        section("What differs", bullets(difference_lines(found)) + bullets([scatter_line(found)])),
        section("What was not alike", bullets(one.line for one in found.unlike)),
        section("Look at", bullets(found.notes)),
        section("Caution", bullets([CAUTION])),
    ]
    return page(f"{len(labels)} panels side by side", parts, version)


def _square(text: str) -> str:
    return text.replace("m2", "m²")
