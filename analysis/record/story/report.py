"""The whole report of a panel, in the order of the day."""

from __future__ import annotations

import math
from collections.abc import Mapping

from analysis.forecast.panel_answer import PanelAnswer
from analysis.record.content import (
    CAUTIONS,
    assumptions_of,
    key_rows,
    verdict_words,
    warnings_of,
)
from analysis.record.day.day_records import STAGES
from analysis.record.story.after_sections import demould_section, warning_section
from analysis.record.story.blocks import Bullets, Code, Hashes, Report, Section
from analysis.record.story.filed import Filed
from analysis.record.story.inches import report_in_inches
from analysis.record.story.run_sections import (
    fair_section,
    forecast_section,
    key_section,
    run_section,
)
from analysis.record.story.shop_sections import (
    drawdown_section,
    missing_lines,
    mixing_section,
    setup_section,
)

PHOTOS_WANTED = STAGES[:-1]


def panel_report(
    answer: PanelAnswer,
    pictures: Mapping[str, bytes],
    settings_text: str,
    *,
    filed: Filed | None = None,
    version: str = "",
    made: str = "",
    inch: bool = False,
) -> Report:
    """Return a panel's report: verdict and number first, then the day in its order.

    Parameters
    ----------
    answer : PanelAnswer
        What the panel says.
    pictures : mapping of str to bytes
        PNG, JPEG or SVG files by name: ``front_lines``, ``curve``, ``squared``, ``plan``; others
        follow with their name as caption. Any may be missing.
    settings_text : str
        The text of panel.toml.
    filed : Filed, optional
        What was filed or kept beside the answer.
    version : str
        Version of Wetline.
    made : str
        When the run or the record was made, as text; none when empty.
    inch : bool
        Whether inches, inHg and pounds stand beside the metric values.

    Returns
    -------
    report : Report
        The same input gives the same report.
    """
    beside = Filed() if filed is None else filed
    missing = [] if filed is None else missing_lines(beside, PHOTOS_WANTED)
    sections = [
        key_section(answer),
        setup_section(answer, beside),
        drawdown_section(beside),
        mixing_section(beside),
        run_section(answer, beside, pictures, inch),
        fair_section(answer),
        forecast_section(answer, beside),
        demould_section(answer, beside),
        warning_section([*beside.faults, *warnings_of(answer)], missing),
        Section("What was assumed", (Bullets(tuple(assumptions_of(answer))),)),
        Section("Cautions", (Bullets(CAUTIONS),), boxed=True),
        Section("Settings (panel.toml)", (Code(settings_text.strip()),)),
        _files_section(beside),
    ]
    report = Report(
        title=answer.panel.name,
        about="Infusion test panel" + (f", {made}" if made else ""),
        verdict=verdict_words(answer),
        numbers=_numbers(answer, len(beside.faults)),
        sections=tuple(section for section in sections if section is not None and section.blocks),
        version=version,
    )
    return report_in_inches(report) if inch else report


def _numbers(answer: PanelAnswer, faults: int) -> tuple[str, ...]:
    """The few numbers that belong beside the verdict, and how many warnings there are.

    Those of a front in doubt are left to the table that marks them so.
    """
    sure = not answer.front.doubts
    wanted = ["Permeability K, effective"] if sure else []
    if sure and answer.fill is not None:
        wanted += ["Fill time of the part", "Working time"]
    told = []
    for row in key_rows(answer):
        if row.name in wanted and any(letter.isdigit() for letter in row.value):
            more = f" (95 %: {row.more})" if " to " in row.more else ""
            told.append(f"{row.name}: {row.value}{more}")
    margin = None if answer.gel is None else answer.gel.margin
    if sure and margin is not None and math.isfinite(margin):
        told.append(f"Margin: {margin:.2f}")
    count = len(warnings_of(answer)) + faults
    if count:
        told.append(f"{count} warning{'s' if count > 1 else ''}: see Warnings")
    return tuple(told)


def _files_section(filed: Filed) -> Section | None:
    if not filed.hashes:
        return None
    name = "Files it rests on (SHA-256)"
    return Section(name, (Hashes(tuple(filed.hashes.items())),))
