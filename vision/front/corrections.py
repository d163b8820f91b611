"""Corrections by the user: points and front lines by hand that the arrival map must go through.

``fix.csv`` beside panel.toml has a header ``time_s, x_mm, y_mm`` (or ``time_min``, or ``clock``)
and a row per point; rows that share a ``line`` value form one front line. A point says "the
front stood here at that time".
"""

from __future__ import annotations

import csv
import itertools
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from vision.errors import WetlineError, bad_field
from vision.records import ArrivalMap, FloatArray

LINE_STEP_MM = 5.0
"""Spacing of the points set along a front line drawn by hand."""


def read_fixes(path: Path, clock_to_s: Callable[[str], float | None]) -> FloatArray:
    """Read fix.csv.

    Parameters
    ----------
    path : Path
    clock_to_s : callable
        Turns a clock text such as ``14:03:20`` into seconds since resin start, or None.

    Returns
    -------
    points : ndarray of shape (P, 3), float
        Seconds since resin start, x and y in mm; front lines are filled in every few mm.

    Raises
    ------
    WetlineError
        If a column is missing or a value is no number.
    """
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            reader = csv.DictReader(row for row in file if row.strip() and row[0] != "#")
            names = [name.strip() for name in reader.fieldnames or []]
            reader.fieldnames = names
            rows = list(reader)
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise WetlineError(f"{path}: cannot be read as a table: save it as CSV") from error
    timed = [name for name in ("time_s", "time_min", "clock") if name in names]
    if not timed or "x_mm" not in names or "y_mm" not in names:
        raise bad_field(path, "header", ", ".join(names), "must hold time_s, x_mm and y_mm")
    lines: dict[str, list[tuple[float, float, float]]] = {}
    for number, row in enumerate(rows, start=2):
        values = [_number(path, number, row, key) for key in ("x_mm", "y_mm")]
        time = _time(path, number, row, timed[0], clock_to_s)
        key = (row.get("line") or "").strip() or f"point {number}"
        lines.setdefault(key, []).append((time, values[0], values[1]))
    if not lines:
        raise WetlineError(f"{path}: holds no points: add rows or delete the file")
    return np.concatenate([_along(np.array(points)) for points in lines.values()])


def _number(path: Path, number: int, row: dict[str, str], key: str) -> float:
    text = (row.get(key) or "").strip()
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not np.isfinite(value):
        raise bad_field(path, f"row {number}, {key}", text or "(empty)", "must be a number")
    return value


def _time(
    path: Path,
    number: int,
    row: dict[str, str],
    key: str,
    clock_to_s: Callable[[str], float | None],
) -> float:
    if key == "clock":
        text = (row.get(key) or "").strip()
        value = clock_to_s(text)
        if value is None:
            raise bad_field(path, f"row {number}, clock", text, "must be a time such as 14:03:20")
        return value
    return _number(path, number, row, key) * (60.0 if key == "time_min" else 1.0)


def _along(points: FloatArray) -> FloatArray:
    """Set points every few mm along a line given by its corners."""
    pieces = [points[:1]]
    for a, b in itertools.pairwise(points):
        count = max(1, int(np.hypot(*(b - a)[1:]) // LINE_STEP_MM))
        part = np.linspace(0, 1, count + 1)[1:, None]
        pieces.append(a + part * (b - a))
    return np.concatenate(pieces)


def bend(arrival: ArrivalMap, points: FloatArray) -> ArrivalMap:
    """Bend an arrival map so that it goes through the points by hand.

    Parameters
    ----------
    arrival : ArrivalMap
    points : ndarray of shape (P, 3), float
        Seconds since resin start, x and y in mm.

    Returns
    -------
    arrival : ArrivalMap
        Through every point; unchanged far from all of them.

    Notes
    -----
    The correction runs in the square root of time, in which a front moves evenly, and fades with
    distance: inverse-distance weights (Shepard, Proc. ACM Natl Conf. 1968) times a normal whose
    width is a fifth of the panel.
    """
    root = np.sqrt(np.maximum(np.where(np.isfinite(arrival.time_s), arrival.time_s, np.nan), 0.0))
    y, x = np.indices(root.shape) * arrival.mm_per_px + arrival.mm_per_px / 2
    reach = 0.2 * max(arrival.length_mm, arrival.width_mm)
    wanted = np.sqrt(np.maximum(points[:, 0], 0.0))
    base = np.where(np.isfinite(root), root, np.sqrt(max(arrival.last_s, 0.0)))
    total = np.zeros_like(root)
    weights = np.zeros_like(root)
    nearest = np.full(root.shape, np.inf)
    for (_, px, py), target in zip(points, wanted, strict=True):
        row = int(np.clip(py / arrival.mm_per_px, 0, root.shape[0] - 1))
        col = int(np.clip(px / arrival.mm_per_px, 0, root.shape[1] - 1))
        gap2 = (x - px) ** 2 + (y - py) ** 2
        weight = 1.0 / (gap2 + (0.25 * arrival.mm_per_px) ** 2)
        total += weight * (target - base[row, col])
        weights += weight
        nearest = np.minimum(nearest, gap2)
    fade = np.exp(-nearest / (2 * reach**2))
    bent = np.maximum(base + fade * total / weights, 0.0) ** 2
    hand = nearest <= (2 * arrival.mm_per_px) ** 2
    dry = ~np.isfinite(arrival.time_s) & ~(fade > 0.6)
    return replace(arrival, time_s=np.where(dry, np.inf, bent), by_hand=arrival.by_hand | hand)


def map_from_hand(
    points: FloatArray, shape: tuple[int, int], mm_per_px: float, last_s: float
) -> ArrivalMap:
    """Make an arrival map of an edge-fed panel from points by hand alone.

    Parameters
    ----------
    points : ndarray of shape (P, 3), float
        At least two, at different distances.
    shape : (int, int)
        Canvas rows and columns.

    Notes
    -----
    Along the flow time follows the squared distance (Darcy's law) piece by piece between the
    points and from the feed, where it is 0; beyond the last point with the last piece. Across
    the flow the front is taken as straight.
    """
    order = np.argsort(points[:, 1])
    square, time = points[order, 1] ** 2, points[order, 0]
    square, first = np.unique(square, return_index=True)
    groups = np.split(time, first[1:])
    time = np.maximum.accumulate(np.array([float(np.mean(group)) for group in groups]))
    square, time = np.concatenate([[0.0], square]), np.concatenate([[0.0], time])
    x2 = ((np.arange(shape[1]) + 0.5) * mm_per_px) ** 2
    slope = (time[-1] - time[-2]) / max(square[-1] - square[-2], 1e-9)
    along = np.interp(x2, square, time) + np.maximum(x2 - square[-1], 0) * slope
    along = np.where(along <= last_s, along, np.inf)
    whole = np.broadcast_to(along, shape).copy()
    seen = np.zeros(shape, bool)
    return ArrivalMap(whole, seen, np.ones(shape, bool), mm_per_px, last_s)
