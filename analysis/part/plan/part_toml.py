"""part.toml to the plan of a part, checked, with measured values taken from panel folders."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis.fit.front_laws import GRAVITY_M_S2
from analysis.fit.impulse import Impulse
from analysis.fit.permeability import panel_impulse
from analysis.panel.panel_toml import read_settled_panel
from analysis.panel.records import Panel, Resin, Stack, Vacuum
from analysis.panel.resin import DEFAULT_DENSITY_KG_M3
from analysis.panel.tables.fields import FIELDS as PANEL_FIELDS
from analysis.panel.tables.resin import read_resin_table
from analysis.panel.tables.vacuum import MBAR_PA, read_vacuum_table
from analysis.part.plan import outline as part_outline
from analysis.part.plan.conditions import (
    HEIGHT_FIELDS,
    PART_FIELDS,
    Conditions,
    at_part_temperature,
    read_conditions,
    read_heights,
)
from analysis.part.plan.outline_table import OUTLINE_FIELDS, Shape, read_outline
from analysis.part.plan.plan import PartFeed, PartPlan, Vent, Zone
from analysis.part.plan.ports import (
    FEED_FIELDS,
    GAP_FIELDS,
    VENT_FIELDS,
    entries,
    near_misses,
    read_feeds,
    read_gaps,
    read_vents,
)
from analysis.part.plan.search_goal import SEARCH_FIELDS, SearchGoal, read_goal
from analysis.part.plan.stack import STACK_FIELDS, ZONE_FIELDS, Merged, read_stack
from vision.common.toml_table import Table, read_toml, refuse_unknown_tables
from vision.errors import WetlineError, bad_field
from vision.parts.part_settings import PART_SCALE_FIELDS, SURFACE_FIELDS
from vision.records import FloatArray
from vision.settings.frame_settings import FRAMES_FIELDS

FIELDS: dict[str, tuple[str, ...]] = {
    "part": PART_FIELDS,
    "outline": OUTLINE_FIELDS,
    "stack": STACK_FIELDS,
    "zone": (*ZONE_FIELDS, *STACK_FIELDS),
    "gap": GAP_FIELDS,
    "feed": FEED_FIELDS,
    "vent": VENT_FIELDS,
    "height": HEIGHT_FIELDS,
    "resin": PANEL_FIELDS["resin"],
    "vacuum": PANEL_FIELDS["vacuum"],
    "grid": ("cells",),
    "search": SEARCH_FIELDS,
    "frames": FRAMES_FIELDS,
    "scale": PART_SCALE_FIELDS,
    "surface": SURFACE_FIELDS,
}
"""The fields of each table of part.toml; `confirmed` goes with every table."""
LEAST_CELLS, MOST_CELLS = 20, 2000
LEAST_LEFT = 0.05  # share of the drive that must be left once the resin is lifted
ZONE_SAMPLES = 40  # a side, to find whether a zone lies on the part at all
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
        The driving impulse against time.
    goal : SearchGoal
        What the search is asked for.
    conditions : Conditions
        How the part is infused, as far as it may differ from where its numbers come from.
    vacuum_from_panel : bool
        Whether the vacuum is that of the panel which gave the permeability.
    """

    path: Path
    plan: PartPlan
    resin: Resin
    vacuum: Vacuum
    impulse: Impulse
    goal: SearchGoal
    conditions: Conditions = field(default_factory=Conditions)
    vacuum_from_panel: bool = False


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
    tables = {key: value for key, value in document.items() if key != "name"}
    refuse_unknown_tables(path, tables, FIELDS)
    shape = read_outline(path, document)
    base = Merged(Table.of(path, document, "stack"), {})
    stack, notes = read_stack(base, shape.y_runs)
    zones, more = _zones(path, document, base, shape.y_runs)
    outline, feeds, vents, moved = _laid(path, document, shape)
    _refuse_zones_elsewhere(path, zones, outline)
    gaps = read_gaps(path, document, stack.thickness_mm)
    resin, vacuum, told = _drive(path, document, base)
    table = Table.of(path, document, "part")
    conditions = read_conditions(table, resin, from_panel=bool(base.values.get("panel")))
    resin, warmed = at_part_temperature(resin, conditions)
    heights = read_heights(Table.of(path, document, "height"))
    names = [document.get("name"), table.text("name"), path.resolve().parent.name]
    plan = PartPlan(
        outline_mm=outline,
        holes_mm=shape.holes_mm,
        stack=stack,
        zones=tuple(zones),
        gaps=tuple(gaps),
        feeds=tuple(feeds),
        vents=tuple(vents),
        cells=_cells(path, document),
        name=next(str(name) for name in names if name),
        notes=(*shape.notes, *notes, *more, *moved, *near_misses(feeds, gaps), *told, *warmed),
        y_runs=shape.y_runs,
        heights=heights,
    )
    impulse, plan = _impulse(path, resin, vacuum, plan), _weighed(plan, resin, vacuum)
    goal = read_goal(Table.of(path, document, "search"), outline)
    same_vacuum = bool(base.values.get("panel")) and "vacuum" not in document
    return PartJob(path, plan, resin, vacuum, impulse, goal, conditions, same_vacuum)


def _laid(
    path: Path, document: Mapping[str, Any], shape: Shape
) -> tuple[FloatArray, list[PartFeed], list[Vent], list[str]]:
    """Read feeds and vents on the outline; a disc without a centre is moved where they fit it."""
    outline, holes = shape.outline_mm, list(shape.holes_mm)
    near_mm = max(1.0, NEAR_CELLS * float(np.ptp(outline, axis=0).max()) / _cells(path, document))
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


