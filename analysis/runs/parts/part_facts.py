"""What one part that was run brings to a comparison, and which folders may be compared.

Tested in tests/analysis/runs/parts/test_parts_beside.py.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from analysis.infusion.answer.run_files import MAP, NUMBERS
from analysis.part.part_folder import is_part
from analysis.part.plan.part_toml import read_part
from vision.common.atomic_files import read_json
from vision.common.outside.stored_results import read_arrays
from vision.common.toml_table import read_toml
from vision.errors import WetlineError
from vision.records import FloatArray

SAME_MM, SAME_S = 0.5, 0.01
STATED = ("resin", "vacuum", "height")


@dataclass(frozen=True)
class PartFacts:
    """One part beside others.

    Attributes
    ----------
    folder : Path
    name : str
    numbers : mapping
        What part_run.json holds.
    rings_mm : tuple of ndarray of shape (P, 2)
        Outline, then holes.
    time_s : ndarray of shape (ny, nx)
        Arrival as seen.
    stated : mapping of str to object
        What part.toml says of resin, vacuum and height, by table and field.
    """

    folder: Path
    name: str
    numbers: Mapping[str, Any]
    rings_mm: tuple[FloatArray, ...]
    time_s: FloatArray
    stated: Mapping[str, Any]

    @property
    def left_out(self) -> str:
        """Why its numbers are held against no other's; empty where they are."""
        seen = self.numbers["seen"]
        if not seen["usable"]:
            return f"not measured: {seen['reason']}"
        return f"in doubt: {seen['doubts'][0]}" if seen["doubts"] else ""


def all_parts(folders: Sequence[Path]) -> bool:
    """Return whether the folders are parts, not panels.

    Raises
    ------
    WetlineError
        If some are parts and some are not.
    """
    parts = [is_part(folder) for folder in folders]
    if any(parts) and not all(parts):
        raise WetlineError(
            f"{folders[parts.index(True)]} is a part, {folders[parts.index(False)]} is not: "
            "compare parts with parts, and panels with panels"
        )
    return any(parts)


def refuse_parts(folders: Sequence[Path]) -> None:
    """Find out whether any folder is a part, for what takes panels only.

    Raises
    ------
    WetlineError
        Naming the folder, with what to do.
    """
    for folder in folders:
        if is_part(folder):
            raise WetlineError(
                f"{folder}: is a part: repeat takes panels only: put parts beside each other "
                "with `wetline compare`"
            )


def read_part_facts(folder: Path) -> PartFacts:
    """Read what a run left of a part.

    Raises
    ------
    WetlineError
        If it was not run yet, or its results cannot be read.
    """
    numbers = read_json(folder / "results" / NUMBERS)
    told = all(isinstance(numbers.get(key), dict) for key in ("seen", "planned"))
    arrays = read_arrays(folder / "results" / MAP)
    if not told or "time_s" not in arrays:
        raise WetlineError(f"{folder / 'results'}: not what Wetline writes: run it again")
    plan, document = read_part(folder).plan, read_toml(folder / "part.toml")
    stated = {
        f"[{name}] {key}": value
        for name in STATED
        for key, value in dict(document.get(name) or {}).items()
    }
    rings = (plan.outline_mm, *plan.holes_mm)
    return PartFacts(folder, plan.name, numbers, rings, arrays["time_s"], stated)


def refuse_unlike(parts: Sequence[PartFacts]) -> None:
    """Find out whether parts can be compared: one outline, and no run twice.

    Raises
    ------
    WetlineError
        Naming the two folders.
    """
    for i, one in enumerate(parts):
        if not _same_rings(parts[0].rings_mm, one.rings_mm):
            raise WetlineError(
                f"{one.folder}: different parts: its outline or holes are not those of "
                f"{parts[0].folder}: compare runs of one part"
            )
        for other in parts[:i]:
            same = one.time_s.shape == other.time_s.shape and np.isfinite(one.time_s).any()
            if same and np.allclose(
                one.time_s, other.time_s, rtol=0.0, atol=SAME_S, equal_nan=True
            ):
                raise WetlineError(
                    f"{one.folder}: holds the same run as {other.folder} (all arrivals agree): "
                    "a copy is no second part: leave one out"
                )


def _same_rings(first: Sequence[FloatArray], second: Sequence[FloatArray]) -> bool:
    return len(first) == len(second) and all(
        a.shape == b.shape and np.allclose(a, b, rtol=0.0, atol=SAME_MM)
        for a, b in zip(first, second, strict=True)
    )
