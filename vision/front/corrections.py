"""Corrections by the user: points and front lines by hand that the arrival map must go through.

``fix.csv`` beside panel.toml has a header ``time_s, x_mm, y_mm`` (or ``time_min``, or ``clock``)
and a row per point; rows that share a ``line`` value form one front line. A point says "the
front stood here at that time".
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from vision.common.csv_table import CsvTable, number_column, read_table
from vision.common.rounding import lapse
from vision.records import ArrivalMap, FloatArray

SAME_LANE_MM = 10.0
"""Points by hand that differ less across the flow stand in one lane."""
BACK_MM = 5.0
"""How far a later point may lie behind an earlier one: the reading of a photo by eye. Common
practice, no source."""
LINE_STEP_MM = 5.0
"""Spacing of the points set along a front line drawn by hand."""


@dataclass(frozen=True)
class FixLimits:
    """Where and when a front by hand can stand.

    Attributes
    ----------
    length_mm, width_mm : float
        The panel.
    last_s : float
        Time of the last frame, in seconds since resin start.
    flow : {"edge", "point"}
        From an edge a front only moves on along x.
    """

    length_mm: float
    width_mm: float
    last_s: float
    flow: str = "edge"


def read_fixes(
    path: Path, clock_to_s: Callable[[str], float], limits: FixLimits | None = None
) -> FloatArray:
    """Read fix.csv.

    Parameters
    ----------
    path : Path
    clock_to_s : callable
        Turns a clock text such as ``14:03:20`` into seconds since resin start; ValueError with
        the rule where it cannot.
    limits : FixLimits, optional
        What can be; without it any place and time is taken.

    Returns
    -------
    points : ndarray of shape (P, 3), float
        Seconds since resin start, x and y in mm; front lines are filled in every few mm.

    Raises
    ------
    WetlineError
        If a column is missing, a value is no number, or a point lies off the panel, before resin
        start, after the last frame, or behind an earlier one.
    """
    table = read_table(path)
    clock = table.pick(("time_s", "time_min", "clock"), "time_s, time_min or clock, x_mm and y_mm")
    for name in ("x_mm", "y_mm"):
        table.pick((name,), "time_s, x_mm and y_mm")
    points = np.stack(
        [
            _times(table, clock, clock_to_s),
            *(number_column(path, table, name) for name in ("x_mm", "y_mm")),
        ],
        axis=1,
    )
    names = table.get("line") or [""] * len(points)
    if limits is not None:
        _check_places(table, clock, points, limits)
        if limits.flow == "edge":
            _check_order(table, points, names)
    lines: dict[str, list[FloatArray]] = {}
    for row, (name, point) in enumerate(zip(names, points, strict=True)):
        lines.setdefault(name or f"point {row}", []).append(point)
    return np.concatenate([_along(np.array(corners)) for corners in lines.values()])


def _times(table: CsvTable, clock: str, clock_to_s: Callable[[str], float]) -> FloatArray:
    if clock != "clock":
        return number_column(table.path, table, clock) * (60.0 if clock == "time_min" else 1.0)
    times = []
    for row, text in enumerate(table["clock"]):
        try:
            times.append(clock_to_s(text))
        except ValueError as error:
            raise table.bad_cell(row, "clock", str(error)) from None
    return np.array(times)


def _check_places(table: CsvTable, clock: str, points: FloatArray, limits: FixLimits) -> None:
    """Refuse the first point that cannot be."""
    for row, (time_s, x, y) in enumerate(points):
        if time_s < 0:
            raise table.bad_cell(row, clock, "is before resin start: no front stood there yet")
        if time_s > limits.last_s:
            raise table.bad_cell(
                row, clock, f"is after the last frame ({limits.last_s / 60:.1f} min): mend the time"
            )
        for name, value, most in (("x_mm", x, limits.length_mm), ("y_mm", y, limits.width_mm)):
            if not 0 <= value <= most:
                raise table.bad_cell(
                    row,
                    name,
                    f"lies off the panel: must be from 0 to {most:g} mm ([panel] "
                    f"{'length_mm' if name == 'x_mm' else 'width_mm'})",
                )


def _check_order(table: CsvTable, points: FloatArray, lines: list[str]) -> None:
    """Refuse two points of one lane of which the later lies behind, or that part at one time."""
    named = np.array(lines)
    for row, (time_s, x, y) in enumerate(points):
        beside = np.abs(points[:, 2] - y) < SAME_LANE_MM
        ahead = beside & (points[:, 0] < time_s) & (points[:, 1] > x + BACK_MM)
        if ahead.any():
            other = int(np.argmax(ahead))
            raise table.bad_cell(
                row,
                "x_mm",
                f"lies behind row {table.lines[other]}, which is earlier: a front does not run "
                "back, mend one of them",
            )
        # A front line along a racing edge may pass one lane more than once.
        apart = (named == "") | (named != lines[row])
        apart &= beside & (points[:, 0] == time_s) & (np.abs(points[:, 1] - x) > BACK_MM)
        if apart[:row].any():
            other = int(np.argmax(apart))
            raise table.bad_cell(
                row,
                "x_mm",
                f"is {abs(points[other, 1] - x):.0f} mm from row {table.lines[other]}, at the same "
                "time in the same lane: a front is in one place, mend one of them",
            )


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


def farthest_words(points: FloatArray, seen_s: FloatArray, last_s: float) -> str:
    """Return which point by hand lies farthest from what the camera saw, in words.

    Parameters
    ----------
    points : ndarray of shape (P, 3), float
        Seconds since resin start, x and y in mm.
    seen_s : ndarray of shape (P,), float
        When the camera saw each place wet; infinity where it stayed dry.
    last_s : float
        Time of the last frame: what stayed dry wetted then or later.

    Examples
    --------
    >>> farthest_words(np.array([[300.0, 33, 8]]), np.array([12.0]), 900.0)
    'the farthest from what the camera saw is 4.8 min later, at (33, 8) mm'
    """
    off = points[:, 0] - np.where(np.isfinite(seen_s), seen_s, last_s)
    k = int(np.argmax(np.abs(off)))
    most, (x, y) = lapse(float(off[k])), points[k, 1:]
    way = "later" if off[k] > 0 else "earlier"
    return f"the farthest from what the camera saw is {most} {way}, at ({x:.0f}, {y:.0f}) mm"


def times_at(arrival: ArrivalMap, points: FloatArray) -> FloatArray:
    """Return when the places of points, shape (P, 3), wetted; infinity where they stayed dry."""
    rows, cols = (
        np.clip(points[:, axis] / arrival.mm_per_px, 0, count - 1).astype(int)
        for axis, count in zip((2, 1), arrival.time_s.shape, strict=True)
    )
    return np.asarray(arrival.time_s[rows, cols])


def start_from_hand(points: FloatArray, hand_sd_mm: float) -> tuple[float, float]:
    """Return how much later than the points' zero the resin started, by the points alone.

    Parameters
    ----------
    points : ndarray of shape (P, 3), float
        Seconds, x and y in mm.
    hand_sd_mm : float
        Standard uncertainty of a point's distance.

    Returns
    -------
    shift_s, sd_s : float
        Both NaN where the points tell none: fewer than two distances, or later ones nearer.

    Notes
    -----
    Time follows the squared distance (Washburn, Phys. Rev. 17, 273, 1921), fitted by weighted
    least squares: a distance is off by `hand_sd_mm`. How a feed that resists bends this is not
    known: `FEED_SHARE` of the time to the first point.
    """
    time, x = points[:, 0], points[:, 1]
    if len(np.unique(x)) < 2 or x.min() <= 0:
        return np.nan, np.nan
    design = np.stack([np.ones_like(x), x**2], axis=1) / x[:, None]
    (shift, per_mm2), *_ = np.linalg.lstsq(design, time / x, rcond=None)
    first = float(time.min() - shift)
    if per_mm2 <= 0 or first < 0:
        return np.nan, np.nan
    covariance = np.linalg.inv(design.T @ design) * (2 * per_mm2 * hand_sd_mm) ** 2
    return float(shift), float(np.hypot(np.sqrt(covariance[0, 0]), FEED_SHARE * first))


FEED_SHARE = 0.1
"""Share of the time to the first point by which a feed that resists may shift the start. Common
practice, no source."""


def map_from_hand(
    points: FloatArray, shape: tuple[int, int], mm_per_px: float, last_s: float
) -> ArrivalMap:
    """Return an arrival map of an edge-fed panel from points by hand alone.

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
