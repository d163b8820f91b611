"""panel.toml to the panel record: the stack, resin, vacuum and part, checked, in SI units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from analysis.panel.gauge_readings import gauge_log
from analysis.panel.records import Panel
from analysis.panel.tables.fields import FIELDS
from analysis.panel.tables.part import read_part_table
from analysis.panel.tables.resin import read_resin_table
from analysis.panel.tables.stack import read_stack_table
from analysis.panel.tables.vacuum import read_vacuum_table
from vision.common.quantity import ANGLE_DEG
from vision.common.toml_table import Table, read_toml, refuse_unknown_tables
from vision.errors import WetlineError
from vision.settings.settings_stamp import ANSWERED, settings_stamp

LIKELY_LENGTH_MM = (10.0, 10_000.0)
"""Length and width of a test panel; a smaller number is most often a length in metres (common
practice, no source)."""
LIKELY_FEED_RADIUS_MM = (0.5, 100.0)


def read_panel(folder: Path | str) -> Panel:
    """Read what was tested from the ``panel.toml`` of a folder.

    Parameters
    ----------
    folder : Path or str

    Returns
    -------
    panel : Panel
        In SI units. What is missing but not needed at once is None. Standard uncertainties not
        stated are viscosity 5 %, pressure 2 %, porosity 2 %, gel time 10 % (common practice, no
        source). A value that is possible but not likely becomes one of the record's `questions`:
        no answer is built on it until the user mends or confirms it.

    Raises
    ------
    WetlineError
        If the file or a log is missing, a table or field is unknown, or a value cannot be true,
        with the mend.

    Examples
    --------
    >>> panel = read_panel("sample_frames/pen_marks")
    >>> panel.part.flow_length_m
    1.2
    """
    path = Path(folder) / "panel.toml"
    return panel_from(read_toml(path), path)


def panel_from(document: Mapping[str, Any], path: Path) -> Panel:
    """Return the panel record of a TOML document already read (see `read_panel`)."""
    refuse_unknown_tables(path, document, FIELDS)
    tables = {name: Table.of(path, document, name) for name in FIELDS}
    for name, table in tables.items():
        table.refuse_unknown(FIELDS[name], FIELDS)
    panel = tables["panel"]
    length_mm = panel.length("length_mm", above=0, likely=LIKELY_LENGTH_MM)
    width_mm = panel.length("width_mm", above=0, likely=LIKELY_LENGTH_MM)
    radius_mm = panel.length("feed_radius_mm", above=0, likely=LIKELY_FEED_RADIUS_MM)
    flow = str(panel.text("flow", "edge", choices=("edge", "point")))
    slope = panel.quantity("slope_deg", ANGLE_DEG, 0.0, at_least=-90, at_most=90)
    vacuum, vacuum_notes = read_vacuum_table(tables["vacuum"])
    resin, resin_notes = read_resin_table(tables["resin"])
    stack = read_stack_table(tables["stack"], vacuum.pressure_pa)
    part = read_part_table(tables["part"], flow, length_mm, resin.temperature_c)
    told = tables.values()
    return Panel(
        folder=path.parent,
        name=str(panel.text("name", path.parent.resolve().name)),
        flow=flow,
        length_m=_milli(length_mm),
        width_m=_milli(width_mm),
        feed_radius_m=_milli(radius_mm),
        slope_deg=slope or 0.0,
        stack=stack,
        resin=resin,
        vacuum=replace(vacuum, typed=gauge_log(path.parent, vacuum.ambient_pa)),
        part=part,
        notes=(*resin_notes, *vacuum_notes, *(text for one in told for text in one.confirmed)),
        understood=tuple(text for one in told for text in one.understood),
        questions=tuple(text for one in told for text in one.questions),
        stamp=settings_stamp(path.parent, ANSWERED, document),
    )


def read_settled_panel(folder: Path) -> Panel:
    """Read the panel record where nothing can be done while a value is in question.

    Raises
    ------
    WetlineError
        As `read_panel`, and for the first value that is possible but not likely.
    """
    panel = read_panel(folder)
    if panel.questions:
        raise WetlineError(f"{panel.folder.name}/panel.toml: {panel.questions[0]}")
    return panel


def _milli(value: float | None) -> float | None:
    return None if value is None else value / 1000.0
