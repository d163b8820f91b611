"""Everything that panels measured, written for other programs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from analysis.forecast.panel_answer import PanelAnswer, answer
from analysis.forecast.panel_json import answer_json
from analysis.record.day.day_records import Day
from analysis.record.day.day_toml import read_day
from analysis.runs.export.arrival_files import remove_arrival, write_arrival
from analysis.runs.export.tables import (
    csv_text,
    named_rows,
    observation_rows,
    panel_row,
    place_rows,
    reading_rows,
    write_tables,
)
from vision.common.atomic_files import plain
from vision.errors import WetlineError

PLACES = ("panel", "kind", "x_mm", "y_mm", "area_mm2", "note")
READINGS = ("panel", "quantity", "unit", "source", "time_s", "value")


def export_folders(folders: Sequence[Path], place: Path) -> list[Path]:
    """Write the data of panels.

    Parameters
    ----------
    folders : sequence of Path
        Panels that were tracked.
    place : Path
        Where to write; each panel's arrival map goes there, or into a folder of its own where
        there are several panels.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    WetlineError
        If a panel cannot be read, or two folders bear the same name.
    """
    names = folder_names(folders)
    told = {
        name: (answer(folder), read_day(folder))
        for name, folder in zip(names, folders, strict=True)
    }
    whole = {name: panel_json(*pair) for name, pair in told.items()}
    tables = {
        "observations.csv": csv_text(named_rows(whole, "observations", "panel")),
        "panels.csv": csv_text([panel_row(name, found) for name, (found, _) in told.items()]),
        "places.csv": csv_text(named_rows(whole, "places", "panel"), PLACES),
        "readings.csv": csv_text(named_rows(whole, "readings", "panel"), READINGS),
    }
    written = write_tables(place, tables, "panels.json", whole)
    for name, (found, _) in told.items():
        own = place if len(told) == 1 else place / name
        if found.tracked.arrival is None:
            remove_arrival(own)
        else:
            write_arrival(own, name, found.tracked.arrival)
            written.append(own / "arrival_s.tif")
    return written


def folder_names(folders: Sequence[Path]) -> list[str]:
    """Return what folders are to be known by in tables: their names.

    Raises
    ------
    WetlineError
        If two bear the same.
    """
    names = [folder.resolve().name for folder in folders]
    double = next((name for name in names if names.count(name) > 1), None)
    if double is not None:
        raise WetlineError(f"{double}: two folders bear this name: rename one, or leave it out")
    return names


def panel_json(found: PanelAnswer, day: Day) -> dict[str, Any]:
    """Return all of one panel as plain JSON values: answer, day, and the rows of its tables."""
    shaped: dict[str, Any] = plain(
        answer_json(found)
        | {
            "day": asdict(day),
            "observations": observation_rows(found),
            "places": place_rows(found, day),
            "readings": reading_rows(found.panel.vacuum, found.panel.resin),
        }
    )
    return shaped
