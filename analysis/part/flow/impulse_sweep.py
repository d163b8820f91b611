"""The sweep of impulses: one obstacle problem per step, coarse grid to fine, stage by stage.

Tested in tests/analysis/part/flow/test_filling.py.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import scipy.sparse as sparse

from analysis.part.flow.front_level import bring_front, level
from analysis.part.flow.gravity import Gravity, total_with_weight, weight_of
from analysis.part.flow.grid_transfer import carry
from analysis.part.flow.multigrid import inner
from analysis.part.flow.obstacle import State, fill_state, injected_m3
from analysis.part.flow.system import System, fill_impulse, open_feeds
from analysis.part.grid.canvas import Canvas, feed_links, lay_canvas, points_on
from analysis.part.grid.network import Links
from analysis.part.plan.plan import PartFeed, PartPlan
from vision.records import BoolArray, FloatArray

STEPS = 24
LEAST_STEPS = 14  # of each stage, where feeds open later
COARSE_CELLS = 24  # the coarsest grid has about this many cells along the longest side
GROWTH = 4.5  # a grid of half the cell size takes so many times as long
WORTH_TELLING_S = 10.0
NEARLY = 1e-9  # the last step lies this share beyond the total, so that no cell is left at 0


@dataclass(frozen=True)
class Stage:
    """A spell during which the same feeds are open.

    Attributes
    ----------
    start : float
        Impulse at which it begins.
    length : float
        Impulse it lasts.
    feeds : tuple of int
        Which feeds of the plan are open.
    total : float
        Impulse, from the very start, at which the part would be full with these feeds alone.
    last_cell : int
        The last cell to fill in that case.
    """

    start: float
    length: float
    feeds: tuple[int, ...]
    total: float
    last_cell: int


@dataclass(frozen=True)
class Step:
    """The part at one step of the sweep.

    Attributes
    ----------
    stage : Stage
        The stage that it belongs to; the same object for every step of that stage.
    system : System
        The filling problem of that stage.
    impulse : float
        Since the resin started.
    since : float
        Since this stage's feeds opened.
    state : State
        `state.u` counts from the stage's start, `state.fill` from the very start.
    injected_m3, held_m3 : float
        Volume through the feeds, and in the cells, since the very start.
    """

    stage: Stage
    system: System
    impulse: float
    since: float
    state: State
    injected_m3: float
    held_m3: float


@dataclass(frozen=True)
class CoarseStart:
    """What a coarser grid found, to start the next one from.

    Attributes
    ----------
    links : Links
        Of the coarser grid.
    stages : tuple of Stage
    fills, us : tuple of tuple of ndarray
        Fill and u of each cell, by stage and step, no sharper than a start needs.
    """

    links: Links
    stages: tuple[Stage, ...]
    fills: tuple[tuple[FloatArray, ...], ...]
    us: tuple[tuple[FloatArray, ...], ...]


def coarse_start(steps: Iterable[Step]) -> CoarseStart:
    """Collect a sweep, to start a finer grid from."""
    stages: list[Stage] = []
    fills: list[list[FloatArray]] = []
    us: list[list[FloatArray]] = []
    for step in steps:
        links = step.system.links
        if not stages or step.stage is not stages[-1]:
            stages.append(step.stage)
            fills.append([])
            us.append([])
        fills[-1].append(step.state.fill.astype(np.float16))
        us[-1].append(step.state.u.astype(np.float32))
    return CoarseStart(links, tuple(stages), tuple(map(tuple, fills)), tuple(map(tuple, us)))


def step_shares(count: int, to_the_end: bool) -> FloatArray:
    """Return the steps of a stage as shares of its impulse.

    The front of an edge feed moves as the square root of the impulse, so the steps are even in
    that; where the part fills up, the last ones draw together, because the last spots close fast.

    Examples
    --------
    >>> step_shares(4, False)
    array([0.0625, 0.25  , 0.5625, 1.    ])
    """
    if not to_the_end:
        return np.asarray((np.arange(1, count + 1) / count) ** 2)
    closing = max(2, count // 6)
    early = (0.975 * np.arange(1, count - closing + 1) / (count - closing)) ** 2
    late = 1.0 - (1.0 - early[-1]) * 0.42 ** np.arange(1, closing + 1)
    late[-1] = 1.0 + NEARLY
    return np.concatenate([early, late])


def level_sizes(cells: int, coarse_to_fine: bool = True) -> list[int]:
    """Return the cells along the longest side of each grid, coarse to fine.

    Examples
    --------
    >>> level_sizes(200)
    [25, 50, 100, 200]
    """
    sizes = [cells]
    while coarse_to_fine and sizes[0] >= 2 * COARSE_CELLS:
        sizes.insert(0, (sizes[0] + 1) // 2)
    return sizes


@dataclass(frozen=True)
class Sweep:
    """The filling of a part on one grid, step by step.

    Attributes
    ----------
    plan : PartPlan
    canvas : Canvas
    opens_at : sequence of float
        Impulse at which each feed opens.
    steps : int
        Of each stage.
    coarse : CoarseStart or None
        Where to start from.
    gravity : Gravity or None
        None where the part lies level.
    bring : callable
        Finds when the front reaches a feed that waits for it, as `bring_front` does.
    """

    plan: PartPlan
    canvas: Canvas
    opens_at: Sequence[float]
    steps: int
    coarse: CoarseStart | None
    gravity: Gravity | None = None
    bring: Callable[[Callable[[float], float], float, float], float] = bring_front

    @cached_property
    def transfer(self) -> Any:
        """The matrix that carries values from the coarser grid to this one."""
        if self.coarse is None:
            return None
        links, coarse = self.canvas.links, self.coarse.links
        if (links.grid, links.count) == (coarse.grid, coarse.count):
            return sparse.eye_array(links.count, format="csr")  # channels are carried too
        return carry(coarse, links.centre_mm)

    def run(self) -> Iterator[Step]:
        """Yield step after step, stage after stage, until the part is full."""
        lost = self._lost()
        fill: FloatArray = np.zeros(self.canvas.links.count)
        start, spent, waiting, number = 0.0, 0.0, self._first(), 0
        opened = [i for i in range(len(self.plan.feeds)) if i not in waiting]
        while True:
            system = open_feeds(self.canvas, [self.plan.feeds[i] for i in opened])
            pores = np.where(system.pore_m3 > 0, self.canvas.links.pore_m3 - lost, 0.0)
            system = replace(system, pore_m3=pores)
            left = pores * (1 - fill)
            total, last = self._full(system, left, start)
            length, joins = self._next(system, left, fill, start, total, waiting, number)
            stage = Stage(start, length, tuple(opened), start + total, last)
            for step in self._stage(system, stage, left, fill, spent, not joins, number):
                yield step
            if not joins:
                return
            fill, spent = step.state.fill, step.injected_m3
            start += length
            number += 1
            opened, waiting = opened + joins, [i for i in waiting if i not in joins]

    def _full(self, system: System, left: FloatArray, start: float) -> tuple[float, int]:
        """Return the impulse to full, since the stage's start, and the last node to fill."""
        if self.gravity is not None:
            return total_with_weight(system, left, self.gravity, start)
        w = fill_impulse(system, left)
        last = int(np.argmax(w))
        return float(w[last]), last

    def _open(self, system: System, left: FloatArray, since: float, start: float) -> FloatArray:
        """Return the pores left to the feeds once weight has brought in its share."""
        if self.gravity is None:
            return left
        return left - self.gravity.inflow_m3(system, since, start)

    def _first(self) -> list[int]:
        feeds = self.plan.feeds
        return [i for i, feed in enumerate(feeds) if feed.opens_when_wet or self.opens_at[i] > 0]

    def _lost(self) -> FloatArray:
        lost = np.zeros(self.canvas.links.count)
        for feed in self.plan.feeds:
            if not feed.place.is_line:
                lost = np.maximum(lost, feed_links(self.canvas, feed.place).lost_m3)
        return lost

    def _next(
        self,
        system: System,
        left: FloatArray,
        fill: FloatArray,
        start: float,
        total: float,
        waiting: list[int],
        number: int,
    ) -> tuple[float, list[int]]:
        """Return the length of this stage and the feeds that open at its end, if any do."""
        when: dict[int, float] = {}
        for i in waiting:
            feed = self.plan.feeds[i]
            if feed.opens_when_wet:
                when[i] = self._reached(system, left, fill, feed, start, total, number)
            else:
                when[i] = max(self.opens_at[i] - start, 0.0)
        soonest = min(when.values(), default=np.inf)
        if not soonest < total * (1 - 1e-6):
            return total, []
        return soonest, [i for i in waiting if when[i] <= soonest + 1e-9 * total]

    def _reached(
        self,
        system: System,
        left: FloatArray,
        fill: FloatArray,
        feed: PartFeed,
        start: float,
        total: float,
        number: int,
    ) -> float:
        """Find the impulse at which the front has passed the whole of a feed still shut."""
        spots = feed.place.points_mm
        spots = points_on(system.links, spots) if feed.place.is_line else spots
        there = carry(system.links, spots)
        if bool((there @ fill >= 1 - 1e-6).all()):
            return 0.0
        held = fill >= 1 - 1e-9
        wet, u = self._guess(number, -1, held, np.zeros(len(fill)))

        def lead(root: float) -> float:
            nonlocal wet, u
            since = root * root * total
            state = fill_state(system, since, self._open(system, left, since, start), wet, u, held)
            wet, u = state.wet, state.u
            return float((there @ level(system, state)).min())

        guess = 0.7
        if self.coarse is not None and number < len(self.coarse.stages):
            guess = min(0.999, np.sqrt(self.coarse.stages[number].length / total))
        guess = self.bring(lead, float((there @ fill).min()) - 0.5, guess)
        return guess * guess * total

    def _stage(
        self,
        system: System,
        stage: Stage,
        left: FloatArray,
        fill: FloatArray,
        spent: float,
        to_the_end: bool,
        number: int,
    ) -> Iterator[Step]:
        """Solve the steps of one stage."""
        wet = fill >= 1 - 1e-9
        u: FloatArray = np.zeros(len(fill))
        off: FloatArray = np.zeros(len(fill))
        for k, share in enumerate(step_shares(self.steps, to_the_end)):
            since = float(share) * stage.length
            wet_guess, u_guess = self._guess(number, k, wet, u)
            pores = self._open(system, left, since, stage.start)
            # What the coarser grid was off by at the step before, it is off by about now too.
            state = fill_state(system, since, pores, wet_guess, u_guess + off, wet)
            wet, u = state.wet, state.u
            off = np.where(wet, u - u_guess, 0.0)
            volume = spent + injected_m3(system, state)
            if self.gravity is not None:
                volume -= float(self.gravity.from_feeds_m3(system, since).sum())
            held = inner(system.pore_m3, state.fill)
            yield Step(stage, system, stage.start + since, since, state, volume, held)

    def _guess(
        self, number: int, k: int, wet: BoolArray, u: FloatArray
    ) -> tuple[BoolArray, FloatArray]:
        coarse = self.coarse
        if coarse is None or number >= len(coarse.stages) or len(coarse.fills[number]) <= k:
            return wet, u
        filled = self.transfer @ coarse.fills[number][k].astype(np.float32)
        return wet | (filled > 0.5), self.transfer @ coarse.us[number][k].astype(float)


