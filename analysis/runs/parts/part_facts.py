"""What one part that was run brings to a comparison, and which folders may be compared.

Tested in tests/analysis/runs/parts/test_parts_beside.py.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from analysis.infusion.kept.kept_run import KeptRun, read_front, read_kept
from analysis.part.part_folder import TABLE, is_part
from vision.common.toml_table import read_toml
from vision.errors import WetlineError
from vision.records import FloatArray

SAME_MM, SAME_S = 0.5, 0.01
ROW_S, ROW_SHARE, ROWS_ALIKE, FEWEST_ROWS = 0.15, 0.01, 0.8, 6
"""Two runs hardly have six photos or more, four in five of them, taken at the same tenth of a
second after resin start with the same share wet (common practice, no source)."""
FILLING = (0.05, 0.95)
STATED = ("resin", "vacuum", "height")


@dataclass(frozen=True)
class PartFacts:
    """One part beside others.

    Attributes
    ----------
    kept : KeptRun
        What its run left.
    stated : mapping of str to object
        What part.toml says of resin, vacuum and height, by table and field; and the version of
        Wetline that made the run.
    """

    kept: KeptRun
    stated: Mapping[str, Any]

    @property
    def folder(self) -> Path:
        """Where it lies."""
        return self.kept.path

    @property
    def name(self) -> str:
        """What its plan is called."""
        return self.kept.job.plan.name

    @property
    def numbers(self) -> Mapping[str, Any]:
        """What part_run.json holds."""
        return self.kept.numbers

    @property
    def rings_mm(self) -> tuple[FloatArray, ...]:
        """Outline, then holes."""
        return (self.kept.job.plan.outline_mm, *self.kept.job.plan.holes_mm)

    @property
    def left_out(self) -> str:
        """Why its numbers are held against no other's; empty where they are."""
        return self.kept.left_out


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


def read_part_facts(folder: Path) -> PartFacts:
    """Read what a run left of a part.

    Raises
    ------
    WetlineError
        If it was not run, has changed since, or its results cannot be read.
    """
    kept = read_kept(folder)
    document = read_toml(kept.job.path)
    stated = {
        f"[{name}] {key}": value
        for name in STATED
        for key, value in dict(document.get(name) or {}).items()
    }
    return PartFacts(kept, stated | {"Wetline": kept.numbers["made_from"].get("wetline", "")})


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
        refuse_copy(one, parts[:i])


def refuse_copy(one: PartFacts, others: Sequence[PartFacts]) -> None:
    """Find out whether a part's run is that of another folder too.

    Raises
    ------
    WetlineError
        Naming the two folders.
    """
    for other in others:
        if why := one_run(one.kept, other.kept):
            raise WetlineError(
                f"{one.folder}: holds the same run as {other.folder} ({why}): "
                "a copy is no second part: leave one out"
            )


def one_run(one: KeptRun, other: KeptRun) -> str:
    """Return how it shows that two folders hold one run; empty where nothing shows it.

    Notes
    -----
    Photos are known by their content, whatever their names, so a copy with some left out is found
    too: a camera never takes the same photo twice. Photos that were saved anew differ, but were
    taken at the same seconds after resin start, with the same share wet.
    """
    both = set(one.photos) & set(other.photos)
    if both:
        return "1 photo is in both" if len(both) == 1 else f"{len(both)} photos are in both"
    a, b = one.arrival.time_s, other.arrival.time_s
    same = a.shape == b.shape and bool(np.isfinite(a).any())
    if same and np.allclose(a, b, rtol=0.0, atol=SAME_S, equal_nan=True):
        return "all arrivals agree"
    first, second = _under_way(one), _under_way(other)
    fewest = min(len(first), len(second))
    if fewest < FEWEST_ROWS:
        return ""
    near = np.abs(first[:, None] - second[None, :]) <= (ROW_S, ROW_SHARE)
    like = int(np.any(np.all(near, axis=2), axis=1).sum())
    words = "times and wet share of the photos agree"
    return words if like >= max(FEWEST_ROWS, ROWS_ALIKE * fewest) else ""


def _under_way(run: KeptRun) -> FloatArray:
    """Return time and wet share of each photo taken while the part filled, shape (K, 2)."""
    if not (run.results / TABLE).is_file():
        return np.zeros((0, 2))
    told = [(row["time_s"], row["wetted_fraction"]) for row in read_front(run)]
    rows = [row for row in told if row[1] is not None and FILLING[0] < row[1] < FILLING[1]]
    return np.array(rows, float).reshape(-1, 2)


def _same_rings(first: Sequence[FloatArray], second: Sequence[FloatArray]) -> bool:
    return len(first) == len(second) and all(
        a.shape == b.shape and np.allclose(a, b, rtol=0.0, atol=SAME_MM)
        for a, b in zip(first, second, strict=True)
    )
