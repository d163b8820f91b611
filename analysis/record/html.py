"""The record of one panel as a page that stands alone: verdict first, prints on A4."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Mapping, Sequence
from html import escape

from analysis.forecast.panel_answer import PanelAnswer
from analysis.record.content import (
    CAUTIONS,
    DEMOULD_NOTES,
    UNKNOWN,
    TableRow,
    VerdictWords,
    assumptions_of,
    fairness_rows,
    key_rows,
    panel_rows,
    scale_rows,
    verdict_words,
    warnings_of,
)
from analysis.record.html_style import CLASSES, STYLE, SYMBOLS

# Pictures by name, in the order of the page, with what they show.
CAPTIONS = {
    "front_lines": "The flow front on the photo, with the time of each line since resin start.",
    "unexplained": "Places that what was found does not explain, on the panel from straight above.",
    "curve": "Distance of the flow front against time: measured points, the fit and its 95 % band.",
    "squared": "Squared distance against time. Under Darcy's law the points lie on a straight "
    "line; a bend shows that something changed.",
    "plan": "The panel from straight above, and when the resin came to each spot.",
}


def build_report(
    answer: PanelAnswer,
    pictures: Mapping[str, bytes],
    settings_text: str,
    *,
    version: str = "",
    made: str = "",
) -> str:
    """Build the record as one HTML page that needs no other file.

    Parameters
    ----------
    answer : PanelAnswer
        What the panel says.
    pictures : mapping of str to bytes
        PNG, JPEG or SVG files by name: ``front_lines``, ``curve``, ``squared``, ``plan``; others
        follow with their name as caption. Any may be missing.
    settings_text : str
        The text of panel.toml.
    version : str
        Version of Wetline.
    made : str
        When the run or the record was made, as text; none when empty.

    Returns
    -------
    html : str
        The same input gives the same text. It has no link to anything outside.
    """
    verdict, title = verdict_words(answer), answer.panel.name
    shown = {name: data for name, data in pictures.items() if data}
    head, charts = ["unexplained", "front_lines"], ["curve", "squared", "plan"]
    charts += [name for name in shown if name not in CAPTIONS]
    parts = [
        _header(title, version, made),
        _verdict(verdict),
        _section(
            "Key numbers",
            _table(key_rows(answer), ("", "Value", "95 % interval or remark")),
        ),
        _figures(head, shown),
        _section("Curve and fit", _figures(charts, shown)),
        _section(
            "How fair was the test?",
            _table(fairness_rows(answer)) + _warnings(warnings_of(answer)),
        ),
        _section("What was tested", _table(panel_rows(answer))),
        _section("Scale", _table(scale_rows(answer))),
        _section("What was assumed", _list(assumptions_of(answer))),
        _cautions(),
        _section("Notes after demoulding", _notes()),
        _section("Settings (panel.toml)", f"<pre>{escape(settings_text.strip())}</pre>"),
        f"<footer>Made with Wetline {escape(version)}</footer>",
    ]
    body = "\n".join(part for part in parts if part)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}: {escape(verdict.word)}</title>\n<style>{STYLE}</style>\n"
        f"</head>\n<body>\n{body}\n</body>\n</html>\n"
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


def _header(title: str, version: str, made: str) -> str:
    line = "Infusion test panel" + (f", {escape(made)}" if made else "")
    return f"<header><h1>{escape(title)}</h1><p>{line}</p></header>"


def _verdict(verdict: VerdictWords) -> str:
    symbol = (
        '<svg viewBox="0 0 40 40" aria-hidden="true" fill="none" stroke="currentColor" '
        'stroke-width="3.4" stroke-linecap="round" stroke-linejoin="round">'
        f"{SYMBOLS[verdict.word]}</svg>"
    )
    return (
        f'<section class="verdict {CLASSES[verdict.word]}">{symbol}<div>'
        f'<p class="word">Verdict: {escape(verdict.label)}</p>'
        f'<p class="headline">{escape(verdict.headline)}</p>'
        f"<p>{escape(verdict.reason)}</p><p>{escape(verdict.next_step)}</p></div></section>"
    )


def _section(name: str, content: str) -> str:
    return f"<section><h2>{escape(name)}</h2>{content}</section>" if content else ""


def _table(rows: Sequence[TableRow], head: Sequence[str] = ()) -> str:
    if not rows:
        return ""
    wide = any(row.more for row in rows)
    shown = head if wide else head[:2]
    cells = "".join(f'<th scope="col">{escape(name)}</th>' for name in shown)
    top = f"<thead><tr>{cells}</tr></thead>" if head else ""
    lines = "".join(_line(row, wide) for row in rows)
    return f"<table>{top}<tbody>{lines}</tbody></table>"


def _line(row: TableRow, wide: bool) -> str:
    more = f'<td class="more">{escape(row.more)}</td>' if wide else ""
    kind = ' class="none"' if row.value == UNKNOWN else ' class="value"' if wide else ""
    return (
        f'<tr><th scope="row">{escape(row.name)}</th><td{kind}>{escape(row.value)}</td>{more}</tr>'
    )


def _figures(names: Iterable[str], pictures: Mapping[str, bytes]) -> str:
    return "".join(_figure(name, pictures[name]) for name in names if name in pictures)


def _figure(name: str, data: bytes) -> str:
    kind = picture_type(data)
    if kind is None:
        return ""
    caption = escape(CAPTIONS.get(name, name.replace("_", " ")))
    look = ' class="plan"' if name == "plan" else ""
    code = base64.b64encode(data).decode("ascii")
    return (
        f'<figure{look}><img alt="{caption}" src="data:{kind};base64,{code}">'
        f"<figcaption>{caption}</figcaption></figure>"
    )


def _list(texts: Iterable[str]) -> str:
    items = "".join(f"<li>{escape(text)}</li>" for text in texts)
    return f"<ul>{items}</ul>" if items else ""


def _warnings(texts: Sequence[str]) -> str:
    if not texts:
        return "<p>No warnings.</p>"
    return f"<p><strong>Warnings</strong></p>{_list(texts)}"


def _cautions() -> str:
    return f'<section class="caution"><h2>Cautions</h2>{_list(CAUTIONS)}</section>'


def _notes() -> str:
    lines = "".join(f"<div>{escape(name)}</div>" for name in DEMOULD_NOTES)
    return f'<div class="notes">{lines}</div>'