def _impulse(path: Path, resin: Resin, vacuum: Vacuum, plan: PartPlan) -> Impulse:
    """Return the clock, with the drive less what lifts the resin from the pot to the feeds."""
    stack, lifted = Stack(), lift_pa(plan, resin)
    pressure, log = vacuum.pressure_pa, vacuum.log
    if pressure is not None and pressure - lifted <= LEAST_LEFT * pressure:
        raise WetlineError(
            f"{path.name}: [height] pot_mm: lifting the resin to the feeds takes "
            f"{lifted / MBAR_PA:.0f} of {pressure / MBAR_PA:.0f} mbar: raise the pot"
        )
    if log is not None:
        log = replace(log, value=np.maximum(log.value - lifted, 0.0))
    if pressure is not None:
        pressure = pressure - lifted
    vacuum = replace(vacuum, pressure_pa=pressure, log=log)
    impulse, timed = panel_impulse(
        Panel(
            folder=Path(),
            name="",
            flow="edge",
            length_m=None,
            width_m=None,
            feed_radius_m=None,
            slope_deg=0.0,
            stack=stack,
            resin=resin,
            vacuum=vacuum,
            part=None,
        )
    )
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
    return impulse


def _weighed(plan: PartPlan, resin: Resin, vacuum: Vacuum) -> PartPlan:
    """Return the plan with the share of the drive that lifts the resin over a sloping part."""
    if plan.heights is None or plan.heights.level or vacuum.pressure_pa is None:
        return plan
    drive_pa = vacuum.pressure_pa - lift_pa(plan, resin)
    share = _weight_pa_per_mm(resin) / drive_pa
    return replace(plan, heights=replace(plan.heights, share_per_mm=share))


def _weight_pa_per_mm(resin: Resin) -> float:
    return (resin.density_kg_m3 or DEFAULT_DENSITY_KG_M3) * GRAVITY_M_S2 * 1e-3


def lift_pa(plan: PartPlan, resin: Resin) -> float:
    """Return the pressure that lifts the resin from the pot to the feeds; below 0 if it falls."""
    if plan.heights is None:
        return 0.0
    middles = np.array([feed.place.points_mm.mean(axis=0) for feed in plan.feeds])
    above_mm = float(plan.heights.above_pot_mm(middles).mean())
    return _weight_pa_per_mm(resin) * above_mm


def with_drive(job: PartJob, drive_mbar: float | None, viscosity_mpas: float | None) -> PartJob:
    """Return the job with another pressure difference or starting viscosity, steady from the start.

    A viscosity that rises goes on rising at the same rate; logs are replaced.

    Raises
    ------
    WetlineError
        If the drive is more than the air pressure can give.
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
    impulse = _impulse(job.path, resin, vacuum, job.plan)
    plan = _weighed(job.plan, resin, vacuum)
    return replace(job, plan=plan, resin=resin, vacuum=vacuum, impulse=impulse)


def _cells(path: Path, document: Mapping[str, Any]) -> int:
    table = Table.of(path, document, "grid")
    table.refuse_unknown(("cells",))
    cells = table.number("cells", 200, at_least=LEAST_CELLS, at_most=MOST_CELLS)
    if cells != int(cells or 0):
        raise table.bad("cells", "must be a whole number")
    return int(cells or 200)


def _zones(
    path: Path, document: Mapping[str, Any], base: Merged, y_runs: str
) -> tuple[list[Zone], list[str]]:
    zones, notes = [], []
    for entry in entries(path, document, "zone"):
        points = entry.points("points_mm")
        if not points:
            raise entry.bad("points_mm", "is needed: the corners of the zone")
        corners = part_outline.tidy(np.array(points))
        spot = part_outline.crossing(corners)
        if len(corners) < 3 or spot is not None:
            raise entry.bad("points_mm", "must be three or more corners in order, not crossing")
        stack, more = read_stack(Merged(entry, base.values), y_runs)
        zones.append(Zone(str(entry.text("name", f"zone {entry.place}")), corners, stack))
        notes += more
    return zones, notes


def _refuse_zones_elsewhere(path: Path, zones: list[Zone], outline: FloatArray) -> None:
    """Refuse a zone that lies beside the part: it would change nothing, without a word."""
    for number, zone in enumerate(zones, start=1):
        low, size = zone.points_mm.min(axis=0), np.ptp(zone.points_mm, axis=0)
        steps = (np.arange(ZONE_SAMPLES) + 0.5) / ZONE_SAMPLES
        spots = low + size * np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
        spots = spots[part_outline.inside(spots, zone.points_mm)]
        if not np.any(part_outline.inside(spots, outline)):
            raise bad_field(
                path,
                f"[[zone]] number {number}: points_mm",
                zone.name,
                f"lies beside the part, which reaches from ({outline[:, 0].min():.0f}, "
                f"{outline[:, 1].min():.0f}) to ({outline[:, 0].max():.0f}, "
                f"{outline[:, 1].max():.0f}) mm: move it onto the part or take it out",
            )


def _drive(
    path: Path, document: Mapping[str, Any], base: Merged
) -> tuple[Resin, Vacuum, list[str]]:
    """Read resin and vacuum; where a table is missing, take the base panel's."""
    tables = [Table.of(path, document, name) for name in ("resin", "vacuum")]
    for table in tables:
        table.refuse_unknown(FIELDS[table.name], FIELDS)
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
