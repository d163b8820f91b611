"""Places that a feed may have: spread over the part at first, and moved from there.

Tested in tests/analysis/part/search/test_search.py.
"""

from __future__ import annotations

import numpy as np

from analysis.part.plan.outline import inside, line_distance_mm
from analysis.part.plan.plan import PartPlan, Place
from analysis.part.plan.search_goal import SearchGoal
from vision.records import BoolArray, FloatArray

COARSE_CANDIDATES = 9
LINES_PER_WAY = 12
CLEAR = 0.04
"""A feed keeps this share of the part's longest side away from every vent."""


def allowed(plan: PartPlan, goal: SearchGoal, points_mm: FloatArray) -> BoolArray:
    """Find which points may hold a feed."""
    ok = inside(points_mm, plan.outline_mm)
    for hole in plan.holes_mm:
        ok &= ~inside(points_mm, hole)
    clear_mm = CLEAR * float(np.ptp(plan.outline_mm, axis=0).max())
    for vent in plan.vents:
        # Resin fed beside a vent goes straight down it.
        ok &= line_distance_mm(points_mm, vent.place.points_mm) > clear_mm
    if goal.allowed_mm:
        ok &= np.any([inside(points_mm, area) for area in goal.allowed_mm], axis=0)
    return np.asarray(ok)


def candidates(plan: PartPlan, goal: SearchGoal) -> list[Place]:
    """List the places a single feed is tried at first."""
    areas = goal.allowed_mm or (plan.outline_mm,)
    low = np.min([area.min(axis=0) for area in areas], axis=0)
    high = np.max([area.max(axis=0) for area in areas], axis=0)
    low = np.maximum(low, plan.outline_mm.min(axis=0))
    high = np.minimum(high, plan.outline_mm.max(axis=0))
    if goal.kind == "point":
        step = float((high - low).max()) / COARSE_CANDIDATES
        counts = [max(1, round(float(side / step))) for side in high - low]
        ticks = [
            a + (np.arange(n) + 0.5) / n * (b - a)
            for a, b, n in zip(low, high, counts, strict=True)
        ]
        x, y = (axis.ravel() for axis in np.meshgrid(*ticks))
        points = np.column_stack([x, y])
        points = points[allowed(plan, goal, points)]
        return [Place(point[None], goal.radius_mm) for point in points]
    found = []
    for axis in (0, 1):
        for k in range(LINES_PER_WAY):
            at = low[axis] + (k + 0.5) / LINES_PER_WAY * (high[axis] - low[axis])
            line = line_at(plan, goal, axis, float(at))
            if line is not None:
                found.append(line)
    return found


def line_at(plan: PartPlan, goal: SearchGoal, axis: int, at_mm: float) -> Place | None:
    """Return the longest straight feed line across the part at x (axis 0) or y (axis 1)."""
    low, high = plan.outline_mm.min(axis=0), plan.outline_mm.max(axis=0)
    other = 1 - axis
    count = 401
    points = np.zeros((count, 2))
    points[:, axis] = at_mm
    points[:, other] = low[other] + (np.arange(count) + 0.5) / count * (high - low)[other]
    ok = np.append(np.append(False, allowed(plan, goal, points)), False)
    starts, ends = np.flatnonzero(~ok[:-1] & ok[1:]), np.flatnonzero(ok[:-1] & ~ok[1:])
    if not len(starts):
        return None
    best = int(np.argmax(ends - starts))
    if ends[best] - starts[best] < 5:
        return None
    return Place(points[[starts[best], ends[best] - 1]])


def moved(plan: PartPlan, goal: SearchGoal, place: Place, step_mm: FloatArray) -> Place | None:
    """Return a place moved by a step in x and y, None where that is not allowed.

    A line moves at right angles to itself and reaches as far as it can there.
    """
    points = place.points_mm
    if place.is_line:
        axis = way(place)
        if step_mm[axis] == 0:
            return place if not step_mm.any() else None
        return line_at(plan, goal, axis, float(points[0, axis] + step_mm[axis]))
    spot = points + step_mm
    return Place(spot, place.radius_mm) if allowed(plan, goal, spot).all() else None


def way(place: Place) -> int:
    """Return 0 for a line along y, 1 for a line along x, 2 for a point."""
    if not place.is_line:
        return 2
    run = np.abs(place.points_mm[-1] - place.points_mm[0])
    return 0 if run[0] < run[1] else 1
