"""A part from above as the page draws it: its outline, feeds and front lines, y down.

Tested in tests/analysis/page/routes/test_part_filing.py.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from analysis.infusion.answer.front_levels import Level, front_levels
from analysis.infusion.kept.kept_run import read_kept
from analysis.infusion.seen.part_setup import part_shape
from analysis.page.stored.panels import inside
from analysis.page.stored.plan_lines import stretches
from analysis.part.plan.part_toml import read_part
from vision.drawing.front_lines import choose_times_s, time_label
from vision.errors import WetlineError
from vision.part_records import PartShape
from vision.parts.part_settings import on_canvas
from vision.records import FloatArray

LINES = 6


def drawn_shape(shape: PartShape) -> dict[str, Any]:
    """Return a part's plan in the box around its outline, mm, y down as seen from above.

    Returns
    -------
    drawn : dict
        `length_mm` and `width_mm` of the box; `rings`, outline and holes; `feeds`, each with
        `name` and `points`; and how a place is called on the plan: `corner_mm`, the plan's x and
        y of the box's upper left corner, and `y_runs`.
    """
    span, low = np.ptp(shape.outline_mm, axis=0), shape.outline_mm.min(axis=0)
    top = shape.outline_mm[:, 1].max() if shape.y_runs == "up" else low[1]
    return {
        "length_mm": float(span[0]),
        "width_mm": float(span[1]),
        "rings": [_seen(shape, ring) for ring in (shape.outline_mm, *shape.holes_mm)],
        "feeds": [{"name": f.name, "points": _seen(shape, f.points_mm)} for f in shape.feeds],
        "corner_mm": [float(low[0]), float(top)],
        "y_runs": shape.y_runs,
    }


def part_outline(folder: Path) -> dict[str, Any] | None:
    """Return a part's plan to hold a camera by, as `drawn_shape`; None of one that has faults."""
    try:
        return drawn_shape(part_shape(read_part(folder)))
    except WetlineError:
        return None


def part_plan(folder: Path) -> dict[str, Any]:
    """Return a part's plan to place marks on, with the front as seen.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    plan : dict
        As `drawn_shape`, and `lines` as `plan_lines` returns them: none without a run of this
        part.toml.

    Raises
    ------
    WetlineError
        If part.toml cannot be read.
    """
    shape = part_shape(read_part(folder))
    lines: list[dict[str, Any]] = []
    named: set[float] = set()
    for level in _levels(folder):
        label = "" if level.time_s in named else time_label(level.time_s)
        named.add(level.time_s)
        points_mm = np.array(_seen(shape, level.points_mm))
        lines += stretches(points_mm, level.seen, label)
    return drawn_shape(shape) | {"flow": "part", "lines": lines}


def _levels(folder: Path) -> list[Level]:
    """Return the front as seen at some times; none where it was not, or not of this part.toml."""
    results = folder / "results"
    if inside(folder, "results") is None or inside(results, "arrival.npz") is None:
        return []
    try:
        kept = read_kept(folder)
    except WetlineError:
        return []
    if not kept.numbers["seen"]["usable"]:
        return []
    seen = kept.arrival
    times_s = choose_times_s(seen.last_s, LINES)
    return front_levels(seen.time_s, seen.x_mm, seen.y_mm, times_s, seen.seen)


def _seen(shape: PartShape, points_mm: FloatArray) -> list[tuple[float, float]]:
    points = np.atleast_2d(points_mm)
    return list(on_canvas(shape, tuple((float(x), float(y)) for x, y in points)))
