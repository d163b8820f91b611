"""Where the printed cards go, in one place: what panel.toml says, the sheet shows, or writes."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from vision.common.atomic_files import write_text
from vision.common.outside.input_files import read_text
from vision.common.toml_table import Table, read_toml
from vision.errors import WetlineError
from vision.records import FloatArray
from vision.settings.scale_settings import Points, default_centres_mm

_SCALE_HEADER = re.compile(r"^\s*\[\s*scale\s*\]\s*(#.*)?$")
_HEADER = re.compile(r"^\s*\[\[?\s*[A-Za-z_][\w.\- ]*\s*\]\]?\s*(#.*)?$")
_METHOD = re.compile(r"^\s*method\s*=")


@dataclass(frozen=True)
class Paper:
    """A paper size, upright, and the marker edge printed on it."""

    width_mm: float
    height_mm: float
    marker_mm: float


# ISO 216 sizes; letter as ANSI/ASME Y14.1 size A
PAPERS = {
    "A4": Paper(210.0, 297.0, 40.0),
    "A3": Paper(297.0, 420.0, 60.0),
    "letter": Paper(215.9, 279.4, 40.0),
}
PART_PER_CARD = 40.0
"""Longest side of a part over a card's black square past which it is small in a usual photo: some
25 of 1280 pixels. Common practice, no source."""

CLEAR_MM = 60.0
"""Gap between a part's outline and the cards, for bag and sealant tape. Common practice, no
source."""


@dataclass(frozen=True)
class SheetFacts:
    """What the sheet needs to know of a panel, or of a part.

    Attributes
    ----------
    name : str
    length_mm, width_mm : float or None
        The panel; None of a part.
    centres_mm : tuple of 4 (x, y), or None
        The card places that panel.toml states.
    marker_mm : float or None
        The black square that panel.toml states.
    method : str or None
        The scale method that panel.toml names.
    """

    name: str = ""
    length_mm: float | None = None
    width_mm: float | None = None
    centres_mm: Points | None = None
    marker_mm: float | None = None
    method: str | None = None


def read_sheet_facts(file: Path) -> SheetFacts:
    """Read what panel.toml or part.toml says of its cards; other tables may be unwritten.

    Raises
    ------
    WetlineError
        If the file is missing or a value is wrong.
    """
    file = file / "panel.toml" if file.is_dir() else file
    document = read_toml(file)
    panel, scale = Table.of(file, document, "panel"), Table.of(file, document, "scale")
    centres = scale.points("marker_centres_mm", 4)
    return SheetFacts(
        name=panel.text("name") or str(document.get("name") or ""),
        length_mm=panel.length("length_mm", above=0),
        width_mm=panel.length("width_mm", above=0),
        centres_mm=None if centres is None else tuple(centres),
        marker_mm=scale.length("marker_mm", above=0),
        method=scale.text("method"),
    )


def card_places(facts: SheetFacts, marker_mm: float, where: str) -> Points | None:
    """Return the card centres: as panel.toml states them, else around the panel.

    Parameters
    ----------
    facts : SheetFacts
    marker_mm : float
        Of the paper in the printer.
    where : str
        The file, for messages.

    Returns
    -------
    centres_mm : tuple of 4 (x, y), or None
        None while the panel's size is not known.

    Raises
    ------
    WetlineError
        If the file states another size of marker than the paper takes.
    """
    if facts.marker_mm is not None and abs(facts.marker_mm - marker_mm) > 0.5:
        raise WetlineError(
            f"{where}: [scale] marker_mm = {facts.marker_mm:g}: this paper takes markers of "
            f"{marker_mm:g} mm: choose another --paper, or take marker_mm and marker_centres_mm out"
        )
    if facts.centres_mm is not None:
        return facts.centres_mm
    if facts.length_mm is None or facts.width_mm is None:
        return None
    return default_centres_mm(facts.length_mm, facts.width_mm, marker_mm)


def centres_line(centres_mm: Points) -> str:
    """Return the line of panel.toml that states the card centres.

    Examples
    --------
    >>> centres_line(((30.0, -70.0), (370.0, -70.0), (370.0, 270.0), (30.0, 270.0)))
    'marker_centres_mm = [[30, -70], [370, -70], [370, 270], [30, 270]]'
    """
    return f"marker_centres_mm = [{', '.join(f'[{x:g}, {y:g}]' for x, y in centres_mm)}]"


def paper_for(longest_mm: float) -> str:
    """Return the paper whose cards are large enough beside a part, as far as one is.

    Examples
    --------
    >>> paper_for(1200.0), paper_for(1800.0)
    ('A4', 'A3')
    """
    return "A4" if longest_mm <= PART_PER_CARD * PAPERS["A4"].marker_mm else "A3"


def places_around(outline_mm: FloatArray, y_runs: str, marker_mm: float, clear_mm: float) -> Points:
    """Return where cards go around a part, in the plan's coordinates to whole millimetres.

    Parameters
    ----------
    outline_mm : ndarray of shape (N, 2), float
    y_runs : {"down", "up"}
        As the part is seen from above.
    marker_mm : float
    clear_mm : float
        From the outline's box to the black squares.

    Returns
    -------
    centres_mm : tuple of 4 (x, y)
        As seen from above: upper left, upper right, lower right, lower left.
    """
    low, high = outline_mm.min(axis=0), outline_mm.max(axis=0)
    out = clear_mm + marker_mm / 2
    inset = min(0.1 * float(high[0] - low[0]), 200.0)
    left, right = round(float(low[0]) + inset), round(float(high[0]) - inset)
    upper, lower = round(float(low[1]) - out), round(float(high[1]) + out)
    if y_runs == "up":
        upper, lower = round(float(high[1]) + out), round(float(low[1]) - out)
    return tuple(
        (float(x), float(y))
        for x, y in ((left, upper), (right, upper), (right, lower), (left, lower))
    )


def write_card_lines(
    file: Path, facts: SheetFacts, marker_mm: float, centres_mm: Points | None
) -> list[str]:
    """Write the cards' size and places into a settings file where it does not state them yet.

    Returns
    -------
    lines : list of str
        What was written; empty where nothing was.

    Raises
    ------
    WetlineError
        If the file cannot be changed safely.
    """
    if centres_mm is None or facts.method not in (None, "sheet"):
        return []
    lines = [] if facts.method else ['method = "sheet"']
    lines += [] if facts.marker_mm is not None else [f"marker_mm = {marker_mm:g}"]
    lines += [] if facts.centres_mm is not None else [centres_line(centres_mm)]
    if lines:
        write_text(file, with_scale_lines(read_text(file), lines, file.name))
    return lines


def replace_scale(text: str, lines: Sequence[str], name: str, keep_old: bool = False) -> str:
    """Put lines in place of what the ``[scale]`` table of a settings file says.

    Parameters
    ----------
    text : str
        Of panel.toml or part.toml.
    lines : sequence of str
        All that the table is to say.
    name : str
        Of the file, for messages.
    keep_old : bool
        Whether what it said stays as comments below.

    Returns
    -------
    text : str
        Other tables, and all lines that are comments, as they were.

    Raises
    ------
    WetlineError
        If another table would change.
    """
    rows = text.splitlines()
    at = next((k for k, row in enumerate(rows) if _SCALE_HEADER.match(row)), None)
    if at is None:
        rows += ["", "[scale]"] if rows else ["[scale]"]
        at = len(rows) - 1
    end = next((k for k in range(at + 1, len(rows)) if _HEADER.match(rows[k])), len(rows))
    old = _without_fields(rows[at + 1 : end], keep_old)
    new = "\n".join([*rows[: at + 1], *lines, *old, *rows[end:]]) + "\n"
    fault = WetlineError(
        f"{name}: [scale] cannot be replaced safely: write there {'; '.join(lines)}"
    )
    try:
        before, after = tomllib.loads(text), tomllib.loads(new)
        wanted = tomllib.loads("\n".join(lines))
    except tomllib.TOMLDecodeError:
        raise fault from None
    before["scale"] = wanted
    if before != after:
        raise fault
    return new


def _without_fields(rows: list[str], keep_old: bool) -> list[str]:
    """Return a table's rows without its fields, or with them as comments."""
    kept, k = [], 0
    while k < len(rows):
        if not rows[k].strip() or rows[k].lstrip().startswith("#"):
            kept.append(rows[k])
            k += 1
            continue
        last = next((n for n in range(k + 1, len(rows) + 1) if _whole(rows[k:n])), k + 1)
        kept += [f"# {row}" for row in rows[k:last]] if keep_old else []
        k = last
    return kept


