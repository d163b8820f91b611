"""The record of one panel as a page that stands alone: verdict first, prints on A4 or Letter."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from html import escape

from analysis.record.content import UNKNOWN, TableRow
from analysis.record.render.html_style import CLASSES, SYMBOLS, style
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

LONG = 90
"""A remark of more letters gets lines of its own on a phone."""


def report_html(report: Report, paper: str = "A4") -> str:
    """Return the record as one HTML page that needs no other file.

    Parameters
    ----------
    report : Report
        What the record tells.
    paper : {"A4", "letter"}
        What it prints on.

    Returns
    -------
    html : str
        The same report gives the same text. It has no link to anything outside.
    """
    parts = [
        _header(report),
        _verdict(report),
        *(_section(section) for section in report.sections),
        f"<footer>Made with Wetline {escape(report.version)}</footer>",
    ]
    body = "\n".join(part for part in parts if part)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(report.title)}: {escape(report.verdict.word)}</title>\n"
        f"<style>{style(paper)}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def picture_type(data: bytes) -> str | None:
    """Return the media type of a picture from its first bytes; None for no picture.

    Examples
    --------
    >>> picture_type(b"<svg xmlns=''>"), picture_type(b"junk")
    ('image/svg+xml', None)
    """
    if data.startswith(b"\x89PNG\r\n"):
        return "image/png"
    if data.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    return "image/svg+xml" if b"<svg" in data[:600] else None


def _header(report: Report) -> str:
    return f"<header><h1>{escape(report.title)}</h1><p>{escape(report.about)}</p></header>"


def _verdict(report: Report) -> str:
    verdict = report.verdict
    symbol = (
        '<svg viewBox="0 0 40 40" aria-hidden="true" fill="none" stroke="currentColor" '
        'stroke-width="3.4" stroke-linecap="round" stroke-linejoin="round">'
        f"{SYMBOLS[verdict.word]}</svg>"
    )
    numbers = "".join(f"<li>{escape(text)}</li>" for text in report.numbers)
    return (
        f'<section class="verdict {CLASSES[verdict.word]}">{symbol}<div>'
        f'<p class="word">Verdict: {escape(verdict.label)}</p>'
        f'<p class="headline">{escape(verdict.headline)}</p>'
        f"<p>{escape(verdict.reason)}</p>"
        + (f'<ul class="numbers">{numbers}</ul>' if numbers else "")
        + f"<p>{escape(verdict.next_step)}</p></div></section>"
    )


def _section(section: Section) -> str:
    look = ' class="caution"' if section.boxed else ""
    return f"<section{look}><h2>{escape(section.name)}</h2>{_blocks(section.blocks)}</section>"


def _blocks(blocks: Sequence[Block]) -> str:
    """Return the blocks; small pictures that follow each other stand side by side."""
    out, small = [], []
    for block in blocks:
        if isinstance(block, Picture) and block.half:
            small.append(_figure(block))
            continue
        out += _row_of(small)
        small = []
        out.append(_block(block))
    return "".join([*out, *_row_of(small)])


def _row_of(figures: Sequence[str]) -> list[str]:
    return [f'<div class="photos">{"".join(figures)}</div>'] if any(figures) else []


def _block(block: Block) -> str:
    if isinstance(block, Table):
        return _table(block.rows, block.head)
    if isinstance(block, Grid):
        return _grid(block)
    if isinstance(block, Words):
        words = escape(block.text)
        return f"<p><strong>{words}</strong></p>" if block.strong else f"<p>{words}</p>"
    if isinstance(block, Bullets):
        return _list(block.texts)
    if isinstance(block, Picture):
        return _figure(block)
    if isinstance(block, Blanks):
        lines = "".join(f"<div>{escape(label)}</div>" for label in block.labels)
        return f'<div class="notes">{lines}</div>'
    if isinstance(block, Hashes):
        lines = "".join(
            f"<li>{escape(name)} <code>{escape(digest)}</code></li>"
            for name, digest in block.hashes
        )
        return f'<ul class="hashes">{lines}</ul>'
    assert isinstance(block, Code)
    return f"<pre>{escape(block.text)}</pre>"


def _table(rows: Sequence[TableRow], head: Sequence[str] = ()) -> str:
    if not rows:
        return ""
    wide = any(row.more for row in rows)
    shown = head if wide else head[:2]
    top = _head(shown) if head else ""
    lines = "".join(_line(row, wide) for row in rows)
    look = ' class="long"' if any(len(row.more) > LONG for row in rows) else ""
    return f"<table{look}>{top}<tbody>{lines}</tbody></table>"


def _head(names: Sequence[str]) -> str:
    cells = "".join(
        f'<th scope="col">{escape(name)}</th>' if name else "<td></td>" for name in names
    )
    return f"<thead><tr>{cells}</tr></thead>"


def _line(row: TableRow, wide: bool) -> str:
    more = f'<td class="more">{escape(row.more)}</td>' if wide else ""
    kind = ' class="none"' if row.value == UNKNOWN else ' class="value"' if wide else ""
    return (
        f'<tr><th scope="row">{escape(row.name)}</th><td{kind}>{escape(row.value)}</td>{more}</tr>'
    )


def _grid(grid: Grid) -> str:
    lines = "".join(
        f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>" for row in grid.rows
    )
    look = "grid" if len(grid.head) > 3 else "grid narrow"
    return f'<table class="{look}">{_head(grid.head)}<tbody>{lines}</tbody></table>'


def _figure(picture: Picture) -> str:
    kind = picture_type(picture.data)
    if kind is None:
        return ""
    caption = escape(picture.caption)
    look = ' class="plan"' if picture.tallest_mm > 130 else ""
    code = base64.b64encode(picture.data).decode("ascii")
    return (
        f'<figure{look}><img alt="{caption}" src="data:{kind};base64,{code}">'
        f"<figcaption>{caption}</figcaption></figure>"
    )


def _list(texts: Iterable[str]) -> str:
    items = "".join(f"<li>{escape(text)}</li>" for text in texts)
    return f"<ul>{items}</ul>" if items else ""