def sweep_part(
    plan: PartPlan,
    opens_at: Sequence[float],
    steps: int = STEPS,
    coarse_to_fine: bool = True,
    progress: Callable[[str], None] = lambda text: None,
    factors: Sequence[float] = (),
    arrival: FloatArray | None = None,
) -> Iterator[Step]:
    """Fill a part step by step, each grid started from the coarser one.

    Parameters
    ----------
    plan : PartPlan
        The part.
    opens_at : sequence of float
        Impulse at which each feed opens; 0 from the start. Ignored for feeds that open when wet.
    steps : int
        In all; a plan with later feeds has at least `LEAST_STEPS` in each stage.
    coarse_to_fine : bool
        Start each grid from a coarser one.
    progress : callable
        Told what goes on.
    factors : sequence of float
        Factor on the permeability of each stack.
    arrival : ndarray of shape (n,), optional
        Impulse at which each node of the finest grid about wets; with it the weight of the resin
        on a sloping part is reckoned with, on that grid alone.

    Yields
    ------
    step : Step
        Of the finest grid, in order.
    """
    coarse: CoarseStart | None = None
    feeds = zip(plan.feeds, opens_at, strict=True)
    later = sum(feed.opens_when_wet or at > 0 for feed, at in feeds)
    steps = steps if later == 0 else max(min(steps, LEAST_STEPS), steps // (1 + later))
    sizes = level_sizes(plan.cells, coarse_to_fine)
    began = time.monotonic()
    for place, size in enumerate(sizes):
        spent_s, began = time.monotonic() - began, time.monotonic()
        left_s = spent_s * sum(GROWTH**k for k in range(1, len(sizes) - place + 1))
        left = f", about {left_s:.0f} s left" if place and left_s > WORTH_TELLING_S else ""
        progress(f"filling on {size} cells along the longest side{left}")
        canvas = lay_canvas(plan, size, factors)
        weight = None
        if size == sizes[-1] and arrival is not None:
            weight = weight_of(plan, canvas.links, arrival)
        grid = Sweep(plan, canvas, opens_at, steps, coarse, weight)
        if size == sizes[-1]:
            yield from grid.run()
        else:
            coarse = coarse_start(grid.run())
