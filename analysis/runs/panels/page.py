"""A page that stands alone: one file, readable at phone width, in grey, and on paper.

Tested in tests/analysis/runs/compare/test_html.py.
"""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from html import escape

STYLE = """
* { box-sizing: border-box; }
html { font: 16px/1.5 system-ui, -apple-system, "Segoe UI", Roboto, "Noto Sans", "Liberation Sans",
  Arial, sans-serif; color: #1a1a1a; background: #fff; -webkit-text-size-adjust: 100%; }
body { max-width: 62rem; margin: 0 auto; padding: 1rem; }
h1 { font-size: 1.35rem; line-height: 1.25; margin: .2rem 0 .6rem; }
h2 { font-size: 1.1rem; margin: 2rem 0 .5rem; }
p, ul, ol { margin: .4rem 0; }
ul, ol { padding-left: 1.3rem; }
li { margin: .3rem 0; overflow-wrap: anywhere; }
.answer { border: 2.5px solid #1a1a1a; border-radius: .5rem; padding: .7rem 1rem; margin: 1rem 0; }
.answer .head { font-size: 1.25rem; line-height: 1.3; font-weight: 700; margin: 0 0 .4rem; }
.wide { overflow-x: auto; border: 1px solid #d5d5d5; border-radius: .3rem; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; min-width: 100%; }
th, td { text-align: left; vertical-align: top; padding: .45rem .7rem;
  border-bottom: 1px solid #d5d5d5; }
tbody tr:last-child th, tbody tr:last-child td { border-bottom: 0; }
td { min-width: 8.5rem; }
thead th { border-bottom: 1.5px solid #1a1a1a; font-size: 1.05rem; }
tbody th { font-weight: 400; min-width: 7.5rem; max-width: 12rem; position: sticky; left: 0;
  background: #fff; border-right: 1px solid #d5d5d5; }
td b { font-weight: 600; }
td small { display: block; color: #3d3d3d; font-size: .85rem; }
figure { margin: 1rem 0; }
figure img { display: block; width: 100%; max-width: 46rem; height: auto; }
figcaption { font-size: .9rem; color: #3d3d3d; margin-top: .4rem; }
.caution { border: 1px solid #1a1a1a; border-radius: .5rem; padding: .2rem 1rem .6rem; }
footer { margin-top: 2rem; font-size: .87rem; color: #555; }
@media print {
  body { max-width: none; padding: 0; } html { font-size: 10pt; }
  .wide { overflow: visible; border: 0; } td { min-width: 0; }
  table, figure, .answer { break-inside: avoid; }
}
"""


def page(title: str, parts: Iterable[str], version: str = "") -> str:
    """Build a page from its parts, each already HTML; the title is plain text.

    The same input gives the same text. It has no link to anything outside.
    """
    body = "\n".join(part for part in parts if part)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n"
        f"<h1>{escape(title)}</h1>\n{body}\n<footer>Made with Wetline {escape(version)}</footer>\n"
        "</body>\n</html>\n"
    )


def section(name: str, content: str) -> str:
    """Build a section with its heading; nothing where there is no content."""
    return f"<section><h2>{escape(name)}</h2>{content}</section>" if content else ""


def answer_box(head: str, lines: Sequence[str]) -> str:
    """Build the box with the answer: one sentence large, the rest below."""
    items = "".join(f"<p>{escape(line)}</p>" for line in lines)
    return f'<section class="answer"><p class="head">{escape(head)}</p>{items}</section>'


def bullets(lines: Iterable[str]) -> str:
    """Build a list of plain lines; nothing where there is none."""
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"<ul>{items}</ul>" if items else ""


def table(head: Sequence[str], rows: Iterable[tuple[str, Sequence[tuple[str, str]]]]) -> str:
    """Build a table that scrolls sideways where it is too wide, its first column in sight.

    Parameters
    ----------
    head : sequence of str
        Of all columns, the first too.
    rows : iterable of (name, cells)
        Each cell is its text and what stands below it in smaller type.
    """
    top = "".join(f'<th scope="col">{escape(name)}</th>' for name in head)
    lines = []
    for name, cells in rows:
        inside = "".join(
            f"<td><b>{escape(text)}</b>"
            + (f"<small>{escape(more)}</small>" if more else "")
            + "</td>"
            for text, more in cells
        )
        lines.append(f'<tr><th scope="row">{escape(name)}</th>{inside}</tr>')
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="table"><table><thead><tr>{top}'
        f"</tr></thead><tbody>{''.join(lines)}</tbody></table></div>"
    )


def _cell(text: str, more: str) -> str:
    small = f"<small>{escape(more)}</small>" if more else ""
    return f"<td><b>{escape(text)}</b>{small}</td>"


def picture(png: bytes, caption: str) -> str:
    """Build a figure with the picture inside the page."""
    code = base64.b64encode(png).decode("ascii")
    shown = escape(caption)
    return (
        f'<figure><img alt="{shown}" src="data:image/png;base64,{code}">'
        f"<figcaption>{shown}</figcaption></figure>"
    )
