"""A filling kept on disk, so that another resin or vacuum is answered without solving again.

Tested in tests/analysis/commands/test_part.py.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from analysis.part.answer.doubts import Ends
from analysis.part.flow.filling import Filling
from analysis.part.flow.impulse_sweep import Stage
from analysis.part.flow.trapped import TrappedAir
from analysis.part.grid.canvas import lay_canvas
from analysis.part.grid.network import Links
from analysis.part.plan.plan import PartPlan
from vision.common.atomic_files import plain, replace_file
from vision.common.outside.stored_results import read_arrays
from vision.errors import WetlineError

NAME = "filling.npz"
FORMAT = 4


def fingerprint(plan: PartPlan, opens_at: Sequence[float]) -> str:
    """Return a text that changes whenever the filling itself would.

    Parameters
    ----------
    plan : PartPlan
        The part.
    opens_at : sequence of float
        Impulse at which each feed opens: with set times it depends on resin and vacuum.
    """
    record = asdict(plan)
    for unused in ("name", "notes", "y_runs"):
        record.pop(unused)
    whole = [FORMAT, plain(record), [float(at) for at in opens_at]]
    return hashlib.sha256(json.dumps(whole, sort_keys=True).encode()).hexdigest()


def save_fill(path: Path, fill: Filling, ends: Ends, mark: str) -> None:
    """Write a filling and the ends of its interval."""
    rest: dict[str, Any] = {
        "mark": mark,
        "total": fill.total,
        "sweep_total": fill.sweep_total,
        "last_spot_mm": fill.last_spot_mm,
        "spots_mm": fill.spots_mm,
        "mass_error": fill.mass_error,
        "stages": [asdict(stage) for stage in fill.stages],
        "trapped": [asdict(air) for air in fill.trapped],
        "ends": asdict(ends),
    }
    arrays: dict[str, Any] = {
        "arrival": fill.arrival,
        "step_impulse": fill.step_impulse,
        "step_injected_m3": fill.step_injected_m3,
        "step_held_m3": fill.step_held_m3,
        "step_solves": fill.step_solves,
        "in_trapped": fill.in_trapped,
        "rest": np.array(json.dumps(rest)),
    }

    arrays["seal"] = np.array(_seal(arrays))

    def write(part: Path) -> None:
        with part.open("wb") as file:
            np.savez_compressed(file, **arrays)

    replace_file(path, write)


def load_fill(path: Path, plan: PartPlan, mark: str) -> tuple[Filling, Ends] | None:
    """Read a filling back; None if there is none or the plan has changed since."""
    try:
        arrays = read_arrays(path)
        if str(arrays.pop("seal")) != _seal(arrays):
            return None  # damaged or edited: solved again
        rest = json.loads(str(arrays.pop("rest")))
        if rest.pop("mark") != mark:
            return None
        return _built(lay_canvas(plan).links, arrays, rest)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError, WetlineError):
        return None


def _seal(arrays: dict[str, Any]) -> str:
    """Return a text that changes with any value of any array."""
    digest = hashlib.sha256()
    for name in sorted(arrays):
        array = np.ascontiguousarray(arrays[name])
        digest.update(f"{name} {array.dtype.str} {array.shape}".encode())
        digest.update(array.tobytes())
    return digest.hexdigest()


def _built(links: Links, arrays: dict[str, Any], rest: dict[str, Any]) -> tuple[Filling, Ends]:
    """Build a filling from what was stored.

    Raises
    ------
    AttributeError, KeyError, TypeError, ValueError
        If anything is missing or of another kind.
    """
    if any(len(arrays[name]) != links.count for name in ("arrival", "in_trapped")):
        raise ValueError("stored for other cells")
    ends = Ends(**rest.pop("ends"))
    stages = tuple(Stage(**{**s, "feeds": tuple(s["feeds"])}) for s in rest.pop("stages"))
    trapped = tuple(
        TrappedAir(**{**air, "ends_mm": tuple(map(tuple, air["ends_mm"]))})
        for air in rest.pop("trapped")
    )
    x, y = rest.pop("last_spot_mm")
    spots = tuple((a, b, c) for a, b, c in rest.pop("spots_mm"))
    fill = Filling(
        links=links,
        last_spot_mm=(x, y),
        spots_mm=spots,
        stages=stages,
        trapped=trapped,
        **arrays,
        **rest,
    )
    return fill, ends
