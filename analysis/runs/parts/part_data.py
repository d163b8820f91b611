"""Everything that runs on parts measured, written for other programs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from analysis.infusion.kept.kept_run import KeptArrival, KeptRun, read_front, read_kept
from analysis.record.day.day_records import Day
from analysis.record.day.day_toml import read_day
from analysis.runs.export.arrival_files import file_words, size_words, write_maps
from analysis.runs.export.job import READINGS, folder_names
from analysis.runs.export.tables import (
    csv_text,
    flat,
    mark_rows,
    named_rows,
    reading_rows,
    write_tables,
)
from vision.common.atomic_files import plain

Rows = list[dict[str, Any]]
PLACES = (
    "part", "kind", "where", "x_mm", "y_mm", "area_mm2", "late_s", "late_low_s", "late_high_s",
    "at_least", "note",
)  # fmt: skip
VALUES = ("part", "kind", "name", "unit", "planned", "value", "low", "high", "told", "why")


def export_parts(folders: Sequence[Path], place: Path) -> list[Path]:
    """Write the data of parts.

    Parameters
    ----------
    folders : sequence of Path
        Parts that were run.
    place : Path
        Where to write; each part's arrival map goes there, or into a folder of its own where there
        are several parts.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    WetlineError
        If a part cannot be read or has changed since its run, or two folders bear the same name.
    """
    names = folder_names(folders)
    kept = [read_kept(folder) for folder in folders]
    told = {
        name: part_json(run, read_day(run.job.path.parent))
        for name, run in zip(names, kept, strict=True)
    }
    tables = {
        "observations.csv": csv_text(named_rows(told, "observations", "part")),
        "parts.csv": csv_text([{"part": name, **dict(flat(one))} for name, one in told.items()]),
        "places.csv": csv_text(named_rows(told, "places", "part"), PLACES),
        "values.csv": csv_text(named_rows(told, "values", "part"), VALUES),
        "readings.csv": csv_text(named_rows(told, "readings", "part"), ("part", *READINGS[1:])),
    }
    written = write_tables(place, tables, "parts.json", told)
    for name, run in zip(names, kept, strict=True):
        own = place if len(kept) == 1 else place / name
        write_part_arrival(own, name, run)
        written.append(own / "arrival_s.tif")
    return written


def part_json(run: KeptRun, day: Day) -> dict[str, Any]:
    """Return all of one part as plain JSON values: answer, day, and the rows of its tables."""
    shaped: dict[str, Any] = plain(
        {
            **run.numbers,
            "day": asdict(day),
            "observations": observations(run),
            "places": places(run, day),
            "values": (run.numbers["learnt"] or {}).get("values", []),
            "readings": reading_rows(run.job.vacuum, run.job.resin),
        }
    )
    return shaped


def observations(run: KeptRun) -> Rows:
    """Return one row for each photo: part_front.csv, then the driving impulse and its rate."""
    impulse, rows = run.job.impulse, []
    for row in read_front(run):
        time_s, driven = row["time_s"], (row["time_s"] or -1.0) >= 0
        more = {
            "driving_impulse": float(impulse.at(time_s)) if driven else None,
            "pressure_over_viscosity_per_s": float(impulse.rate(time_s)) if driven else None,
            "believed": row["used"],
        }
        rows.append({key: row[key] for key in row if key not in ("used", "note")} | more)
        rows[-1]["note"] = row["note"]
    return rows


def places(run: KeptRun, day: Day) -> Rows:
    """Return one row for each place unlike the plan, where resin came from elsewhere, each mark."""
    beside = run.numbers["beside"] or {"places": [], "strays": []}
    out: Rows = []
    for one in beside["places"]:
        kind = "late" if one["late_s"] > 0 else "early"
        causes = "; ".join(f"usually {cause['usually']}" for cause in one["causes"])
        out.append({"kind": kind, **{key: one.get(key) for key in PLACES[2:10]}, "note": causes})
    for one in beside["strays"]:
        words = "resin where no open feed can have sent it"
        out.append({"kind": "stray", **{key: one.get(key) for key in PLACES[2:6]}, "note": words})
    return [*out, *mark_rows(day)]


def write_part_arrival(folder: Path, name: str, run: KeptRun) -> None:
    """Write a part's arrival map, as NumPy and TIFF, with words that say what it holds.

    Parameters
    ----------
    folder : Path
        Made if missing.
    name : str
        Of the part.
    run : KeptRun
    """
    arrival = run.arrival
    mm_per_px = _step(arrival.x_mm)
    write_maps(folder, arrival.time_s, arrival.seen, mm_per_px, _words(name, arrival, mm_per_px))


def _words(name: str, arrival: KeptArrival, mm_per_px: float) -> str:
    filled = 100.0 * float(np.mean(~arrival.seen[arrival.inside]))
    x_mm, y_mm = arrival.x_mm, arrival.y_mm
    down = y_mm[-1] > y_mm[0]
    return "\n".join(
        [
            f"part: {name}",
            "quantity: time at which the resin came, in seconds since resin start",
            "infinity: not wetted while it was watched",
            "not a number: outside the part",
            f"watched_until_s: {arrival.last_s:.1f}",
            *size_words(arrival.time_s, mm_per_px),
            f"x_mm: {x_mm[0]:.4f} + column * mm_per_px, as on the plan",
            f"y_mm: {y_mm[0]:.4f} {'+' if down else '-'} row * mm_per_px, as on the plan",
            *file_words(filled),
        ]
    )


def _step(centres_mm: np.ndarray) -> float:
    return float(np.abs(np.diff(centres_mm)).mean()) if len(centres_mm) > 1 else 1.0
