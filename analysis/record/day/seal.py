"""The hashes of a record's files, kept beside it, and what has changed since."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from analysis.record.input_files import hash_inputs
from vision.common.atomic_files import read_json, write_json
from vision.common.outside.input_files import file_hash
from vision.errors import WetlineError

FILE = "record.json"
MEASURED = ("front.csv", "arrival.npz", "results.json", "part_front.csv", "part_run.json")
"""What was measured and worked out: part of the seal, so that nobody mends it by hand unseen."""


@dataclass(frozen=True)
class Change:
    """One file that is no longer as it was; `how` is "changed", "missing" or "new"."""

    file: str
    how: str


def write_seal(folder: Path, inputs: Mapping[str, str]) -> None:
    """Write the hashes of all input files and of what was measured to results/record.json.

    Parameters
    ----------
    folder : Path
        The panel folder.
    inputs : mapping of str to str
        SHA-256 of each input file (see `analysis.record.input_files.hash_inputs`).
    """
    values = {"inputs_sha256": dict(inputs), "results_sha256": _measured(folder)}
    write_json(folder / "results" / FILE, values)


def _measured(folder: Path) -> dict[str, str]:
    places = {name: folder / "results" / name for name in MEASURED}
    return {name: file_hash(path) for name, path in places.items() if path.is_file()}


def changes_since(folder: Path) -> list[Change]:
    """Find what has changed since the record was written.

    Returns
    -------
    changes : list of Change
        In the order of names; empty when all is as it was.

    Raises
    ------
    WetlineError
        If there is no record yet.
    """
    path = folder / "results" / FILE
    if not path.is_file():
        raise WetlineError(
            f"{path}: not there: no record is written yet: run `wetline record {folder}`"
        )
    values = read_json(path)
    before, now = values.get("inputs_sha256"), hash_inputs(folder)
    results = values.get("results_sha256")
    if not isinstance(before, dict) or not isinstance(results, dict):
        raise WetlineError(f"{path}: not what Wetline writes: run `wetline record {folder}` again")
    measured = {f"results/{name}": digest for name, digest in results.items()}
    still = {f"results/{name}": digest for name, digest in _measured(folder).items()}
    return _compared(before, now) + _compared(measured, still)


def _compared(before: Mapping[str, str], now: Mapping[str, str]) -> list[Change]:
    changes = []
    for name in sorted({*before, *now}):
        if name not in now:
            changes.append(Change(name, "missing"))
        elif name not in before:
            changes.append(Change(name, "new"))
        elif before[name] != now[name]:
            changes.append(Change(name, "changed"))
    return changes
