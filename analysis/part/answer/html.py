"""The page on a part for the record: one HTML file that needs nothing beside it."""

from __future__ import annotations

import base64
import html
from collections.abc import Sequence
from pathlib import Path
from typing import Any

STYLE = """
@page { size: A4; margin: 14mm }
body { font: 11pt/1.45 system-ui, sans-serif; color: #222;
  max-width: 190mm; margin: 0 auto; padding: 6mm }
h1 { font-size: 16pt; margin: 0 0 1mm } h2 { font-size: 12pt; margin: 6mm 0 1mm }
.verdict { font-size: 13pt; padding: 2.5mm 4mm; border-left: 2mm solid #888; background: #f5f3ec }
.fills { border-color: #2c6b5a } .tight { border-color: #c98a1b } .gels { border-color: #9d2f2b }
img { width: 100%; break-inside: avoid } figure { margin: 3mm 0; break-inside: avoid }
figcaption { font-size: 9.5pt; color: #555 }
table { border-collapse: collapse; width: 100% }
td, th { text-align: left; padding: .8mm 3mm .8mm 0; border-bottom: 1px solid #ddd;
  vertical-align: top }
.caution { border: 1px solid #9d2f2b; padding: 2mm 4mm; break-inside: avoid }
"""

LIMITS = (
    "The part is taken as flat, of fixed thickness, with full vacuum ahead of the front. Air that "
    "is cut off from every vent is pointed out, but its push against the resin is not worked out; "
    "the slow thickening of the stack behind the front under the bag is in the permeability only "
    "as far as the test panel had it; gravity is left out."
)


def page(
    record: dict[str, Any],
    text: Sequence[str],
    pictures: Sequence[tuple[Path, str]],
) -> str:
    """Make the page.

    Parameters
    ----------
    record : dict
        Content of part.json.
    text : sequence of str
        The plain lines of the answer: a name, spaces, and the rest.
    pictures : sequence of (path, caption)
        PNG files to put in.
    """
    verdict = str(record["verdict"])
    kind = verdict.split()[0]
    cells = []
    for line in text[1:]:
        name, rest = line[:12].strip(), line[12:].strip()
        if name in ("Note", "Caution"):
            continue
        cells.append(f"<tr><th>{html.escape(name)}</th><td>{html.escape(rest)}</td></tr>")
    notes = "".join(f"<li>{html.escape(str(note))}</li>" for note in record["notes"])
    cautions = "".join(f"<p>{html.escape(str(note))}</p>" for note in record["cautions"])
    return (
        "<!doctype html><html lang='en'><head><meta charset='utf-8'>"
        f"<title>{html.escape(str(record['name']))}</title><style>{STYLE}</style></head><body>"
        f"<h1>{html.escape(str(record['name']))}: how it fills</h1>"
        f"<p class='verdict {html.escape(kind)}'><b>{html.escape(verdict.upper())}</b>. "
        f"{html.escape(str(record['reason']))}.</p>"
        f"<table>{''.join(cells)}</table>"
        + "".join(_figure(path, caption) for path, caption in pictures)
        + (f"<h2>Notes</h2><ul>{notes}</ul>" if notes else "")
        + "<h2>Where the method stops</h2><p>"
        + html.escape(LIMITS)
        + f"</p><div class='caution'>{cautions}</div></body></html>\n"
    )


def _figure(path: Path, caption: str) -> str:
    data = base64.b64encode(path.read_bytes()).decode("ascii")
    text = html.escape(caption)
    return (
        f"<figure><img alt='{text}' src='data:image/png;base64,{data}'>"
        f"<figcaption>{text}</figcaption></figure>"
    )
