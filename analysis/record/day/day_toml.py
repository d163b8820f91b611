"""day.toml: what was filed of the day of a panel or part, in one plain file to edit by hand too.

Tables: ``[day]`` (`done_by`, `batch`), ``[[photo]]`` (`file`, `stage`, `time`, `time_from`,
`note`, `corners_px`, of a part `points_mm` too), ``[findings]``, ``[[mark]]`` (`kind`, `x_mm`,
`y_mm`, `note`) and ``[[taken_out]]`` (`file`, `stage`, `kept`, `time`).
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from analysis.part.part_folder import is_part
from analysis.part.plan.outline_table import lies_off
from analysis.record.day.day_records import (
    BACK,
    COUNTS,
    FINDING_FIELDS,
    KINDS,
    PRINTS,
    STAGES,
    SURFACES,
    TIME_FROM,
    Day,
    Findings,
    Mark,
    Points,
    StagePhoto,
    TakenOut,
)
from vision.common.outside.toml_file import parse_toml
from vision.common.quantity import LENGTH_MM, MASS_KG, read_quantity
from vision.common.toml_table import Table, length_mm, read_toml, refuse_unknown_tables
from vision.errors import WetlineError
from vision.settings.scale_settings import turns

FILE = "day.toml"
_DAY = ("done_by", "batch")
_PHOTO = ("file", "stage", "time", "time_from", "note", "corners_px", "points_mm")
_MARK = ("kind", "x_mm", "y_mm", "note")
_OUT = ("file", "stage", "kept", "time")
_TABLES = {
    "day": _DAY,
    "photo": _PHOTO,
    "findings": FINDING_FIELDS,
    "mark": _MARK,
    "taken_out": _OUT,
}
OFF_PANEL_MM = 2.0
"""How far a mark may lie beyond the panel's edge: a hand with a rule."""
MOST_PLACES, FEWEST_CORNERS = 20, 4
_LIKELY_MM = (0.3, 100.0)
_LIKELY_KG = (0.005, 200.0)


def read_day(folder: Path) -> Day:
    """Read what is filed of a panel or part; an empty day where nothing is.

    Parameters
    ----------
    folder : Path
        The panel folder.

    Raises
    ------
    WetlineError
        If day.toml breaks TOML's rules, or a field is unknown or wrong.
    """
    path = Path(folder) / FILE
    return day_from(read_toml(path), path) if path.exists() else Day()


def day_from(document: Mapping[str, Any], path: Path) -> Day:
    """Return the day for a TOML document already read (see `read_day`).

    Parameters
    ----------
    document : mapping
    path : Path
        Where it stands; panel.toml or part.toml beside it tells the size.
    """
    refuse_unknown_tables(path, document, _TABLES)
    day = Table.of(path, document, "day")
    day.refuse_unknown(_DAY, _TABLES)
    photos = [_photo(table) for table in _tables(path, document, "photo")]
    return Day(
        done_by=day.text("done_by", "") or "",
        batch=day.text("batch", "") or "",
        photos=tuple(sorted(photos, key=lambda one: (STAGES.index(one.stage), one.time))),
        findings=_findings(Table.of(path, document, "findings")),
        marks=tuple(_mark(table, path.parent) for table in _tables(path, document, "mark")),
        taken_out=tuple(_taken_out(table) for table in _tables(path, document, "taken_out")),
    )


def parse_day(text: str, path: Path) -> Day:
    """Return the day that a text of day.toml holds (see `read_day`)."""
    return day_from(parse_toml(text, path), path)


def panel_size_mm(folder: Path) -> tuple[float | None, float | None]:
    """Return length and width as panel.toml states them, None where it does not."""
    path = folder / "panel.toml"
    panel = read_toml(path).get("panel", {}) if path.exists() else {}
    sizes = panel if isinstance(panel, dict) else {}
    return length_mm(sizes.get("length_mm")), length_mm(sizes.get("width_mm"))


def _tables(path: Path, document: Mapping[str, Any], name: str) -> list[Table]:
    rows = document.get(name, [])
    if not isinstance(rows, list):
        raise WetlineError(f"{'/'.join(path.parts[-2:])}: [{name}]: write [[{name}]] above each")
    tables = [Table(path, f"{name} {number}", row) for number, row in enumerate(rows, 1)]
    for table in tables:
        table.refuse_unknown(_TABLES[name])
    return tables


def _photo(table: Table) -> StagePhoto:
    file, stage, time = _file(table, "file"), _stage(table), _time(table)
    source = table.text("time_from", "said" if time else "", choices=("", *TIME_FROM))
    places = tuple(table.points("points_mm") or ())
    corners = tuple(table.points("corners_px", len(places) or FEWEST_CORNERS) or ())
    if places and not len(corners) == len(places) >= FEWEST_CORNERS:
        raise table.bad(
            "points_mm", "must be four or more places, each with its pixel in corners_px"
        )
    if corners and not places and corner_fault(corners, stage):
        raise table.bad("corners_px", corner_fault(corners, stage))
    note = table.text("note", "") or ""
    return StagePhoto(file, stage, time, source or "", note, corners, places)


def _taken_out(table: Table) -> TakenOut:
    return TakenOut(_file(table, "file"), _stage(table), _file(table, "kept"), _time(table))


