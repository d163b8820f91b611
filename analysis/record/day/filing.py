"""Filing into a panel's day: stage photos, findings, marks. Originals stay where they are."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from analysis.part.part_folder import is_part
from analysis.record.day.day_records import (
    BACK,
    FACE,
    FINDING_FIELDS,
    KINDS,
    STAGES,
    Day,
    Mark,
    Points,
    StagePhoto,
)
from analysis.record.day.day_toml import FILE, corner_fault, parse_day, read_day
from analysis.record.day.photo_time import photo_time
from vision.common.atomic_files import add_file, write_text
from vision.common.outside.input_files import (
    MOST_PICTURE_BYTES,
    cannot_read,
    is_there,
    read_file,
    read_text,
)
from vision.common.quantity import plain_number
from vision.errors import WetlineError, did_you_mean
from vision.frames.exif import is_cut_short, read_header
from vision.frames.photos import PHOTO_SUFFIXES
from vision.settings.event_log import whole_text

STAGES_FOLDER = "stages"
_SHORT = {"face": FACE, "back": BACK, "end": "end of fill", "resin": "resin open"}
_HEAD = (
    "# What was filed of this panel's day, by `wetline record` or on the page. It may be edited:\n"
    "# x runs along the flow from the feed edge and y across, in mm.\n"
)
_PART_HEAD = (
    "# What was filed of this part's day, by `wetline record`. It may be edited:\n"
    "# x and y as on the plan, in mm.\n"
)
HEADER = re.compile(r"^\s*\[\[?\s*([A-Za-z_]\w*)\s*\]\]?\s*(#.*)?$")


def stage_named(text: str) -> str:
    """Return the stage that is meant.

    Raises
    ------
    WetlineError
        Naming the stages there are.

    Examples
    --------
    >>> stage_named("End-of-fill"), stage_named("face")
    ('end of fill', 'demoulded face')
    """
    words = " ".join(re.split(r"[\s_-]+", text.strip().lower()))
    words = _SHORT.get(words, words)
    if words not in STAGES:
        near = did_you_mean(words, STAGES)
        raise WetlineError(f"stage = {text}: must be one of {', '.join(STAGES)}{near}")
    return words


def file_photo(
    folder: Path,
    photo: Path,
    stage: str,
    *,
    note: str = "",
    at: str = "",
    corners_px: Points = (),
    points_mm: Points = (),
) -> StagePhoto:
    """File a copy of a photo; the original is left as it is.

    Parameters
    ----------
    folder : Path
        The panel folder.
    photo : Path
        The photo, wherever it lies.
    stage : str
        What it shows (see `STAGES`).
    note : str
    at : str
        When it was taken, as ``"14:05"`` or ``"2031-05-20 14:05"``. Left out: by the photo's own
        time, else by the file's date, and that is kept in `time_from`.
    corners_px, points_mm : tuple of (x, y)
        The panel's four corners in it, where no scale reference shows; of a part four or more of
        its corners, and their places on the plan.

    Returns
    -------
    filed : StagePhoto

    Raises
    ------
    WetlineError
        If it is no photo, is filed already, or what is said of it cannot be.
    """
    try:
        data = read_file(photo, MOST_PICTURE_BYTES)
    except OSError as error:
        raise WetlineError(f"{photo}: cannot be read: check the name") from error
    when = photo_time(photo, at)
    return file_picture(
        folder, data, photo.suffix, stage,
        note=note, when=when, corners_px=corners_px, points_mm=points_mm,
    )  # fmt: skip


def file_picture(
    folder: Path,
    data: bytes,
    suffix: str,
    stage: str,
    *,
    note: str = "",
    when: tuple[str, str] | None = None,
    corners_px: Points = (),
    points_mm: Points = (),
) -> StagePhoto:
    """File a photo held in memory, such as one sent by a phone.

    Parameters
    ----------
    folder, stage, note, corners_px, points_mm
        As for `file_photo`.
    data : bytes
        The photo file.
    suffix : str
        As ``".jpg"``.
    when : (time, time_from), optional
        ISO time and where it comes from; left out: by the photo's own time, if it has one.

    Raises
    ------
    WetlineError
        As `file_photo`.
    """
    stage, day = stage_named(stage), read_day(folder)
    suffix = suffix.lower()
    if suffix not in PHOTO_SUFFIXES:
        raise WetlineError(f"{suffix or 'no ending'}: must be one of {', '.join(PHOTO_SUFFIXES)}")
    if corners_px and not points_mm and corner_fault(corners_px, stage):
        raise WetlineError(f"corners: {corner_fault(corners_px, stage)}")
    _refuse_twice(folder, day, data)
    path = add_file(folder / STAGES_FOLDER, stage.replace(" ", "_"), suffix, data)
    try:
        _require_picture(path)
        time, source = photo_time(path, "", file_counts=False) if when is None else when
        filed = StagePhoto(
            f"{STAGES_FOLDER}/{path.name}", stage, time, source, whole_text(note),
            corners_px, points_mm,
        )  # fmt: skip
        _append(folder, "photo", _photo_fields(filed))
    except WetlineError:
        path.unlink(missing_ok=True)
        raise
    return filed


def add_mark(folder: Path, kind: str, x_mm: float, y_mm: float, note: str = "") -> Mark:
    """File a place on the panel where something was found.

    Parameters
    ----------
    folder : Path
        The panel folder.
    kind : str
        One of `KINDS`.
    x_mm, y_mm : float
        Along the flow from the feed edge, and across.
    note : str

    Raises
    ------
    WetlineError
        If the kind is not known or the place is off the panel.
    """
    mark = Mark(kind_named(kind), float(x_mm), float(y_mm), whole_text(note))
    shown = {"kind": mark.kind, "x_mm": round(mark.x_mm, 1), "y_mm": round(mark.y_mm, 1)}
    _append(folder, "mark", shown | ({"note": mark.note} if mark.note else {}))
    return mark


def kind_named(text: str) -> str:
    """Return the kind of mark that is meant.

    Examples
    --------
    >>> kind_named("Dry-area"), kind_named("print through")
    ('dry area', 'print-through')
    """
    words = " ".join(re.split(r"[\s_-]+", text.strip().lower()))
    spelt = {kind.replace("-", " "): kind for kind in KINDS}
    if words not in spelt:
        near = did_you_mean(words, spelt)
        raise WetlineError(f"mark {text}: must be one of {', '.join(KINDS)}{near}")
    return spelt[words]


def parse_mark(text: str) -> tuple[str, float, float, str]:
    """Return kind, x and y in mm, and note of a mark written as ``pit 210 45 beside the tape``.

    Raises
    ------
    WetlineError
        If it is not written so.

    Examples
    --------
    >>> parse_mark("dry area 210 45,5 under the pleat")
    ('dry area', 210.0, 45.5, 'under the pleat')
    """
    number = r"([-+]?\d+(?:[.,]\d+)?)"
    found = re.match(rf"^\s*(\D+?)[\s,;]+{number}[\s;,]+{number}(?:\s+(.*))?$", text, re.S)
    if found is None:
        raise WetlineError(
            f"--mark {text}: write what, x and y in mm, and a note, such as "
            '"pit 210 45 beside the tape"'
        )
    kind, x, y, note = found.groups()
    return kind_named(kind), _number(x), _number(y), (note or "").strip()


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def set_day(folder: Path, **values: str) -> Day:
    """File who did it and which batch (`done_by`, `batch`); what is not given stays."""
    return _change(folder, "day", {k: whole_text(v) for k, v in values.items()})


def set_findings(folder: Path, **values: Any) -> Day:
    """File findings; what is not given stays as it was.

    Parameters
    ----------
    folder : Path
        The panel folder.
    **values
        Fields of `Findings`, as in day.toml: numbers, or text with a unit. None takes one out.

    Raises
    ------
    WetlineError
        If a field is not known or a value cannot be; nothing is then written.
    """
    wrong = [name for name in values if name not in FINDING_FIELDS]
    if wrong:
        near = did_you_mean(wrong[0], FINDING_FIELDS)
        raise WetlineError(f"{wrong[0]}: not a finding: {', '.join(FINDING_FIELDS)}{near}")
    if isinstance(values.get("note"), str):
        values["note"] = whole_text(values["note"])
    measured = {k: _as_number(v) for k, v in values.items() if k.endswith(("_mm", "_kg"))}
    return _change(folder, "findings", values | measured)


def _as_number(value: Any) -> Any:
    """Return text that is a bare number as the number; all else as it is."""
    if isinstance(value, list | tuple):
        return [_as_number(item) for item in value]
    try:
        return plain_number(value) if isinstance(value, str) else value
    except ValueError:
        return value


def _change(folder: Path, name: str, values: Mapping[str, Any]) -> Day:
    """Replace fields of one table; the rest of the file stays as it is."""
    import tomllib

    text = _text(folder)
    parse_day(text, folder / FILE)
    table = dict(tomllib.loads(text).get(name, {}))
    for key, value in values.items():
        table.pop(key, None) if value is None else table.update({key: value})
    return _write(folder, _with_table(text, name, table))


def _append(folder: Path, name: str, values: Mapping[str, Any]) -> Day:
    text = _text(folder).rstrip("\n")
    return _write(folder, f"{text}\n\n[[{name}]]\n{table_lines(values)}\n")


def _text(folder: Path) -> str:
    if not folder.is_dir():
        raise WetlineError(f"{folder}: no such folder: make one with `wetline new FOLDER`")
    path = folder / FILE
    try:
        return read_text(path) if is_there(path) else _PART_HEAD if is_part(folder) else _HEAD
    except (OSError, UnicodeDecodeError) as error:
        raise cannot_read(path, error) from error


def _write(folder: Path, text: str) -> Day:
    """Write the text if it reads well, or nothing."""
    day = parse_day(text, folder / FILE)
    write_text(folder / FILE, text)
    return day


def _with_table(text: str, name: str, values: Mapping[str, Any]) -> str:
    """Replace one table, in its place or at the end of the head."""
    kept: list[str] = []
    place, inside = None, False
    for line in text.splitlines():
        header = HEADER.match(line)
        if header:
            inside = header.group(1) == name
            if inside:
                place = len(kept)
        if not inside:
            kept.append(line)
    new = [f"[{name}]", *table_lines(values).splitlines(), ""] if values else []
    if place is None:
        first = next((i for i, line in enumerate(kept) if HEADER.match(line)), len(kept))
        place, new = first, ([""] if first == len(kept) else []) + new
    return "\n".join([*kept[:place], *new, *kept[place:]]).rstrip("\n") + "\n"


def table_lines(values: Mapping[str, Any]) -> str:
    """Return the lines of day.toml that say these values."""
    return "\n".join(f"{key} = {_written(value)}" for key, value in values.items())


def _written(value: Any) -> str:
    """Write a value as TOML; text is quoted as JSON does, which TOML reads alike."""
    if isinstance(value, list | tuple):
        return f"[{', '.join(_written(item) for item in value)}]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return f"{value:g}" if isinstance(value, float) else str(value)


def _photo_fields(photo: StagePhoto) -> dict[str, Any]:
    shown: dict[str, Any] = {"file": photo.file, "stage": photo.stage}
    for key in ("time", "time_from", "note"):
        if getattr(photo, key):
            shown[key] = getattr(photo, key)
    if photo.corners_px:
        shown["corners_px"] = [[round(x, 1), round(y, 1)] for x, y in photo.corners_px]
    if photo.points_mm:
        shown["points_mm"] = [list(place) for place in photo.points_mm]
    return shown


def _refuse_twice(folder: Path, day: Day, data: bytes) -> None:
    for photo in day.photos:
        path = folder / photo.file
        if path.is_file() and path.stat().st_size == len(data) and path.read_bytes() == data:
            raise WetlineError(
                f"{photo.file}: this photo is filed already, as {photo.stage}: take it out "
                f"(`wetline record {folder.name} --take-out {photo.file}`, or on the page), if it "
                "should be filed anew"
            )


def _require_picture(path: Path) -> None:
    try:
        read_header(path)
        short = is_cut_short(path)
    except (OSError, ImportError) as error:
        raise WetlineError(
            f"{path.name}: not a picture that can be read: save it as JPEG or PNG"
        ) from error
    if short:
        raise WetlineError(f"{path.name}: the end of the file is missing: copy it again")
