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
from analysis.part.plan.plan import PartFeed, PartPlan, Place
from analysis.part.plan.search_goal import SearchGoal
from analysis.part.search.candidates import allowed, candidates, way
from analysis.part.search.layout_score import QUICK, Judge, Layout, Ranked
from analysis.part.search.moves import improve
from vision.errors import WetlineError

BATCH = 8
WORTH_A_PROCESS = 1_500_000  # layouts times cells; below it starting processes costs more
STARTS = 8  # layouts that are moved, at least

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
    few, far enough from each other, are moved for as long as that helps (`moves.improve`). All is
    judged on one grid with one factorisation per process, and nothing is drawn at random.
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

    def by_score(one: Ranked) -> tuple[float, float]:
        return score(one, goal, target)

    starts = distinct(sorted(ranked, key=by_score), plan, max(STARTS, 2 * goal.keep))
    progress(f"moving the feeds of the best {len(starts)}")
    judge = Judge(plan, lay_canvas(plan, coarse), QUICK).judge
    moved = [improve(judge, plan, goal, by_score, one.layout) for one in starts]
    moved = distinct(sorted(moved, key=by_score), plan, goal.keep)
    progress(f"judging the best {len(moved)} on the full grid")
    return sorted(rank_layouts(plan, [one.layout for one in moved]), key=by_score)


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
    """Return whether a line runs along x or along y."""
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


def distinct(ranked: Sequence[Ranked], plan: PartPlan, keep: int) -> list[Ranked]:
    """Keep the first of layouts that differ by less than a twentieth of the part."""
    size = float(np.ptp(plan.outline_mm, axis=0).max())
    kept: list[Ranked] = []
    for one in ranked:
        mine = sorted(tuple(place.points_mm.mean(axis=0)) for place in one.layout)
        for other in kept:
            theirs = sorted(tuple(place.points_mm.mean(axis=0)) for place in other.layout)
            apart = np.abs(np.array(mine) - np.array(theirs)).max()
            same_way = [way(p) for p in one.layout] == [way(p) for p in other.layout]
            if apart < 0.05 * size and same_way:
                break
        else:
            kept.append(one)
        if len(kept) == keep:
            break
    return kept


def with_layout(plan: PartPlan, layout: Layout) -> PartPlan:
    """Return the plan with its feeds replaced by a layout, all open from the start."""
    feeds = tuple(PartFeed(place, name=f"feed {k}") for k, place in enumerate(layout, start=1))
    return replace(plan, feeds=feeds)
