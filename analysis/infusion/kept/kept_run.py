"""A run on a part as it lies in the results folder, never one of another part.toml."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from analysis.infusion.answer.run_files import MAP, NUMBERS
from analysis.infusion.seen.made_from import plan_stamp
from analysis.part.answer.job import results_of
from analysis.part.plan.part_toml import PartJob, read_part
from vision.common.atomic_files import read_json
from vision.common.outside.stored_results import read_arrays
from vision.errors import WetlineError
from vision.records import FloatArray

MAPS = ("time_s", "sd_s", "seen", "inside", "x_mm", "y_mm")
TABLES = ("seen", "planned", "scale")


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
    maps : mapping of str to ndarray
        ``time_s``, ``sd_s``, ``seen``, ``inside`` of shape (ny, nx); ``x_mm`` and ``y_mm``.
    photos : tuple of str
        Stamps of the photos it was made from, sorted.
    """

    path: Path
    results: Path
    job: PartJob
    numbers: Mapping[str, Any]
    maps: Mapping[str, FloatArray]
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
    made = numbers.get("made_from")
    whole = all(isinstance(numbers.get(key), dict) for key in TABLES)
    if not whole or not isinstance(made, dict) or not isinstance(made.get("photos"), list):
        raise WetlineError(
            f"{results / NUMBERS}: does not say what it was made from: run `wetline run {path}` "
            "again"
        )
    if made.get("part_toml") != plan_stamp(job.path):
        raise WetlineError(
            f"{job.path}: it, or a file that it names, has changed since its run: run "
            f"`wetline run {path}` again"
        )
    return KeptRun(path, results, job, numbers, _maps(results, path), tuple(made["photos"]))


def _maps(results: Path, path: Path) -> dict[str, FloatArray]:
    try:
        maps = read_arrays(results / MAP)
    except (OSError, ValueError) as error:
        raise WetlineError(
            f"{results / MAP}: cannot be read: run `wetline run {path}` again"
        ) from error
    fits = all(name in maps for name in MAPS) and all(
        maps[name].shape == maps["time_s"].shape for name in MAPS[:4]
    )
    if not fits or maps["time_s"].shape != (len(maps["y_mm"]), len(maps["x_mm"])):
        raise WetlineError(
            f"{results / MAP}: not what Wetline writes: run `wetline run {path}` again"
        )
    return maps


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
    inside = run.maps["inside"].astype(bool)
    time_s = np.sort(run.maps["time_s"][inside])
    share = np.arange(1, len(time_s) + 1) / max(len(time_s), 1)
    wet = np.isfinite(time_s)
    return time_s[wet], share[wet]
