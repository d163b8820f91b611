"""The sections after demoulding, and what closes a record.

Tested in tests/analysis/record/story/test_report.py.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.forecast.panel_answer import PanelAnswer
from analysis.record.content import DEMOULD_NOTES, TableRow
from analysis.record.day.day_records import AFTER_RUN, PLACES, Findings
from analysis.record.day.mark_flow import MarkFlow
from analysis.record.story.blocks import Blanks, Block, Bullets, Picture, Section, Table, Words
from analysis.record.story.day_figures import marks_figure
from analysis.record.story.filed import Filed
from analysis.record.story.shop_sections import photos_of
from vision.common.rounding import rounded


def demould_section(answer: PanelAnswer, filed: Filed) -> Section:
    """What was found after demoulding: findings, marks with the front's doings, photos."""
    picture = _marks_picture(answer, filed) if filed.marks else b""
    return demoulded(filed, picture)


def demoulded(filed: Filed, marked: bytes) -> Section:
    """Return what was found after demoulding, of a panel or a part.

    Parameters
    ----------
    filed : Filed
    marked : bytes
        Picture of the marks seen from above; none where empty.
    """
    photos = photos_of(filed, *AFTER_RUN)
    if not filed.day.has_findings:
        blanks = Blanks(DEMOULD_NOTES)
        return Section("After demoulding", (*photos, Words("Nothing is filed yet."), blanks))
    blocks: list[Block] = []
    rows = finding_rows(filed.day.findings, filed.of)
    blocks += [Table(tuple(rows))] * bool(rows)
    caption = f"The {filed.of} from above, with what was found: the numbers are those of the table."
    blocks += [Picture(marked, caption, 150.0)] * bool(marked)
    blocks += [mark_table(filed.marks)] * bool(filed.marks)
    return Section("After demoulding", (*blocks, *photos))


def finding_rows(found: Findings, of: str = "panel") -> list[TableRow]:
    """Return the findings that somebody made, in shop units; `of` is "panel" or "part"."""
    rows = [
        TableRow(name, value)
        for name, value in (
            ("Surface", found.surface),
            ("Pits", found.pits),
            ("Print-through", found.print_through),
            ("Dry areas", found.dry_areas),
        )
        if value
    ]
    if found.thickness_mm:
        rows.append(_thickness_row(found.thickness_mm, of))
    for name, mass in (
        (f"Weight of the {of}", found.weight_kg),
        ("Mixed resin used", found.resin_used_kg),
        ("Mixed resin left over", found.resin_left_kg),
    ):
        if mass is not None:
            rows.append(TableRow(name, f"{mass:.3f} kg"))
    rows += [TableRow("Note", found.note)] * bool(found.note)
    return rows


def _thickness_row(values: tuple[float, ...], of: str) -> TableRow:
    mean, spread = float(np.mean(values)), max(values) - min(values)
    listed = ", ".join(rounded(value, 2) for value in values)
    places = (
        " (the four corners as corners run, then the middle)"
        if (len(values), of) == (PLACES, "panel")
        else ""
    )
    told = f"{listed} mm{places}; {rounded(spread, 2)} mm apart"
    return TableRow("Thickness, mean", f"{rounded(mean, 2)} mm", told)


def _marks_picture(answer: PanelAnswer, filed: Filed) -> bytes:
    """Return the marks on the plan view; nothing where the panel's size is not known."""
    scale, arrival = answer.scale, answer.tracked.arrival
    length = arrival.length_mm if arrival is not None else scale.length_mm
    width = arrival.width_mm if arrival is not None else scale.width_mm
    if not (length > 0 and width > 0):
        return b""
    shown = arrival if answer.front.usable else None
    return marks_figure((length, width), shown, filed.marks, filed.inch)


def mark_table(marks: Sequence[MarkFlow]) -> Table:
    """Return the marks, and beside each what the front did there."""
    rows = []
    for number, found in enumerate(marks, 1):
        mark = found.mark
        place = f"x {rounded(mark.x_mm)}, y {rounded(mark.y_mm)} mm"
        note = f" ({mark.note})" if mark.note else ""
        rows.append(TableRow(f"{number}. {mark.kind}{note}", place, f"{found.words}."))
    return Table(tuple(rows), ("Found", "Where", "What the front did there"))


def warning_section(warnings: list[str], missing: list[str]) -> Section:
    """All warnings, and what the record lacks."""
    blocks: list[Block] = [Bullets(tuple(warnings)) if warnings else Words("No warnings.")]
    if missing:
        blocks += [Words("Not in this record:"), Bullets(tuple(missing))]
    return Section("Warnings", tuple(blocks))
