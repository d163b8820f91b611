"""The summary of a batch as a page that stands alone: a table, or cards on a phone."""

from __future__ import annotations

import os
from html import escape
from pathlib import Path
from urllib.parse import quote

from analysis.batch.batch import Batch
from analysis.batch.fingerprint import kind_of
from analysis.batch.one_panel import DONE, UP_TO_DATE
from analysis.batch.summary import UNKNOWN, Words, counts, words_of

HEAD = ("Panel", "Verdict", "Permeability, m2", "Part fills in, min", "Margin to gel", "This time")
CAUTION = (
    "Each forecast is advice with a 95 % interval, not a permit: data sheets, local rules and "
    "licensed practice come first. Read a panel's own report and its warnings before you act."
)
STYLE = """
@page { size: A4 landscape; margin: 14mm; }
* { box-sizing: border-box; }
html { font: 15px/1.45 system-ui, -apple-system, "Segoe UI", Roboto, "Noto Sans", Arial, sans-serif;
  color: #1a1a1a; background: #fff; }
body { max-width: 75rem; margin: 0 auto; padding: 1.5rem 1rem 3rem; }
h1 { font-size: 1.3rem; margin: 0 0 .2rem; overflow-wrap: anywhere; }
p { margin: .3rem 0; }
table { border-collapse: collapse; width: 100%; margin: 1rem 0; }
td, th { text-align: left; vertical-align: top; padding: .4rem .8rem .4rem 0;
  border-bottom: 1px solid #d5d5d5; }
thead th { font-size: .87rem; color: #555; border-bottom-color: #1a1a1a; }
tbody th { font-weight: 600; overflow-wrap: break-word; max-width: 16rem; }
tbody td:nth-child(2) { min-width: 14rem; }
td.verdict { font-weight: 600; }
td p { font-weight: 400; font-size: .87rem; color: #3d3d3d; overflow-wrap: anywhere; }
a { color: #00457c; }
.caution { border: 1px solid #1a1a1a; border-radius: 2mm; padding: .4rem 1rem; }
tr { break-inside: avoid; }
@media (max-width: 48rem) {
  thead { display: none; }
  table, tbody, tr, th, td { display: block; }
  tr { border: 1px solid #8a8a8a; border-radius: 2mm; padding: .5rem .8rem; margin: 0 0 .8rem; }
  td, th { border: 0; padding: .15rem 0; }
  td:empty { display: none; }
  td[data-name]::before { content: attr(data-name) ": "; color: #555; font-weight: 400; }
}
"""


def summary_page(batch: Batch, version: str = "") -> str:
    """Return the summary as one HTML page, to stand in the folder ``results`` of the root.

    Parameters
    ----------
    batch : Batch
    version : str
        Version of Wetline.
    """
    parts = any("planned" in outcome.answer for outcome in batch.outcomes)
    title = f"Panels{' and parts' * parts} in {batch.root.resolve().name}"
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in HEAD)
    rows = "\n".join(
        _row(words_of(outcome), _report(batch, outcome.folder)) for outcome in batch.outcomes
    )
    stopped = "<p><strong>Stopped before the end.</strong></p>" if batch.stopped else ""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n"
        f"<h1>{escape(title)}</h1>\n<p>{len(batch.outcomes)} found: {escape(counts(batch))}.</p>\n"
        f"{stopped}<p>In brackets: 95 % interval.</p>\n"
        f"<table>\n<thead><tr>{head}</tr></thead>\n<tbody>\n{rows}\n</tbody>\n</table>\n"
        f'<div class="caution"><p>{escape(CAUTION)}</p></div>\n'
        f"<footer><p>Made with Wetline {escape(version)}</p></footer>\n</body>\n</html>\n"
    )


def _report(batch: Batch, name: str) -> str:
    """Return the way from the page to a panel's report or a part's page; empty without one."""
    place = batch.places.get(name)
    if place is None:
        return ""
    page = Path("results") / kind_of(batch.root / place).page
    if not (batch.root / place / page).is_file():
        return ""
    return quote(os.fsencode((".." / place / page).as_posix()))


def _row(words: Words, report: str) -> str:
    answered = words.state in (DONE, UP_TO_DATE)
    panel = escape(words.panel)
    if answered and report:
        panel = f'<a href="{escape(report)}">{panel}</a>'
    looks = f"{words.looks} to look at" if words.looks else ""
    note = "".join(f"<p>{escape(text)}</p>" for text in (words.note, looks) if text)
    known = UNKNOWN if answered else ""
    cells = [
        ("Verdict", "verdict", escape(words.verdict if answered else words.state) + note),
        ("Permeability, m2", "", escape(words.permeability or known)),
        ("Part fills in, min", "", escape(words.fill or known)),
        ("Margin to gel", "", escape(words.margin or known)),
        ("This time", "", escape(words.state) if answered else ""),
    ]
    shown = "".join(
        f'<td data-name="{name}" class="{kind}">{text}</td>' if text
        else "<td></td>"
        for name, kind, text in cells
    )  # fmt: skip
    return f'<tr><th scope="row">{panel}</th>{shown}</tr>'
