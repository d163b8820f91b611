"""Searching for a better layout of feeds, each judged by one linear solve."""

from __future__ import annotations

import itertools
import os
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

import numpy as np

from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.outline import inside, line_distance_mm
from analysis.part.plan.plan import PartFeed, PartPlan, Place
from analysis.part.plan.search_goal import SearchGoal
from analysis.part.search.layout_score import QUICK, Judge, Layout, Ranked
from vision.errors import WetlineError
from vision.records import BoolArray, FloatArray

COARSE_CANDIDATES = 9
LINES_PER_WAY = 12
STEPS_MM_SHARE = (0.08, 0.04, 0.02, 0.01)
BATCH = 8
WORTH_A_PROCESS = 1_500_000  # layouts times cells; below it starting processes costs more
CLEAR = 0.04
"""A feed keeps this share of the part's longest side away from every vent."""


_judge: Judge | None = None


def _start_worker(plan: PartPlan, cells: int) -> None:
    """Set a worker process up with its own factorisation."""
    global _judge
    _judge = Judge(plan, lay_canvas(plan, cells), QUICK)


def _work(layouts: Sequence[Layout]) -> list[Ranked]:
    assert _judge is not None
    return [_judge.judge(layout) for layout in layouts]


def rank_layouts(
    plan: PartPlan,
    layouts: Sequence[Layout],
    cells: int | None = None,
    workers: int | None = None,
) -> list[Ranked]:
    """Judge layouts of feeds, on all cores.

    Parameters
    ----------
    plan : PartPlan
        The part.
    layouts : sequence of tuple of Place
        Each one the places of its feeds.
    cells : int, optional
        Along the longest side; by default the plan's.
    workers : int, optional
        Processes; by default one per core, and none for a few layouts.

    Returns
    -------
    ranked : list of Ranked
        In the order of `layouts`.
    """
    cells = cells or plan.cells
    count = min(workers or os.cpu_count() or 1, max(1, len(layouts) // BATCH))
    canvas = lay_canvas(plan, cells)
    small = len(layouts) * canvas.links.count < WORTH_A_PROCESS and workers is None
    if count == 1 or small:
        judge = Judge(plan, canvas, QUICK)
        return [judge.judge(layout) for layout in layouts]
    share = -(-len(layouts) // count)
    batches = [list(layouts[k : k + share]) for k in range(0, len(layouts), share)]
    # "spawn" is what Windows and macOS do; using it everywhere keeps one behaviour.
    with ProcessPoolExecutor(
        count, mp_context=get_context("spawn"), initializer=_start_worker, initargs=(plan, cells)
    ) as pool:
        return list(itertools.chain.from_iterable(pool.map(_work, batches)))


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


def score(ranked: Ranked, goal: SearchGoal, target: float | None) -> tuple[float, float]:
    """Return what is to be least: fill time, nearness to a target, or how late the vents are."""
    first = ranked.total if target is None else abs(np.log(ranked.total / target))
    if goal.wish == "vents last":
        return round(ranked.vent_lag, 3), float(first)
    return float(first), ranked.vent_lag


def search(
    plan: PartPlan,
    goal: SearchGoal,
    target: float | None = None,
    progress: Callable[[str], None] = lambda text: None,
) -> list[Ranked]:
    """Search for the best layouts of one to three feeds.

    Parameters
    ----------
    plan : PartPlan
        The part.
    goal : SearchGoal
        What is asked for.
    target : float, optional
        Impulse to come near to, instead of the least.
    progress : callable
        Told what goes on.

    Returns
    -------
    ranked : list of Ranked
        The best first, at most ``goal.keep``; no two nearly the same.

    Notes
    -----
    Every pair (or triple, from the best places) of a coarse set of places is tried, then the best
    few are moved in steps that halve, feed by feed, for as long as that helps: a pattern search
    (Hooke and Jeeves, J. ACM 8, 212-229, 1961, from memory). All is judged on one grid with one
    factorisation per process, and nothing is drawn at random.
    """
    places = candidates(plan, goal)
    if not places:
        raise WetlineError(
            "[search] allowed_mm: leaves no room for a feed: enlarge an area or take it out"
        )
    coarse = max(40, min(plan.cells, 80))
    progress(f"judging {len(places)} places for one feed")
    single = rank_layouts(plan, [(place,) for place in places], coarse)
    pool = [*_given(plan, goal), *_combined(single, places, goal, target)]
    progress(f"judging {len(pool)} layouts")
    ranked = rank_layouts(plan, pool, coarse)
    best = distinct(sorted(ranked, key=lambda r: score(r, goal, target)), plan, 2 * goal.keep)
    progress("moving the best ones")
    judge = Judge(plan, lay_canvas(plan, coarse), QUICK)
    moved = [_improve(judge, plan, goal, target, one) for one in best]
    moved = distinct(sorted(moved, key=lambda r: score(r, goal, target)), plan, goal.keep)
    progress(f"judging the best {len(moved)} on the full grid")
    final = rank_layouts(plan, [r.layout for r in moved])
    return sorted(final, key=lambda r: score(r, goal, target))


def _given(plan: PartPlan, goal: SearchGoal) -> list[Layout]:
    """Return the plan's own feeds as a layout to move, where they are of the kind wished for."""
    own = tuple(feed.place for feed in plan.feeds)
    lines = goal.kind == "line"
    if len(own) != goal.feeds or any(place.is_line != lines for place in own):
        return []
    straight = all(len(p.points_mm) <= 2 and (not lines or _straight(p)) for p in own)
    middles = np.array([place.points_mm.mean(axis=0) for place in own])
    return [own] if straight and allowed(plan, goal, middles).all() else []


def _straight(place: Place) -> bool:
    """Tell a line that runs along x or along y."""
    return bool(np.any(np.abs(np.diff(place.points_mm, axis=0)) < 1e-6))


def _combined(
    single: list[Ranked], places: list[Place], goal: SearchGoal, target: float | None
) -> Iterable[Layout]:
    """Combine places into layouts of as many feeds as wished."""
    if goal.feeds == 1:
        return ((place,) for place in places)
    room = 24 if goal.feeds == 2 else 14
    if len(places) > room:
        # Keep places spread over the part: a feed that is poor alone may be good as a second.
        picks = np.unique(np.linspace(0, len(places) - 1, room).round().astype(int))
        best = np.argsort([score(r, replace(goal, wish="fastest"), None)[0] for r in single])[:6]
        places = [places[k] for k in sorted({*picks.tolist(), *best.tolist()})]
    return itertools.combinations(places, goal.feeds)


def _improve(
    judge: Judge, plan: PartPlan, goal: SearchGoal, target: float | None, start: Ranked
) -> Ranked:
    """Move the feeds of a layout while that helps."""
    size = float(np.ptp(plan.outline_mm, axis=0).max())
    best = judge.judge(start.layout)
    for share in STEPS_MM_SHARE:
        better = True
        rounds = 0
        while better and rounds < 6:
            better, rounds = False, rounds + 1
            for k, place in enumerate(best.layout):
                for other in _nudged(plan, goal, place, share * size):
                    layout = (*best.layout[:k], other, *best.layout[k + 1 :])
                    tried = judge.judge(layout)
                    if score(tried, goal, target) < score(best, goal, target):
                        best, better = tried, True
                        break
    return best


def _nudged(plan: PartPlan, goal: SearchGoal, place: Place, step_mm: float) -> list[Place]:
    """Return a place moved by a step each way, where that is allowed."""
    points = place.points_mm
    if place.is_line:
        axis = 0 if abs(points[1, 0] - points[0, 0]) < abs(points[1, 1] - points[0, 1]) else 1
        moved = [line_at(plan, goal, axis, float(points[0, axis] + s)) for s in (-step_mm, step_mm)]
        return [line for line in moved if line is not None]
    steps = np.array([[-1, 0], [1, 0], [0, -1], [0, 1]]) * step_mm
    spots = points[0] + steps
    return [replace(place, points_mm=spot[None]) for spot in spots[allowed(plan, goal, spots)]]


def distinct(ranked: Sequence[Ranked], plan: PartPlan, keep: int) -> list[Ranked]:
    """Keep the first of layouts that differ by less than a twentieth of the part."""
    size = float(np.ptp(plan.outline_mm, axis=0).max())
    kept: list[Ranked] = []
    for one in ranked:
        mine = sorted(tuple(place.points_mm.mean(axis=0)) for place in one.layout)
        for other in kept:
            theirs = sorted(tuple(place.points_mm.mean(axis=0)) for place in other.layout)
            apart = np.abs(np.array(mine) - np.array(theirs)).max()
            same_way = [_way(p) for p in one.layout] == [_way(p) for p in other.layout]
            if apart < 0.05 * size and same_way:
                break
        else:
            kept.append(one)
        if len(kept) == keep:
            break
    return kept


def _way(place: Place) -> int:
    """Tell lines along y (0) from lines along x (1) and points (2)."""
    if not place.is_line:
        return 2
    run = np.abs(place.points_mm[-1] - place.points_mm[0])
    return 0 if run[0] < run[1] else 1


def with_layout(plan: PartPlan, layout: Layout) -> PartPlan:
    """Return the plan with its feeds replaced by a layout, all open from the start."""
    feeds = tuple(PartFeed(place, name=f"feed {k}") for k, place in enumerate(layout, start=1))
    return replace(plan, feeds=feeds)
