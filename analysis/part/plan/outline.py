"""Outlines: plain shapes, point files, drawings; and whether they can be a part at all."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from skimage.measure import points_in_poly

from vision.common.outside.input_files import cannot_read, read_text
from vision.errors import WetlineError
from vision.records import BoolArray, FloatArray

LONGEST_MM = 100_000.0
SHORTEST_MM = 10.0
MOST_POINTS = 20_000
ROUND_POINTS = 720
PX_MM = 25.4 / 96.0
"""A CSS pixel is 1/96 inch (W3C, CSS Values and Units Level 3)."""
UNITS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8, "px": PX_MM}
Loops = list[FloatArray]


def rectangle(length_mm: float, width_mm: float) -> FloatArray:
    """Return the corners of a rectangle from (0, 0)."""
    return np.array([[0, 0], [length_mm, 0], [length_mm, width_mm], [0, width_mm]], float)


def disc(radius_mm: float, centre_mm: tuple[float, float] = (0.0, 0.0)) -> FloatArray:
    """Return a disc as a polygon of the same area.

    Examples
    --------
    >>> round(area_mm2(disc(100.0)), 6) == round(np.pi * 100.0**2, 6)
    True
    """
    step = 2 * np.pi / ROUND_POINTS
    angle = (np.arange(ROUND_POINTS) + 0.5) * step
    grown = radius_mm * np.sqrt(step / np.sin(step))
    return np.column_stack(
        [centre_mm[0] + grown * np.cos(angle), centre_mm[1] + grown * np.sin(angle)]
    )


def l_shape(length_mm: float, width_mm: float, cut_x_mm: float, cut_y_mm: float) -> FloatArray:
    """Return an L: a rectangle less a rectangle at its far corner."""
    x, y = length_mm - cut_x_mm, width_mm - cut_y_mm
    corners = [[0, 0], [length_mm, 0], [length_mm, y], [x, y], [x, width_mm], [0, width_mm]]
    return np.array(corners, float)


def area_mm2(points_mm: FloatArray) -> float:
    """Return the area inside a closed outline."""
    x, y = points_mm[:, 0], points_mm[:, 1]
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


def tidy(points_mm: Sequence[Sequence[float]] | FloatArray) -> FloatArray:
    """Drop points that repeat the one before, and a last point that repeats the first."""
    points = np.asarray(points_mm, float).reshape(-1, 2)
    if len(points) < 2:
        return points
    size = float(np.ptp(points, axis=0).max())
    step = np.hypot(*(points - np.roll(points, 1, axis=0)).T)
    keep = step > 1e-9 * size
    return points[keep] if keep.any() else points[:1]


def crossing(first: FloatArray, second: FloatArray | None = None) -> tuple[float, float] | None:
    """Return a point where a closed outline crosses itself, or another one; None if it does not.

    Parameters
    ----------
    first : ndarray of shape (N, 2)
        Corners in order.
    second : ndarray of shape (M, 2), optional
        Corners of another outline.
    """
    other = first if second is None else second
    a, b = first, np.roll(first, -1, axis=0)
    c, d = other, np.roll(other, -1, axis=0)
    n = len(first)
    for start in range(0, n, 256):
        rows = np.arange(start, min(n, start + 256))
        p, r = a[rows, None], (b - a)[rows, None]
        q, s = c[None], (d - c)[None]
        across = r[..., 0] * s[..., 1] - r[..., 1] * s[..., 0]
        gap = q - p
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (gap[..., 0] * s[..., 1] - gap[..., 1] * s[..., 0]) / across
            u = (gap[..., 0] * r[..., 1] - gap[..., 1] * r[..., 0]) / across
            hit = (across != 0) & (t > 1e-9) & (t < 1 - 1e-9) & (u > -1e-9) & (u < 1 + 1e-9)
        if second is None:
            apart = np.abs(rows[:, None] - np.arange(n)[None])
            hit &= (apart > 1) & (apart < n - 1)
        if hit.any():
            i, j = np.argwhere(hit)[0]
            x, y = a[rows[i]] + t[i, j] * (b - a)[rows[i]]
            return float(x), float(y)
    return None


def check_outline(where: str, points_mm: FloatArray) -> None:
    """Refuse an outline that cannot be a part.

    Parameters
    ----------
    where : str
        File and field, for the message.
    points_mm : ndarray of shape (N, 2)
        Corners in order.

    Raises
    ------
    WetlineError
        If it has too few or too many points, crosses itself, or has an unlikely size.
    """
    if len(points_mm) < 3:
        raise WetlineError(f"{where}: has {len(points_mm)} different points: give at least three")
    if len(points_mm) > MOST_POINTS:
        raise WetlineError(f"{where}: has {len(points_mm)} points: draw it with fewer")
    longest = float(np.ptp(points_mm, axis=0).max())
    if longest > LONGEST_MM:
        raise WetlineError(
            f"{where}: makes the part {longest / 1000:.4g} m long: lengths are in mm; mend them, "
            'or name the unit with units = "..." in [outline]'
        )
    if longest < SHORTEST_MM:
        raise WetlineError(
            f"{where}: makes the part {longest:.3g} mm long: lengths are in mm; mend them, or name "
            'the unit, such as units = "m", in [outline]'
        )
    spot = crossing(points_mm)
    if spot is not None:
        raise WetlineError(
            f"{where}: crosses itself near ({spot[0]:.1f}, {spot[1]:.1f}) mm: list the corners in "
            "order round the part"
        )
    if area_mm2(points_mm) < 1e-4 * longest**2:
        raise WetlineError(f"{where}: encloses almost no area: check the corners")


def check_hole(where: str, hole_mm: FloatArray, outline_mm: FloatArray) -> None:
    """Refuse a hole that is not wholly inside the outline."""
    if len(hole_mm) < 3:
        raise WetlineError(f"{where}: has {len(hole_mm)} different points: give at least three")
    spot = crossing(hole_mm)
    if spot is not None:
        raise WetlineError(
            f"{where}: crosses itself near ({spot[0]:.1f}, {spot[1]:.1f}) mm: list its corners in "
            "order"
        )
    if crossing(hole_mm, outline_mm) is not None or not inside(hole_mm[:1], outline_mm)[0]:
        raise WetlineError(
            f"{where}: is not wholly inside the outline: a cut-out at the edge belongs in the "
            "outline's own points"
        )


def distance_mm(points_mm: FloatArray, outline_mm: FloatArray) -> FloatArray:
    """Return the distance of points from the line of a closed outline."""
    return line_distance_mm(points_mm, np.vstack([outline_mm, outline_mm[:1]]))


def line_distance_mm(points_mm: FloatArray, line_mm: FloatArray) -> FloatArray:
    """Return the distance of points from a line of one or more points."""
    a = line_mm[:-1] if len(line_mm) > 1 else line_mm
    run = line_mm[1:] - a if len(line_mm) > 1 else np.zeros_like(line_mm)
    square = np.maximum((run**2).sum(axis=1), 1e-300)
    best = np.full(len(points_mm), np.inf)
    for start, step, size in zip(a, run, square, strict=True):
        t = np.clip((points_mm - start) @ step / size, 0.0, 1.0)
        best = np.minimum(best, np.hypot(*(points_mm - start - t[:, None] * step).T))
    return best


def read_drawing(
    path: Path, units: str | None = None, y_runs: str = "down"
) -> tuple[FloatArray, Loops]:
    """Read outline and holes from a CSV of points, an SVG or a DXF.

    Parameters
    ----------
    path : Path
        The drawing.
    units : {"mm", "cm", "m", "in", "ft"}, optional
        Goes before what the drawing says of itself.
    y_runs : {"down", "up"}
        Which way y is to run; the drawing keeps its look. A CSV is taken as it stands.

    Returns
    -------
    outline_mm : ndarray of shape (N, 2)
        The largest closed line.
    holes_mm : list of ndarray
        The others.

    Raises
    ------
    WetlineError
        If the file is missing, unreadable, or has no closed line in it.
    """
    if not path.is_file():
        raise WetlineError(f"{path}: not found: put the drawing beside part.toml or mend its name")
    kind = path.suffix.lower()
    if kind == ".csv" or kind == ".txt":
        loops, factor = _read_csv(path), 1.0
    elif kind == ".svg":
        loops, factor = _cad("svgpathtools", path).read_svg(path)
        loops = _turned(loops) if y_runs == "up" else loops
    elif kind == ".dxf":
        loops, factor = _cad("ezdxf", path).read_dxf(path)
        loops = _turned(loops) if y_runs == "down" else loops
    else:
        raise WetlineError(f"{path}: must be a .csv, .svg or .dxf file")
    loops = [tidy(loop) for loop in loops]
    closed = sorted((loop for loop in loops if len(loop) >= 3), key=area_mm2, reverse=True)
    if not closed:
        raise WetlineError(f"{path}: holds no closed line: close the outline in the drawing")
    unit_mm = UNITS_MM[units] if units is not None else factor
    if unit_mm is None:
        raise _without_size(path, closed)
    return closed[0] * unit_mm, [loop * unit_mm for loop in closed[1:]]


def _turned(loops: Loops) -> Loops:
    """Turn y round, so that what was uppermost is uppermost again, and the least y is 0."""
    if not loops:
        return loops
    top = max(float(loop[:, 1].max()) for loop in loops)
    return [loop * (1.0, -1.0) + (0.0, top) for loop in loops]


def _without_size(path: Path, loops: Loops) -> WetlineError:
    """Return the error for a drawing that says no physical size."""
    size = np.ptp(loops[0], axis=0)
    return WetlineError(
        f"{path}: says no physical size: it is {size[0]:.6g} x {size[1]:.6g} units, which may be "
        f"mm, or {size[0] * PX_MM:.0f} x {size[1] * PX_MM:.0f} mm at 96 to the inch: write "
        '[outline] units = "mm" (or "px", "cm", "in"), whichever is meant'
    )


def _cad(package: str, path: Path) -> Any:
    """Load the drawing readers, which need an extra package."""
    import importlib

    readers = importlib.import_module("analysis.part.plan.cad")
    try:
        readers.load(package)
    except ImportError as error:
        raise WetlineError(
            f"{path}: reading {path.suffix} needs one more package: run "
            "`python -m pip install wetline[cad]`, or give the points as a .csv"
        ) from error
    except readers.NOT_LOADED as error:
        raise WetlineError(
            f"{path}: reading {path.suffix} needs the package {package}, whose own settings "
            f"cannot be read ({error}): mend or remove them, or give the points as a .csv"
        ) from error
    return readers


def _read_csv(path: Path) -> Loops:
    """Read points, one x and y to a line; an empty line begins the next loop."""
    try:
        lines = read_text(path).splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise cannot_read(path, error) from error
    loops: list[list[tuple[float, float]]] = [[]]
    for number, line in enumerate(lines, start=1):
        text = line.strip()
        if not text.strip(",;\t "):
            loops.append([])
            continue
        parts = _fields(text)
        try:
            x, y = (float(part) for part in parts[:2])
        except ValueError:
            if number == 1:
                continue
            raise WetlineError(
                f"{path}: line {number} = {text[:40]}: must hold x and y in mm, such as 120.0, 45.5"
            ) from None
        if not np.isfinite([x, y]).all():
            raise WetlineError(f"{path}: line {number} = {text[:40]}: must be finite numbers")
        loops[-1].append((x, y))
    return [np.array(loop) for loop in loops if loop]


def _fields(text: str) -> list[str]:
    """Split a line at semicolons, tabs, commas or blanks; with the first two a comma is decimal."""
    for mark in (";", "\t"):
        if mark in text:
            return [part.strip().replace(",", ".") for part in text.split(mark)]
    return [part.strip() for part in (text.split(",") if "," in text else text.split())]


def inside(points_mm: FloatArray, polygon_mm: FloatArray) -> BoolArray:
    """Return which points lie inside a polygon.

    Parameters
    ----------
    points_mm : ndarray of shape (M, 2)
        What to ask for.
    polygon_mm : ndarray of shape (N, 2)
        Corners in order.

    Examples
    --------
    >>> inside(np.array([[1, 1], [5, 1]]), np.array([[0, 0], [2, 0], [2, 2], [0, 2]]))
    array([ True, False])
    """
    return np.asarray(points_in_poly(np.asarray(points_mm, float), np.asarray(polygon_mm, float)))
