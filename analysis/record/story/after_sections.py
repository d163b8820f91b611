"""The sections after demoulding, and what closes a record.

Tested in tests/analysis/record/story/test_report.py.
"""

from __future__ import annotations

import numpy as np

from analysis.forecast.panel_answer import PanelAnswer
from analysis.record.content import DEMOULD_NOTES, TableRow
from analysis.record.day.day_records import AFTER_RUN, PLACES, Findings
from analysis.record.story.blocks import Blanks, Block, Bullets, Picture, Section, Table, Words
from analysis.record.story.day_figures import marks_figure
from analysis.record.story.filed import Filed
from analysis.record.story.shop_sections import photos_of
from vision.common.rounding import rounded


def demould_section(answer: PanelAnswer, filed: Filed) -> Section:
    """What was found after demoulding: findings, marks with the front's doings, photos."""
    photos = photos_of(filed, *AFTER_RUN)
    if not filed.day.has_findings:
        blanks = Blanks(DEMOULD_NOTES)
        return Section("After demoulding", (*photos, Words("Nothing is filed yet."), blanks))
    blocks: list[Block] = []
    rows = finding_rows(filed.day.findings)
    blocks += [Table(tuple(rows))] * bool(rows)
    blocks += _marks(answer, filed)
    return Section("After demoulding", (*blocks, *photos))


def finding_rows(found: Findings) -> list[TableRow]:
    """Return the findings that somebody made, in shop units."""
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
        rows.append(_thickness_row(found.thickness_mm))
    for name, mass in (
        ("Weight of the panel", found.weight_kg),
        ("Mixed resin used", found.resin_used_kg),
        ("Mixed resin left over", found.resin_left_kg),
    ):
        if mass is not None:
            rows.append(TableRow(name, f"{mass:.3f} kg"))
    rows += [TableRow("Note", found.note)] * bool(found.note)
    return rows


def _thickness_row(values: tuple[float, ...]) -> TableRow:
    mean, spread = float(np.mean(values)), max(values) - min(values)
    listed = ", ".join(rounded(value, 2) for value in values)
    places = " (the four corners as corners run, then the middle)" if len(values) == PLACES else ""
    told = f"{listed} mm{places}; {rounded(spread, 2)} mm apart"
    return TableRow("Thickness, mean", f"{rounded(mean, 2)} mm", told)


def _marks(answer: PanelAnswer, filed: Filed) -> list[Block]:
    """The marks on the plan view, and beside each what the front did there."""
    if not filed.marks:
        return []
    scale, arrival = answer.scale, answer.tracked.arrival
    length = arrival.length_mm if arrival is not None else scale.length_mm
    width = arrival.width_mm if arrival is not None else scale.width_mm
    blocks: list[Block] = []
    if length > 0 and width > 0:
        seen = arrival if answer.front.usable else None
        caption = "The panel from above, with what was found: the numbers are those of the table."
        blocks.append(Picture(marks_figure((length, width), seen, filed.marks), caption, 150.0))
    rows = []
    for number, found in enumerate(filed.marks, 1):
        mark = found.mark
        place = f"x {rounded(mark.x_mm)}, y {rounded(mark.y_mm)} mm"
        note = f" ({mark.note})" if mark.note else ""
        rows.append(TableRow(f"{number}. {mark.kind}{note}", place, f"{found.words}."))
    return [*blocks, Table(tuple(rows), ("Found", "Where", "What the front did there"))]


def warning_section(warnings: list[str], missing: list[str]) -> Section:
    """All warnings, and what the record lacks."""
    blocks: list[Block] = [Bullets(tuple(warnings)) if warnings else Words("No warnings.")]
    if missing:
        blocks += [Words("Not in this record:"), Bullets(tuple(missing))]
    return Section("Warnings", tuple(blocks))
