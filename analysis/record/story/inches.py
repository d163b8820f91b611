"""Inches beside millimetres, inHg beside mbar, pounds beside kilograms, in a finished report."""

from __future__ import annotations

import re
from dataclasses import replace

from analysis.record.content import TableRow
from analysis.record.story.blocks import Block, Bullets, Picture, Report, Section, Table, Words
from vision.common.quantity import INCH_MM, INHG_MBAR
from vision.common.rounding import Side, rounded

POUND_KG = 0.45359237
_AS_WRITTEN = ("Note",)
"""Rows that hold somebody's own words."""
_UNITS = {"mm": ("in", INCH_MM, 2), "mbar": ("inHg", INHG_MBAR, 2), "kg": ("lb", POUND_KG, 2)}
_N = r"(\d+(?:\.\d+)?)"
_VALUE = re.compile(
    rf"(?<![\d.])(?:x {_N}, y {_N}|{_N} to {_N}|{_N} x {_N}|([\d., ]*\d, \d+(?:\.\d+)?)|{_N})"
    r" (mm|mbar|kg)(/min)?(?![\w²/·])"
)


def both_units(text: str) -> str:
    """Return a text with the other unit in brackets behind each length, pressure and weight.

    The ends of an interval are rounded away from its middle, so that it never looks narrower.

    Examples
    --------
    >>> both_units("290 to 310 mm"), both_units("5.6 cm² at x 150, y 140 mm")
    ('290 to 310 mm (11.41 to 12.21 in)', '5.6 cm² at x 150, y 140 mm (x 5.91, y 5.51 in)')
    >>> both_units("1800 x 900 mm")
    '1800 x 900 mm (70.87 x 35.43 in)'
    >>> both_units("940 mbar of pull, 12 mm/min, 300 mPa·s")
    '940 mbar (27.76 inHg) of pull, 12 mm/min (0.47 in/min), 300 mPa·s'
    """
    return _VALUE.sub(_bracket, text)


def _bracket(found: re.Match[str]) -> str:
    x, y, low, high, long, wide, listed, one, unit, per = found.groups()
    other, size, decimals = _UNITS[unit]
    extra = 1 if "." in found.group(0) else 0

    def turned(number: str, side: Side = "near") -> str:
        return rounded(float(number) / size, decimals + extra, side)

    if x is not None:
        told = f"x {turned(x)}, y {turned(y)}"
    elif low is not None:
        told = f"{turned(low, 'down')} to {turned(high, 'up')}"
    elif long is not None:
        told = f"{turned(long)} x {turned(wide)}"
    elif listed is not None:
        told = ", ".join(turned(part) for part in re.findall(r"\d+(?:\.\d+)?", listed))
    else:
        told = turned(one)
    return f"{found.group(0)} ({told} {other}{per or ''})"


def report_in_inches(report: Report) -> Report:
    """Return a report with inches, inHg and pounds beside the metric values.

    Settings, hashes and what somebody wrote stay as they are.
    """
    verdict = replace(
        report.verdict,
        reason=both_units(report.verdict.reason),
        next_step=both_units(report.verdict.next_step),
    )
    return replace(
        report,
        verdict=verdict,
        numbers=tuple(both_units(text) for text in report.numbers),
        sections=tuple(_section(section) for section in report.sections),
    )


def _section(section: Section) -> Section:
    return replace(section, blocks=tuple(_block(block) for block in section.blocks))


def _block(block: Block) -> Block:
    if isinstance(block, Table):
        return replace(block, rows=tuple(_row(row) for row in block.rows))
    if isinstance(block, Words):
        return replace(block, text=both_units(block.text))
    if isinstance(block, Bullets):
        return Bullets(tuple(both_units(text) for text in block.texts))
    if isinstance(block, Picture):
        return block
    return block


def _row(row: TableRow) -> TableRow:
    if row.name in _AS_WRITTEN:
        return row
    return TableRow(row.name, both_units(row.value), both_units(row.more))
