"""The page on a part for the record: one HTML file that needs nothing beside it.

Tested in tests/analysis/commands/test_part.py.
"""

from __future__ import annotations

import base64
import html
from collections.abc import Sequence
from pathlib import Path

from analysis.part.answer.part_answer import PartAnswer
from analysis.part.answer.text import Row, advice_rows, rows, sentence, verdict_word

STYLE = """
@page { size: A4; margin: 14mm }
body { font: 11pt/1.45 system-ui, sans-serif; color: #222;
  max-width: 190mm; margin: 0 auto; padding: 6mm }
h1 { font-size: 16pt; margin: 0 0 1mm } h2 { font-size: 12pt; margin: 6mm 0 1mm }
.verdict { font-size: 13pt; padding: 2.5mm 4mm; border-left: 2mm solid #888; background: #f5f3ec }
.fills { border-color: #2c6b5a } .tight { border-color: #c98a1b }
.gels, .traps { border-color: #9d2f2b }
img { width: 100%; break-inside: avoid } figure { margin: 3mm 0; break-inside: avoid }
figcaption { font-size: 9.5pt; color: #555 }
table { border-collapse: collapse; width: 100% }
th { white-space: nowrap }
td, th { text-align: left; padding: .8mm 3mm .8mm 0; border-bottom: 1px solid #ddd;
  vertical-align: top }
.caution { border: 1px solid #9d2f2b; padding: 2mm 4mm; break-inside: avoid }
"""

LIMITS = (
    "The part is taken as flat, of fixed thickness, with full vacuum ahead of the front. Air that "
    "is cut off from every vent is pointed out, but its push against the resin is not worked out; "
    "the slow thickening of the stack behind the front under the bag is in the permeability only "
    "as far as the test panel had it. Gravity is reckoned with where [height] says how high pot "
    "and places stand, else left out: a metre of resin is a tenth of the drive."
)


def page(answer: PartAnswer, pictures: Sequence[tuple[Path, str]]) -> str:
    """Return the page.

    Parameters
    ----------
    answer : PartAnswer
        What to show.
    pictures : sequence of (path, caption)
        PNG files to put in.
    """
    kind = answer.verdict.split()[0]
    name = html.escape(answer.name)
    table = "".join(_table_row(row) for row in [*rows(answer), *advice_rows(answer)])
    notes = "".join(f"<li>{html.escape(note)}</li>" for note in answer.notes)
    cautions = "".join(f"<p>{html.escape(note)}</p>" for note in answer.cautions)
    return (
        "<!doctype html><html lang='en'><head><meta charset='utf-8'>"
        f"<title>{name}</title><style>{STYLE}</style></head><body>"
        f"<h1>{name}: how it fills</h1>"
        f"<p class='verdict {html.escape(kind)}'><b>{html.escape(verdict_word(answer))}</b>. "
        f"{html.escape(sentence(answer.reason))}</p>"
        f"<table>{table}</table>"
        + "".join(_figure(path, caption) for path, caption in pictures)
        + (f"<h2>Notes</h2><ul>{notes}</ul>" if notes else "")
        + "<h2>Where the method stops</h2><p>"
        + html.escape(LIMITS)
        + f"</p><div class='caution'>{cautions}</div></body></html>\n"
    )


def _table_row(row: Row) -> str:
    text = "<br>".join(html.escape(line) for line in (row.text, *row.more))
    return f"<tr><th>{html.escape(row.name)}</th><td>{text}</td></tr>"


def _figure(path: Path, caption: str) -> str:
    data = base64.b64encode(path.read_bytes()).decode("ascii")
    text = html.escape(caption)
    return (
        f"<figure><img alt='{text}' src='data:image/png;base64,{data}'>"
        f"<figcaption>{text}</figcaption></figure>"
    )
