"""How far apart feed lines may lie, for the part to fill within the working time.

Tested in tests/analysis/part/search/test_search.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.plan import PartPlan, PartStack
from analysis.part.plan.search_goal import SearchGoal
from analysis.part.search.candidates import line_at
from analysis.part.search.layout_score import Judge

MOST_LINES = 12
CELLS = 80


@dataclass(frozen=True)
class Spacing:
    """Greatest spacing of parallel feed lines.

    Attributes
    ----------
    along : {"y", "x"}
        Which way the lines run.
    plain_mm : float
        On an endless sheet of the base stack, at the low end of its permeability.
    lines : int or None
        Fewest evenly spaced lines with which this part fills; None if a dozen are not enough.
    spacing_mm : float or None
        The distance between them (twice that from the outer lines to the edge).
    total : float or None
        Impulse at which the part is then full, at the low end of permeability.
    """

    along: str
    plain_mm: float
    lines: int | None
    spacing_mm: float | None
    total: float | None


def plain_spacing_mm(stack: PartStack, impulse: float, across_deg: float) -> float:
    """Return the greatest spacing of parallel feed lines on an endless sheet.

    Parameters
    ----------
    stack : PartStack
        The lay-up.
    impulse : float
        To be had within the working time.
    across_deg : float
        Direction at right angles to the lines.

    Notes
    -----
    Each line feeds half the spacing on either side: (s / 2)^2 = 2 K theta / porosity, with K the
    tensor's component across the lines (no flow along them, by symmetry).

    Examples
    --------
    >>> stack = PartStack(1e-10, 1e-10, 0.0, 0.5, 3.0)
    >>> round(plain_spacing_mm(stack, 6.25e8, 0.0), 6)
    1000.0
    """
    turn = np.deg2rad(across_deg - stack.angle_deg)
    k = (stack.k1_m2 * np.cos(turn) ** 2 + stack.k2_m2 * np.sin(turn) ** 2) * stack.low
    return float(2e3 * np.sqrt(2 * k * impulse / stack.porosity))


def greatest_spacing(plan: PartPlan, goal: SearchGoal, impulse: float) -> list[Spacing]:
    """Find the greatest spacing of feed lines, both ways across the part.

    Parameters
    ----------
    plan : PartPlan
        The part.
    goal : SearchGoal
        What is asked for.
    impulse : float
        To be had within the working time.
    """
    factors = [stack.low for stack in plan.stacks]
    cells = min(plan.cells, CELLS)
    judge = Judge(plan, lay_canvas(plan, cells, factors))
    low, high = plan.outline_mm.min(axis=0), plan.outline_mm.max(axis=0)
    free = replace(goal, allowed_mm=())
    found = []
    for axis, along, across in ((0, "y", 0.0), (1, "x", 90.0)):
        plain_mm = plain_spacing_mm(plan.stack, impulse, across)
        best: tuple[int, float, float] | None = None
        size = float((high - low)[axis])
        for lines in range(1, MOST_LINES + 1):
            places = [low[axis] + (k + 0.5) / lines * size for k in range(lines)]
            laid = [line_at(plan, free, axis, float(at)) for at in places]
            layout = tuple(place for place in laid if place is not None)
            total = judge.judge(layout).total if layout else np.inf
            if total <= impulse:
                best = (lines, size / lines, total)
                break
        found.append(Spacing(along, plain_mm, *(best or (None, None, None))))
    return found
