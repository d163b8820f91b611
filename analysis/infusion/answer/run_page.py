"""The page on a run of a part: one HTML file that needs nothing beside it."""

from __future__ import annotations

import base64
import html
from collections.abc import Sequence
from pathlib import Path

from analysis.infusion.answer.part_run import InfusionAnswer
from analysis.infusion.answer.run_text import ADVICE, headline, rows
from analysis.part.answer.html import STYLE

LIMITS = (
    "The part is taken as flat but for the height that part.toml states; nothing is claimed for "
    "curved shells. What was not seen is hatched or dotted and not compared. The resin is that in "
    "the wet part by porosity and thickness as planned; lines, media and bucket come on top."
)


def page(run: InfusionAnswer, pictures: Sequence[tuple[Path, str]]) -> str:
    """Return the page.

    Parameters
    ----------
    run : InfusionAnswer
    pictures : sequence of (path, caption)
        Files to put in.
    """
    name = html.escape(run.planned.name)
    body = "".join(
        f"<tr><th>{html.escape(row.name)}</th><td>"
        + "<br>".join(html.escape(line) for line in (row.text, *row.more))
        + "</td></tr>"
        for row in rows(run)
    )
    cautions = "".join(f"<p>{html.escape(text)}</p>" for text in (*ADVICE, *run.planned.cautions))
    return (
        "<!doctype html><html lang='en'><head><meta charset='utf-8'>"
        f"<title>{name}</title><style>{STYLE}</style></head><body>"
        f"<h1>{name}: planned and seen</h1>"
        f"<p class='verdict'>{html.escape(headline(run))}</p><table>{body}</table>"
        + "".join(_figure(path, caption) for path, caption in pictures)
        + f"<h2>Where the method stops</h2><p>{html.escape(LIMITS)}</p>"
        + f"<div class='caution'>{cautions}</div></body></html>\n"
    )


def _figure(path: Path, caption: str) -> str:
    kind = "png" if path.suffix == ".png" else "jpeg"
    data = base64.b64encode(path.read_bytes()).decode("ascii")
    text = html.escape(caption)
    return (
        f"<figure><img alt='{text}' src='data:image/{kind};base64,{data}'>"
        f"<figcaption>{text}</figcaption></figure>"
    )
