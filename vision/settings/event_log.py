"""stamps.csv: what was done at the panel and when, stamped while the run goes on."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from vision.common.atomic_files import write_text
from vision.common.outside.input_files import is_there, read_text
from vision.errors import WetlineError

RESIN_OPEN, CLAMP, NOTE, PHOTO, EVENT = "resin open", "clamp", "note", "photo", "event"
FEED_OPEN, FEED_BACK = "feed open", "feed not open"
VENT_SHUT, VENT_BACK = "vent clamped", "vent not clamped"
HEADER = ("clock", "kind", "text", "photo")
FILE = "stamps.csv"
MOST_TEXT = 400
"""Letters of a note."""


@dataclass(frozen=True)
class Stamp:
    """One line of the record.

    Attributes
    ----------
    clock_s : float
        Unix time.
    kind : str
        ``"resin open"``, ``"clamp"``, ``"note"``, ``"photo"``, or ``"event"`` for what Wetline saw
        itself, such as a gap. Of a part, with the name of the feed or vent in `text`: ``"feed
        open"``, ``"vent clamped"``, and ``"feed not open"``, ``"vent not clamped"`` where that is
        taken back.
    text : str
    photo : str
        Name of the photo beside it, in the panel's ``notes`` folder.
    """

    clock_s: float
    kind: str
    text: str = ""
    photo: str = ""


def read_stamps(folder: Path) -> list[Stamp]:
    """Read a panel folder's stamps in the order they were written; none when there is no file.

    Raises
    ------
    WetlineError
        If a line has no time that can be read.
    """
    path = folder / FILE
    if not is_there(path):
        return []
    try:
        rows = list(csv.DictReader(io.StringIO(read_text(path), newline="")))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise WetlineError(f"{path}: cannot be read: mend it or move it away") from error
    stamps = []
    for number, row in enumerate(rows, 2):
        try:
            when = datetime.fromisoformat((row.get("clock") or "").strip())
        except ValueError:
            raise WetlineError(
                f"{path}: line {number}: clock = {row.get('clock')}: must be a time such as "
                "2031-05-20T14:05:30+02:00"
            ) from None
        clock = when.timestamp() if when.tzinfo else when.replace(tzinfo=UTC).timestamp()
        kind = (row.get("kind") or NOTE).strip()
        stamps.append(Stamp(clock, kind, row.get("text") or "", row.get("photo") or ""))
    return stamps


def add_stamp(folder: Path, stamp: Stamp) -> None:
    """Add one stamp; the file is replaced whole, so that a crash never leaves half a line."""
    stamps = [*read_stamps(folder), stamp]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADER)
    for one in stamps:
        writer.writerow([iso_local(one.clock_s), one.kind, plain_text(one.text), one.photo])
    write_text(folder / FILE, out.getvalue())


def plain_text(text: str) -> str:
    """Return a note fit for one cell: one line, no control characters, no start of a formula.

    Examples
    --------
    >>> plain_text("bag leaks\\n at corner 2"), plain_text("=1+1")
    ('bag leaks at corner 2', "'=1+1")
    """
    words = " ".join("".join(c if c.isprintable() else " " for c in text).split())[:MOST_TEXT]
    return f"'{words}" if words[:1] in ("=", "+", "-", "@") else words


def whole_text(text: str) -> str:
    """Return a note fit for one cell, all of it.

    Raises
    ------
    WetlineError
        If it is too long: cut short it might say something else.
    """
    if len(text) > MOST_TEXT:
        raise WetlineError(f"a note of {len(text)} letters: at most {MOST_TEXT} fit: shorten it")
    return plain_text(text)


def iso_local(clock_s: float) -> str:
    """Write a Unix time as this computer's local time with its offset."""
    local = datetime.fromtimestamp(round(clock_s, 3)).astimezone()
    return local.isoformat(timespec="milliseconds")


def stamped_clock_s(stamps: list[Stamp], kind: str) -> float | None:
    """Return the time of the last stamp of a kind: pressing again corrects it; None if none."""
    times = [stamp.clock_s for stamp in stamps if stamp.kind == kind]
    return times[-1] if times else None
