"""Taking out of a panel's day what was filed by mistake; all else in day.toml stays as it is."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from analysis.record.day.day_records import Day, Mark, TakenOut
from analysis.record.day.day_toml import FILE, parse_day, read_day
from analysis.record.day.filing import HEADER, STAGES_FOLDER, table_lines
from vision.common.atomic_files import add_file, write_text
from vision.common.outside.input_files import MOST_PICTURE_BYTES, read_file, read_text
from vision.common.outside.toml_file import parse_toml
from vision.errors import WetlineError

FOLDER = "taken_out"
"""Where photos that were taken out are kept: nothing that was filed is thrown away."""


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
    marks = before.marks[: number - 1] + before.marks[number:]
    new = _without(read_text(path), "mark", number)
    _require(new, path, replace(before, marks=marks), f"mark {number}")
    write_text(path, new)
    return before.marks[number - 1]


def take_out_photo(folder: Path, file: str, stage: str, when: datetime) -> TakenOut:
    """Take a filed photo out of the day again; it is kept aside, and day.toml says so.

    Parameters
    ----------
    folder : Path
        Of the panel or part.
    file, stage : str
        As it was filed, such as ``"stages/bag.jpg"`` and ``"bag"``.
    when : datetime
        Now, on the wall clock.

    Returns
    -------
    out : TakenOut

    Raises
    ------
    WetlineError
        If no such photo is filed, it cannot be copied, or the file's own lines do not let it be
        taken out safely; nothing is changed then.

    Notes
    -----
    Only a photo in ``stages`` moves, and only where no other line names it: one that was listed
    by hand from elsewhere, such as a photo of the run, stays in its place.
    """
    path, before = folder / FILE, read_day(folder)
    found = [photo for photo in before.photos if (photo.file, photo.stage) == (file, stage)]
    if not found:
        raise WetlineError(f"{file}: no such photo is filed: look at the list again")
    text = read_text(path)
    number = _number_of(text, path, file, stage)
    same = [photo for photo in before.photos if photo.file == file]
    moves = file.startswith(f"{STAGES_FOLDER}/") and len(same) == 1 and (folder / file).is_file()
    kept = _kept_aside(folder, file) if moves else file
    out = TakenOut(file, stage, kept, when.replace(microsecond=0).isoformat())
    told = {"file": out.file, "stage": out.stage, "kept": out.kept, "time": out.time}
    new = f"{_without(text, 'photo', number)}\n[[{FOLDER}]]\n{table_lines(told)}\n"
    photos = tuple(photo for photo in before.photos if photo is not found[0])
    after = replace(before, photos=photos, taken_out=(*before.taken_out, out))
    try:
        _require(new, path, after, file)
        write_text(path, new)
    except WetlineError:
        if moves:
            (folder / kept).unlink(missing_ok=True)
        raise
    if moves:
        with suppress(OSError):  # in use elsewhere: then it lies there twice, and nothing is lost
            (folder / file).unlink()
    return out


def _kept_aside(folder: Path, file: str) -> str:
    """Copy a photo to where it is kept, and return its place there."""
    place = folder / file
    try:
        data = read_file(place, MOST_PICTURE_BYTES)
    except OSError as error:
        raise WetlineError(f"{file}: cannot be read: edit {FILE} by hand") from error
    return f"{FOLDER}/{add_file(folder / FOLDER, place.stem, place.suffix, data).name}"


def _number_of(text: str, path: Path, file: str, stage: str) -> int:
    """Return which of the file's photos it is, from 1: they are not in the day's order there."""
    rows = parse_toml(text, path)["photo"]
    filed = [(str(row.get("file")).replace("\\", "/"), row.get("stage")) for row in rows]
    return filed.index((file, stage)) + 1


def _without(text: str, name: str, number: int) -> str:
    """Return the lines of day.toml without one of its tables of that name; remarks stay."""
    kept: list[str] = []
    found, inside = 0, False
    for line in text.splitlines():
        header = HEADER.match(line)
        if header:
            found += header.group(1) == name
            inside = header.group(1) == name and found == number
        if not inside or line.lstrip().startswith("#"):
            kept.append(line)
    return "\n".join(kept).rstrip("\n") + "\n"


def _require(text: str, path: Path, wanted: Day, what: str) -> None:
    """Refuse a text that says anything else than the day that is wanted."""
    try:
        safe = parse_day(text, path) == wanted
    except WetlineError:
        safe = False
    if not safe:
        raise WetlineError(f"{what}: cannot be taken out safely: edit {FILE} by hand")
