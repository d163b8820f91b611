"""part.toml to the plan of a part, checked, with measured values taken from panel folders."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis.fit.impulse import Impulse
from analysis.fit.permeability import panel_impulse
from analysis.panel.panel_toml import read_settled_panel
from analysis.panel.records import Panel, Resin, Stack, Vacuum
from analysis.panel.tables.resin import read_resin_table
from analysis.panel.tables.vacuum import MBAR_PA, read_vacuum_table
from analysis.part.plan import outline as part_outline
from analysis.part.plan.plan import PartFeed, PartPlan, Vent, Zone
from analysis.part.plan.ports import entries, read_feeds, read_gaps, read_vents
from analysis.part.plan.search_goal import SearchGoal, read_goal
from analysis.part.plan.stack import Merged, read_stack
from vision.common.toml_table import Table, read_toml
from vision.errors import WetlineError, bad_field
from vision.records import FloatArray

TABLES = ("name", "part", "outline", "stack", "zone", "gap", "feed", "vent", "resin", "vacuum")
OUTLINE_KEYS = (
    "points_mm",
    "file",
    "rectangle_mm",
    "disc_radius_mm",
    "disc_centre_mm",
    "l_shape_mm",
    "holes_mm",
    "units",
)
SHAPES = ("points_mm", "file", "rectangle_mm", "disc_radius_mm", "l_shape_mm")
LEAST_CELLS, MOST_CELLS = 20, 2000
NEAR_CELLS = 0.75
"""A feed or vent this many cells outside the outline still counts as lying on it."""


@dataclass(frozen=True)
class PartJob:
    """Everything part.toml says.

    Attributes
    ----------
    plan : PartPlan
    resin, vacuum
        As in panel.toml.
    impulse : Impulse
        The driving impulse against time; plain time where `timed` is False.
    timed : bool
        Whether vacuum and viscosity are both known.
    goal : SearchGoal
        What the search is asked for.
    """

    path: Path
    plan: PartPlan
    resin: Resin
    vacuum: Vacuum
    impulse: Impulse
    timed: bool
    goal: SearchGoal


def read_part(path: Path) -> PartJob:
    """Read part.toml.

    Parameters
    ----------
    path : Path
        The file, or the folder it lies in.

    Raises
    ------
    WetlineError
        If the file, a drawing or a panel is missing, or a value cannot be true, with the mend.
    """
    path = path / "part.toml" if path.is_dir() else path
    document = read_toml(path)
    for key in document:
        if key not in (*TABLES, "grid", "search"):
            raise bad_field(
                path,
                f"[{key}]",
                "",
                f"is not a known table; known are {', '.join(TABLES)}, grid, search",
            )
    outline, holes, notes = _outline(path, document)
    size = float(np.ptp(outline, axis=0).max())
    cells = _cells(path, document)
    near_mm = max(1.0, NEAR_CELLS * size / cells)
    base = Merged(Table.of(path, document, "stack"), {})
    stack, more = read_stack(base)
    notes += more
    zones, more = _zones(path, document, base)
    notes += more
    outline, feeds, vents, more = _laid(path, document, outline, holes, near_mm)
    notes += more
    names = [document.get("name"), document.get("part", {}).get("name"), path.resolve().parent.name]
    plan = PartPlan(
        outline_mm=outline,
        holes_mm=tuple(holes),
        stack=stack,
        zones=tuple(zones),
        gaps=tuple(read_gaps(path, document, stack.thickness_mm)),
        feeds=tuple(feeds),
        vents=tuple(vents),
        cells=cells,
        name=next(str(name) for name in names if name),
        notes=tuple(notes),
    )
    resin, vacuum, more = _drive(path, document, base)
    impulse, timed = _impulse(resin, vacuum)
    if not timed:
        missing = (
            "[vacuum] pressure_difference_mbar"
            if vacuum.pressure_pa is None
            else "[resin] viscosity_mpas"
        )
        raise WetlineError(
            f"{path.name}: {missing} = (missing): is needed to turn the filling into minutes: "
            "write it as in panel.toml"
        )
    goal = read_goal(Table.of(path, document, "search"), outline)
    plan = replace(plan, notes=(*plan.notes, *more))
    return PartJob(path, plan, resin, vacuum, impulse, timed, goal)


def _laid(
    path: Path,
    document: Mapping[str, Any],
    outline: FloatArray,
    holes: list[FloatArray],
    near_mm: float,
) -> tuple[FloatArray, list[PartFeed], list[Vent], list[str]]:
    """Read feeds and vents on the outline; a disc without a centre is moved where they fit it."""
    try:
        feeds = read_feeds(path, document, outline, holes, near_mm)
        return outline, feeds, read_vents(path, document, outline, holes, near_mm), []
    except WetlineError:
        table = document.get("outline", {})
        if "disc_radius_mm" not in table or "disc_centre_mm" in table:
            raise
        moved = outline - outline.min(axis=0)
        try:
            feeds = read_feeds(path, document, moved, holes, near_mm)
            vents = read_vents(path, document, moved, holes, near_mm)
        except WetlineError:
            moved = outline
        if moved is outline:
            raise
    middle = moved.mean(axis=0)
    note = f"feeds and vents fit a disc about ({middle[0]:.0f}, {middle[1]:.0f}): taken so"
    return moved, feeds, vents, [note]


def _impulse(resin: Resin, vacuum: Vacuum) -> tuple[Impulse, bool]:
    stack = Stack()
    return panel_impulse(
        Panel(Path(), "", "edge", None, None, None, 0.0, stack, resin, vacuum, None)
    )


def with_drive(job: PartJob, drive_mbar: float | None, viscosity_mpas: float | None) -> PartJob:
    """Return the job with another pressure difference or starting viscosity, steady from the start.

    A viscosity that rises goes on rising at the same rate; logs are replaced.
    """
    resin, vacuum = job.resin, job.vacuum
    if drive_mbar is not None:
        if drive_mbar * MBAR_PA > vacuum.ambient_pa:
            raise WetlineError(
                f"--vacuum {drive_mbar:g}: is more than the air pressure can give "
                f"({vacuum.ambient_pa / MBAR_PA:.0f} mbar): give feed less bag pressure"
            )
        vacuum = replace(vacuum, pressure_pa=drive_mbar * MBAR_PA, log=None)
    if viscosity_mpas is not None:
        resin = replace(resin, viscosity_pa_s=viscosity_mpas / 1000.0, viscosity_log=None)
    impulse, timed = _impulse(resin, vacuum)
    return replace(job, resin=resin, vacuum=vacuum, impulse=impulse, timed=timed)


def _outline(
    path: Path, document: Mapping[str, Any]
) -> tuple[FloatArray, list[FloatArray], list[str]]:
    table = Table.of(path, document, "outline")
    table.refuse_unknown(OUTLINE_KEYS)
    units = table.text("units", None, choices=tuple(part_outline.UNITS_MM))
    factor = part_outline.UNITS_MM[units] if units else 1.0
    given = [key for key in SHAPES if table.has(key)]
    if len(given) != 1:
        raise bad_field(
            path, "[outline]", ", ".join(given) or "(missing)", f"give one of {', '.join(SHAPES)}"
        )
    holes: list[FloatArray] = []
    if table.has("file"):
        drawing = path.parent / str(table.text("file"))
        outline, holes = part_outline.read_drawing(drawing, units)
        where = f"{drawing.name}: outline"
    else:
        outline = _shape(table, given[0]) * factor
        where = f"{path.parent.name}/{path.name}: {table.label(given[0])}"
    outline = part_outline.tidy(outline)
    part_outline.check_outline(where, outline)
    for one in _loops(table, "holes_mm"):
        holes.append(one * factor)
    holes = [part_outline.tidy(hole) for hole in holes]
    for number, hole in enumerate(holes, start=1):
        part_outline.check_hole(f"{where}: hole {number}", hole, outline)
    notes = [f"outline: {len(outline)} points, {len(holes)} holes"] if table.has("file") else []
    return outline, holes, notes


def _shape(table: Table, key: str) -> FloatArray:
    if key == "points_mm":
        return np.array(table.points(key))
    if key == "disc_radius_mm":
        radius = table.length(key, above=0)
        return part_outline.disc(float(radius or 0), table.pair("disc_centre_mm") or (0.0, 0.0))
    count = 2 if key == "rectangle_mm" else 4
    sizes = table.values[key]
    example = (
        "[1200, 400]"
        if count == 2
        else "[1200, 800, 600, 400] (length, width, and what is cut out of the far corner)"
    )
    good = isinstance(sizes, list) and len(sizes) == count
    if not good or not all(isinstance(s, int | float) and s > 0 for s in sizes):
        raise table.bad(key, f"must be {count} lengths above 0 such as {example}")
    if count == 2:
        return part_outline.rectangle(*map(float, sizes))
    if sizes[2] >= sizes[0] or sizes[3] >= sizes[1]:
        raise table.bad(key, "cuts away the whole length or width: mend the last two numbers")
    return part_outline.l_shape(*map(float, sizes))


def _loops(table: Table, key: str) -> list[FloatArray]:
    """Read a list of closed lines."""
    value = table.values.get(key, [])
    if not isinstance(value, list):
        raise table.bad(key, "must be a list of loops, each a list of [x, y] pairs")
    loops = []
    for item in value:
        one = Table(table.file, table.name, {key: item})
        loops.append(np.array(one.points(key)))
    return loops


def _cells(path: Path, document: Mapping[str, Any]) -> int:
    table = Table.of(path, document, "grid")
    table.refuse_unknown(("cells",))
    cells = table.number("cells", 200, at_least=LEAST_CELLS, at_most=MOST_CELLS)
    if cells != int(cells or 0):
        raise table.bad("cells", "must be a whole number")
    return int(cells or 200)


def _zones(path: Path, document: Mapping[str, Any], base: Merged) -> tuple[list[Zone], list[str]]:
    zones, notes = [], []
    for entry in entries(path, document, "zone"):
        points = entry.points("points_mm")
        if not points:
            raise entry.bad("points_mm", "is needed: the corners of the zone")
        corners = part_outline.tidy(np.array(points))
        spot = part_outline.crossing(corners)
        if len(corners) < 3 or spot is not None:
            raise entry.bad("points_mm", "must be three or more corners in order, not crossing")
        stack, more = read_stack(Merged(entry, base.values))
        zones.append(Zone(str(entry.text("name", f"zone {entry.place}")), corners, stack))
        notes += more
    return zones, notes


def _drive(
    path: Path, document: Mapping[str, Any], base: Merged
) -> tuple[Resin, Vacuum, list[str]]:
    """Read resin and vacuum; where a table is missing, take the base panel's."""
    tables = [Table.of(path, document, name) for name in ("resin", "vacuum")]
    resin, notes = read_resin_table(tables[0])
    vacuum, more = read_vacuum_table(tables[1])
    notes = [*notes, *more]
    for table in tables:
        table.refuse_questions()
        notes += [*table.understood, *table.confirmed]
    folder = base.values.get("panel")
    if isinstance(folder, str) and not ("resin" in document and "vacuum" in document):
        panel = read_settled_panel(path.parent / folder)
        if "resin" not in document:
            resin = panel.resin
            notes.append(f"resin as in {folder}/panel.toml")
        if "vacuum" not in document:
            vacuum = panel.vacuum
            notes.append(f"vacuum as in {folder}/panel.toml")
    return resin, vacuum, notes