def _whole(rows: list[str]) -> bool:
    """Return whether rows are a field by themselves: a list may run over several."""
    try:
        tomllib.loads("\n".join(rows))
    except tomllib.TOMLDecodeError:
        return False
    return True


def with_scale_lines(text: str, lines: list[str], name: str = "panel.toml") -> str:
    """Put lines into the ``[scale]`` table of a settings file's text; all else stays as it is.

    Raises
    ------
    WetlineError
        If anything else would change.
    """
    rows = text.splitlines()
    at = next((k for k, row in enumerate(rows) if _SCALE_HEADER.match(row)), None)
    if at is None:
        rows += ["", "[scale]"]
        at = len(rows) - 1
    end = next((k for k in range(at + 1, len(rows)) if _HEADER.match(rows[k])), len(rows))
    method = next((k for k in range(at + 1, end) if _METHOD.match(rows[k])), at)
    new = "\n".join([*rows[: method + 1], *lines, *rows[method + 1 :]]) + "\n"
    expected = tomllib.loads(text)
    expected["scale"] = {**expected.get("scale", {}), **tomllib.loads("\n".join(lines))}
    try:
        same = tomllib.loads(new) == expected
    except tomllib.TOMLDecodeError:
        same = False
    if not same:
        raise WetlineError(
            f"{name}: [scale] cannot be changed safely: write there {'; '.join(lines)}"
        )
    return new