def _file(table: Table, key: str) -> str:
    file = table.text(key) or ""
    if not file or ":" in file or file.startswith(("/", "\\")) or ".." in file:
        raise table.bad(key, 'must name a photo in the panel folder, such as "stages/bag.jpg"')
    return file.replace("\\", "/")


def _stage(table: Table) -> str:
    stage = table.text("stage", choices=STAGES)
    if stage is None:
        raise table.bad("stage", f"is needed: one of {', '.join(STAGES)}")
    return stage


def _time(table: Table) -> str:
    value = table.values.get("time")
    if value is None:
        return ""
    try:
        when = value if isinstance(value, datetime) else datetime.fromisoformat(value)
    except (TypeError, ValueError):
        rule = "must be a date and time such as 2031-05-20T14:05:30"
        raise table.bad("time", rule) from None
    return when.replace(microsecond=0).isoformat()


def corner_fault(corners: Points, stage: str) -> str:
    """Return what is wrong with four photo corners; empty when nothing is.

    Seen from the back a panel is mirrored, so its corners run the other way round.

    Examples
    --------
    >>> corner_fault(((0, 0), (9, 0), (9, 4), (0, 4)), "bag")
    ''
    >>> corner_fault(((0, 0), (9, 0), (9, 4), (0, 4)), "demoulded back")[:22]
    'seen from the back the'
    """
    side = -1 if stage == BACK else 1
    corner = [side * turn for turn in turns(corners)]
    if all(turn > 0 for turn in corner):
        return ""
    if all(turn < 0 for turn in corner):
        way = "anticlockwise" if stage == BACK else "clockwise"
        seen = "seen from the back the" if stage == BACK else "the"
        return f"{seen} corners run {way} from the feed corner: list them so"
    return "the corners do not outline a panel: list them in turn around it, from the feed corner"


def _findings(table: Table) -> Findings:
    table.refuse_unknown(FINDING_FIELDS, _TABLES)
    choices = {"surface": SURFACES, "pits": COUNTS, "dry_areas": COUNTS, "print_through": PRINTS}
    words: dict[str, Any] = {
        name: table.text(name, "", choices=known) or "" for name, known in choices.items()
    }
    masses: dict[str, Any] = {
        name: table.quantity(name, MASS_KG, at_least=0, at_most=2000, likely=likely)
        for name, likely in (
            ("weight_kg", _LIKELY_KG),
            ("resin_used_kg", _LIKELY_KG),
            ("resin_left_kg", (0.0, 200.0)),
        )
    }
    thickness = _thickness(table)
    table.refuse_questions()
    return Findings(
        thickness_mm=thickness,
        note=table.text("note", "") or "",
        understood=tuple(table.understood),
        **words,
        **masses,
    )


def _thickness(table: Table) -> tuple[float, ...]:
    values = table.values.get("thickness_mm", [])
    rule = 'must be a list such as [2.1, 2.0, 2.1, 2.2, 2.1] or ["0.08 in", ...]'
    if not isinstance(values, list) or len(values) > MOST_PLACES:
        raise table.bad("thickness_mm", rule)
    read = []
    for value in values:
        try:
            read.append(read_quantity(value, LENGTH_MM))
        except ValueError as error:
            raise table.bad("thickness_mm", str(error)) from None
    if any(not 0 < value <= 1000 for value in read):
        raise table.bad("thickness_mm", "must be above 0 and at most 1000")
    if any(isinstance(value, str) for value in values):
        shown = ", ".join(f"{value:.4g}" for value in read)
        table.understood.append(f"{table.label('thickness_mm')}: {shown} mm")
    if any(not _LIKELY_MM[0] <= value <= _LIKELY_MM[1] for value in read):
        table.question("thickness_mm", "a laminate of 0.3 to 100 mm is usual")
    return tuple(read)


def _mark(table: Table, folder: Path) -> Mark:
    kind = table.text("kind", choices=KINDS)
    if kind is None:
        raise table.bad("kind", f"is needed: one of {', '.join(KINDS)}")
    part = is_part(folder)
    where = "as on the plan" if part else "x along the flow from the feed edge, y across"
    place = []
    for key in ("x_mm", "y_mm"):
        value = table.length(key)
        if value is None:
            raise table.bad(key, f"is needed: {where}, in mm")
        place.append(value)
    if part:
        if lies_off(folder / "part.toml", place[0], place[1], OFF_PANEL_MM):
            raise table.bad("x_mm", f"lies off the part (with y_mm = {place[1]:g}): {where}, in mm")
    else:
        _refuse_off_panel(table, place, panel_size_mm(folder))
    return Mark(kind, place[0], place[1], table.text("note", "") or "")


def _refuse_off_panel(
    table: Table, place: list[float], size: tuple[float | None, float | None]
) -> None:
    sides = zip(("x_mm", "y_mm"), place, size, ("long", "wide"), strict=True)
    for key, value, most, side in sides:
        if value < -OFF_PANEL_MM or (most is not None and value > most + OFF_PANEL_MM):
            shown = "" if most is None else f", which is {most:g} mm {side}"
            raise table.bad(key, f"lies off the panel{shown}")
