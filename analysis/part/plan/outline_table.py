"""The [outline] table of part.toml: the part's edge and its holes, by numbers or from a drawing.

Tested in tests/analysis/part/plan/test_part_toml.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from analysis.part.plan import outline as part_outline
from vision.common.toml_table import Table, read_toml
from vision.errors import bad_field
from vision.records import FloatArray

OUTLINE_FIELDS = (
    "points_mm",
    "file",
    "rectangle_mm",
    "disc_radius_mm",
    "disc_centre_mm",
    "l_shape_mm",
    "holes_mm",
    "units",
    "y_runs",
)
SHAPES = ("points_mm", "file", "rectangle_mm", "disc_radius_mm", "l_shape_mm")
LEAST_SHARE = 1e-3
"""Of the outline's area must be left between the holes."""
LEAST_LIKELY_MM = 200.0
"""A part whose longer side is shorter was most likely drawn in another unit."""
Y_WAYS = ("down", "up")


@dataclass(frozen=True)
class Shape:
    """A part's edge.

    Attributes
    ----------
    outline_mm : ndarray of shape (N, 2)
    holes_mm : tuple of ndarray
    y_runs : {"down", "up"}
        Which way y runs when the part is looked at from above; x runs right.
    notes : tuple of str
        What was found in a drawing.
    """

    outline_mm: FloatArray
    holes_mm: tuple[FloatArray, ...]
    y_runs: str
    notes: tuple[str, ...]


def read_outline(path: Path, document: Mapping[str, Any]) -> Shape:
    """Read [outline].

    Raises
    ------
    WetlineError
        If the drawing is missing or says no size, or the shape cannot be a part.
    """
    table = Table.of(path, document, "outline")
    table.refuse_unknown(OUTLINE_FIELDS)
    y_runs = str(table.text("y_runs", "down", choices=Y_WAYS))
    units = table.text("units", None, choices=tuple(part_outline.UNITS_MM))
    factor = part_outline.UNITS_MM[units] if units else 1.0
    given = [key for key in SHAPES if table.has(key)]
    if len(given) != 1:
        raise bad_field(
            path, "[outline]", ", ".join(given) or "(missing)", f"give one of {', '.join(SHAPES)}"
        )
    holes: list[FloatArray] = []
    if table.has("file"):
        drawing = path.parent / str(table.text("file"))
        outline, holes = part_outline.read_drawing(drawing, units, y_runs)
        where = f"{drawing.name}: outline"
    else:
        outline = _shape(table, given[0]) * factor
        where = f"{path.parent.name}/{path.name}: {table.label(given[0])}"
    outline = part_outline.tidy(outline)
    part_outline.check_outline(where, outline)
    _ask_of_small(table, given[0], outline, bool(units))
    holes += [one * factor for one in _loops(table, "holes_mm")]
    holes = [part_outline.tidy(hole) for hole in holes]
    for number, hole in enumerate(holes, start=1):
        part_outline.check_hole(f"{where}: hole {number}", hole, outline)
    left = part_outline.area_mm2(outline) - sum(map(part_outline.area_mm2, holes))
    if left <= LEAST_SHARE * part_outline.area_mm2(outline):
        raise bad_field(
            path,
            "[outline]",
            f"{len(holes)} holes",
            "leave nothing of the part: is it drawn twice?",
        )
    return Shape(outline, tuple(holes), y_runs, _notes(table, outline, holes))


def _ask_of_small(table: Table, key: str, outline: FloatArray, has_units: bool) -> None:
    size = np.ptp(outline, axis=0)
    if not has_units and size.max() < LEAST_LIKELY_MM:
        told = f"{size[0]:.4g} x {size[1]:.4g} mm, no larger than a hand"
        table.question(key, f'{told}: if it is in other units, add units = "cm" or the like')
        table.refuse_questions()


def _notes(table: Table, outline: FloatArray, holes: list[FloatArray]) -> tuple[str, ...]:
    """Return what was found in a drawing, its size first."""
    if not table.has("file"):
        return ()
    size = np.ptp(outline, axis=0)
    return (
        f"drawing {table.text('file')}: {size[0]:.4g} x {size[1]:.4g} mm, {len(outline)} points, "
        f"{len(holes)} holes",
    )


def _shape(table: Table, key: str) -> FloatArray:
    if key == "points_mm":
        return np.array(table.points(key))
    if key == "disc_radius_mm":
        radius = table.length(key, above=0)
        return part_outline.disc(float(radius or 0), table.pair("disc_centre_mm") or (0.0, 0.0))
    count = 2 if key == "rectangle_mm" else 4
    sizes = table.values[key]
    example = (
        "[1200, 400]"
        if count == 2
        else "[1200, 800, 600, 400] (length, width, and what is cut out of the far corner)"
    )
    good = isinstance(sizes, list) and len(sizes) == count
    if not good or not all(isinstance(s, int | float) and s > 0 for s in sizes):
        raise table.bad(key, f"must be {count} lengths above 0 such as {example}")
    if count == 2:
        return part_outline.rectangle(*map(float, sizes))
    if sizes[2] >= sizes[0] or sizes[3] >= sizes[1]:
        raise table.bad(key, "cuts away the whole length or width: mend the last two numbers")
    return part_outline.l_shape(*map(float, sizes))


def _loops(table: Table, key: str) -> list[FloatArray]:
    """Read a list of closed lines."""
    value = table.values.get(key, [])
    if not isinstance(value, list):
        raise table.bad(key, "must be a list of loops, each a list of [x, y] pairs")
    loops = []
    for item in value:
        one = Table(table.file, table.name, {key: item})
        loops.append(np.array(one.points(key)))
    return loops


def lies_off(path: Path, x_mm: float, y_mm: float, spare_mm: float) -> bool:
    """Return whether a place lies off the part that a part.toml describes, or in a hole of it.

    Parameters
    ----------
    path : Path
        The part.toml.
    x_mm, y_mm : float
        As on the plan.
    spare_mm : float
        How far it may lie beyond an edge.

    Raises
    ------
    WetlineError
        If part.toml cannot be read.
    """
    shape, point = read_outline(path, read_toml(path)), np.array([[x_mm, y_mm]])
    off = not part_outline.inside(point, shape.outline_mm)[0]
    holed = [hole for hole in shape.holes_mm if part_outline.inside(point, hole)[0]]
    edges = [shape.outline_mm] * off + holed
    return any(part_outline.distance_mm(point, edge)[0] > spare_mm for edge in edges)
