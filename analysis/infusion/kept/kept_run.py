"""A run on a part as it lies in the results folder, never one of another part.toml."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from analysis.infusion.answer.run_files import HEADER
from analysis.infusion.seen.made_from import plan_stamp
from analysis.part.answer.job import results_of
from analysis.part.part_folder import MAP, NUMBERS, TABLE
from analysis.part.plan.part_toml import PartJob, read_part
from vision.common.atomic_files import read_json
from vision.common.outside.input_files import read_text
from vision.common.outside.stored_results import read_arrays
from vision.errors import WetlineError
from vision.records import BoolArray, FloatArray

MAPS = ("time_s", "sd_s", "seen", "inside", "x_mm", "y_mm", "last_s", "start_sd_s")
TOLD = {
    "seen": (
        "usable", "reason", "doubts", "warnings", "frames", "frames_used", "wetted_fraction",
        "last_s", "resin_start",
    ),
    "planned": ("verdict",),
    "made_from": ("part_toml", "photos"),
}  # fmt: skip
"""Tables of part_run.json, and fields of them, without which nothing can be told."""
MAY_BE_NULL = ("beside", "learnt", "not_learnt")


@dataclass(frozen=True)
class KeptArrival:
    """The arrival map that a run left; fields as of `vision.part_records.PartSeen`."""

    x_mm: FloatArray
    y_mm: FloatArray
    inside: BoolArray
    time_s: FloatArray
    sd_s: FloatArray
    seen: BoolArray
    last_s: float
    start_sd_s: float


@dataclass(frozen=True)
class KeptRun:
    """One part that was run.

    Attributes
    ----------
    path : Path
        As it was named: the folder, or a part.toml.
    results : Path
    job : PartJob
        What part.toml says: the same as when it was run.
    numbers : mapping
        What part_run.json holds.
    arrival : KeptArrival
    photos : tuple of str
        Stamps of the photos it was made from, sorted.
    """

    path: Path
    results: Path
    job: PartJob
    numbers: Mapping[str, Any]
    arrival: KeptArrival
    photos: tuple[str, ...]

    @property
    def left_out(self) -> str:
        """Why its numbers are held against no other's; empty where they are."""
        seen = self.numbers["seen"]
        if not seen["usable"]:
            return f"not measured: {seen['reason']}"
        return f"in doubt: {seen['doubts'][0]}" if seen["doubts"] else ""


def read_kept(path: Path) -> KeptRun:
    """Read back what a run left of a part.

    Parameters
    ----------
    path : Path
        A part.toml, or the folder it lies in.

    Raises
    ------
    WetlineError
        If there is no run, part.toml has changed since, or a file is not what Wetline writes.
    """
    job, results = read_part(path), results_of(path)
    if not (results / NUMBERS).is_file():
        raise WetlineError(f"{results / NUMBERS}: no run of this part: run `wetline run {path}`")
    numbers = read_json(results / NUMBERS)
    if not _whole(numbers):
        raise WetlineError(
            f"{results / NUMBERS}: lacks what a run writes, or what it was made from: run "
            f"`wetline run {path}` again"
        )
    made = numbers["made_from"]
    if made["part_toml"] != plan_stamp(job.path):
        raise WetlineError(
            f"{job.path}: it, fix.csv or a file that it names has changed since its run: run "
            f"`wetline run {path}` again"
        )
    return KeptRun(path, results, job, numbers, _arrival(results, path), tuple(made["photos"]))


def _whole(numbers: Mapping[str, Any]) -> bool:
    """Return whether part_run.json holds what is read from it later."""
    tables = {name: numbers.get(name) for name in TOLD}
    if not all(isinstance(table, dict) for table in tables.values()):
        return False
    told = all(key in tables[name] for name, keys in TOLD.items() for key in keys)  # type: ignore[operator]
    optional = all(name in numbers for name in MAY_BE_NULL)
    return told and optional and isinstance(numbers["made_from"]["photos"], list)


def _arrival(results: Path, path: Path) -> KeptArrival:
    again = f"run `wetline run {path}` again"
    try:
        maps = read_arrays(results / MAP)
    except (OSError, ValueError) as error:
        raise WetlineError(f"{results / MAP}: cannot be read: {again}") from error
    fits = all(name in maps for name in MAPS) and all(
        maps[name].shape == maps["time_s"].shape for name in MAPS[:4]
    )
    if not fits or maps["time_s"].shape != (maps["y_mm"].size, maps["x_mm"].size):
        raise WetlineError(f"{results / MAP}: not what Wetline writes: {again}")
    return KeptArrival(
        x_mm=maps["x_mm"],
        y_mm=maps["y_mm"],
        inside=maps["inside"].astype(bool),
        time_s=maps["time_s"],
        sd_s=maps["sd_s"],
        seen=maps["seen"].astype(bool),
        last_s=float(maps["last_s"]),
        start_sd_s=float(maps["start_sd_s"]),
    )


def read_front(run: KeptRun) -> list[dict[str, Any]]:
    """Return the rows of part_front.csv, a photo each.

    Returns
    -------
    list of dict
        ``frame``, ``note``: text; ``used``: bool; the rest: float, None where it is not known.

    Raises
    ------
    WetlineError
        If the file is not what Wetline writes.
    """
    path = run.results / TABLE
    try:
        rows = list(csv.DictReader(io.StringIO(read_text(path))))
        if not rows or set(rows[0]) != set(HEADER):
            raise ValueError
        return [{key: _value(key, row[key]) for key in HEADER} for row in rows]
    except (OSError, ValueError, TypeError, csv.Error) as error:
        again = f"run `wetline run {run.path}` again"
        raise WetlineError(f"{path}: not what Wetline writes: {again}") from error


def _value(key: str, text: str) -> Any:
    if key in ("frame", "note"):
        return text
    if key == "used":
        return text == "yes"
    return float(text) if text else None


def share_wet(run: KeptRun) -> tuple[FloatArray, FloatArray]:
    """Return when each share of the part was wet, both rising.

    Returns
    -------
    time_s : ndarray of shape (K,), float
        Seconds since resin start.
    share : ndarray of shape (K,), float
        Wet share of the part's area, 0 to 1.

    Notes
    -----
    By counting the arrival map, so that it does not hang on when photos were taken; places that
    were not seen count as filled in from around them.
    """
    time_s = np.sort(run.arrival.time_s[run.arrival.inside])
    share = np.arange(1, len(time_s) + 1) / max(len(time_s), 1)
    wet = np.isfinite(time_s)
    return time_s[wet], share[wet]
