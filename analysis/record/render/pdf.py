"""The record of one panel as a PDF, A4 or Letter, with the same content as the HTML page."""

from __future__ import annotations

from pathlib import Path

from analysis.record.render.pdf_sheet import Sheet, settings_mm
from analysis.record.story.blocks import (
    Blanks,
    Block,
    Bullets,
    Code,
    Grid,
    Hashes,
    Picture,
    Report,
    Section,
    Table,
    Words,
)


def write_pdf(path: Path, report: Report, paper: str = "A4") -> int:
    """Write the record as a PDF in one step.

    Parameters
    ----------
    path : Path
        The file to write.
    report : Report
        What the record tells; SVG pictures are left out here.
    paper : {"A4", "letter"}

    Returns
    -------
    pages : int

    Raises
    ------
    WetlineError
        If the file cannot be written.
    """
    sheet = Sheet(report.title, report.version, paper)
    sheet.text(report.title, 15, bold=True)
    sheet.text(report.about, 9, grey=True)
    sheet.verdict(report.verdict, report.numbers)
    for section in report.sections:
        _section(sheet, section)
    return sheet.save(path)


def _section(sheet: Sheet, section: Section) -> None:
    first = section.blocks[0]
    sheet.heading(section.name, _height_mm(sheet, first))
    small: list[Picture] = []
    for block in section.blocks:
        if isinstance(block, Picture) and block.half:
            small.append(block)
            continue
        sheet.photos(small)
        small = []
        _block(sheet, block)
    sheet.photos(small)


def _height_mm(sheet: Sheet, block: Block) -> float:
    """Room that a heading wants below it, so that it never stands alone at the foot."""
    if isinstance(block, Picture):
        return sheet.picture_mm(block.data, block.caption, block.tallest_mm)
    if isinstance(block, Table):
        return min(9.0 * len(block.rows), 60.0)
    if isinstance(block, Code):
        return settings_mm(block.text)
    return 20.0


def _block(sheet: Sheet, block: Block) -> None:
    if isinstance(block, Table):
        sheet.table(block.rows, block.head)
    elif isinstance(block, Grid):
        sheet.grid(block.head, block.rows)
    elif isinstance(block, Words):
        sheet.text(block.text, bold=block.strong, after_mm=1.5)
    elif isinstance(block, Bullets):
        sheet.bullets(block.texts)
    elif isinstance(block, Picture):
        sheet.picture(block.data, block.caption, block.tallest_mm)
    elif isinstance(block, Blanks):
        sheet.blanks(block.labels)
    elif isinstance(block, Code):
        sheet.settings(block.text)
    elif isinstance(block, Hashes):
        sheet.hashes(block.hashes)
