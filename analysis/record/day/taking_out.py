"""Taking out of a panel's day what was filed by mistake; all else in day.toml stays as it is."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from analysis.record.day.day_records import Mark
from analysis.record.day.day_toml import FILE, parse_day, read_day
from vision.common.atomic_files import write_text
from vision.common.outside.input_files import read_text
from vision.errors import WetlineError

_HEADER = re.compile(r"^\s*\[\[?\s*([A-Za-z_]\w*)\s*\]\]?\s*(#.*)?$")


def take_out_mark(folder: Path, number: int) -> Mark:
    """Take a mark out of the day again, such as one set on the wrong place.

    Parameters
    ----------
    folder : Path
        The panel folder.
    number : int
        1 for the first.

    Raises
    ------
    WetlineError
        If there is no such mark, or the file's own lines do not let it be taken out safely.
    """
    path, before = folder / FILE, read_day(folder)
    if not 1 <= number <= len(before.marks):
        raise WetlineError(f"mark {number}: there are {len(before.marks)} marks")
    text = read_text(path)
    kept: list[str] = []
    found, inside = 0, False
    for line in text.splitlines():
        header = _HEADER.match(line)
        if header:
            found += header.group(1) == "mark"
            inside = header.group(1) == "mark" and found == number
        if not inside:
            kept.append(line)
    marks = before.marks[: number - 1] + before.marks[number:]
    new = "\n".join(kept).rstrip("\n") + "\n"
    try:
        safe = parse_day(new, path) == replace(before, marks=marks)
    except WetlineError:
        safe = False
    if not safe:
        raise WetlineError(f"mark {number}: cannot be taken out safely: edit {FILE} by hand")
    write_text(path, new)
    return before.marks[number - 1]
