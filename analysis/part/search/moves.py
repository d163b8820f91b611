"""Improving a layout by moving its feeds: one, all together, or two against each other."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from analysis.part.plan.plan import PartPlan
from analysis.part.plan.search_goal import SearchGoal
from analysis.part.search.candidates import moved
from analysis.part.search.layout_score import Layout, Ranked
from vision.records import FloatArray

STEPS_MM_SHARE = (0.08, 0.04, 0.02, 0.01, 0.005)
MOST_MOVES = 12  # of each step size

Score = Callable[[Ranked], tuple[float, float]]


def improve(
    judge: Callable[[Layout], Ranked],
    plan: PartPlan,
    goal: SearchGoal,
    score: Score,
    start: Layout,
) -> Ranked:
    """Move the feeds of a layout in steps that halve, for as long as that helps.

    Parameters
    ----------
    judge : callable
        Ranks a layout.
    plan : PartPlan
        The part.
    goal : SearchGoal
        Where feeds may lie.
    score : callable
        What is to be least.
    start : tuple of Place
        Where to begin.

    Notes
    -----
    A pattern search (Hooke and Jeeves, J. ACM 8, 212-229, 1961, from memory). Feeds moved one by
    one stick where each blocks the other: two that should both go the same way, or apart. So all
    are moved together, and each two against each other, as well. A move that helped is repeated.
    """
    size = float(np.ptp(plan.outline_mm, axis=0).max())
    best = judge(start)
    for share in STEPS_MM_SHARE:
        for _ in range(MOST_MOVES):
            better = _best_move(judge, plan, goal, score, best, share * size)
            if better is None:
                break
            best = better
    return best


def _best_move(
    judge: Callable[[Layout], Ranked],
    plan: PartPlan,
    goal: SearchGoal,
    score: Score,
    best: Ranked,
    step_mm: float,
) -> Ranked | None:
    """Return the layout after the first move that helps, gone on with while it does."""
    for steps in _steps(len(best.layout), step_mm):
        found = None
        while True:
            base = found or best
            layout = _all_moved(plan, goal, base.layout, steps)
            tried = None if layout is None else judge(layout)
            if tried is None or not score(tried) < score(base):
                break
            found = tried
        if found is not None:
            return found
    return None


def _steps(feeds: int, step_mm: float) -> Iterator[FloatArray]:
    """Yield the steps of every feed, shape (feeds, 2), for each kind of move."""
    ways = np.array([[-1.0, 0.0], [1.0, 0.0], [0.0, -1.0], [0.0, 1.0]]) * step_mm
    for one in range(feeds):
        for way in ways:
            steps = np.zeros((feeds, 2))
            steps[one] = way
            yield steps
    if feeds > 1:
        for way in ways:
            yield np.tile(way, (feeds, 1))
    for one in range(feeds):
        for other in range(one + 1, feeds):
            for way in ways:
                steps = np.zeros((feeds, 2))
                steps[one], steps[other] = way, -way
                yield steps


def _all_moved(
    plan: PartPlan, goal: SearchGoal, layout: Layout, steps: FloatArray
) -> Layout | None:
    """Return a layout with each feed moved, None where one may not lie there."""
    places = [moved(plan, goal, place, step) for place, step in zip(layout, steps, strict=True)]
    there = tuple(place for place in places if place is not None)
    return there if len(there) == len(layout) else None
