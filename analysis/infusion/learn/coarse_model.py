"""The plan's filling for other values, quick: a coarse grid tells by how much the fine one changes.

Tested in tests/analysis/infusion/learn/test_fit_plan.py.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.ndimage import distance_transform_edt, map_coordinates

from analysis.infusion.learn.knobs import Knob, opened_at, turned
from analysis.part.answer.clock import times_of
from analysis.part.flow.filling import WEIGHT_ROUNDS, Arrivals, Filling, fill_plan, read_off
from analysis.part.flow.front_level import bring_front
from analysis.part.flow.gravity import Gravity, weight_of
from analysis.part.flow.impulse_sweep import CoarseStart, Sweep, coarse_start
from analysis.part.grid.canvas import Canvas, lay_canvas
from analysis.part.grid.network import Links
from analysis.part.plan.part_toml import LEAST_CELLS, PartJob
from analysis.part.plan.plan import PartPlan
from vision.records import FloatArray

SLOPE_CELLS, SLOPE_STEPS = 800, 10
"""Cells of the grid for slopes, about, and steps of each spell with the same feeds open: a filling
then takes a twentieth of a second."""
VALUE_CELLS, VALUE_STEPS = 2000, 16
"""The same for values: the fill time then is within 1 % of the fine grid's, arrival within 3 % in
95 % of the places (tests/analysis/infusion/learn/test_fit_plan.py)."""
NEAR_ENOUGH = 0.05
"""Cells; how closely the front is brought to a feed that waits for it."""
WAY, LEAP, DRY_LEAD = 60.0, 2.0, -0.2
"""Cells: what a front may have to go, how far it is moved at once, and the lead below which it has
not come near."""
MOST_FINER = 2.6
"""How many times finer a grid may be than the one it starts from."""
LATER_STEPS = 0.7
"""Share of the steps that each spell has where feeds open later."""
FIRST = 1e-3
"""Share of the impulse to full within which the ratio of two fillings hangs on the feed's cells."""


@dataclass(frozen=True)
class Anchor:
    """A filling on the plan's own grid, from which the coarse one tells the changes.

    Attributes
    ----------
    at : ndarray of shape (N,), float
        Place of the knobs.
    opens_at : tuple of float
        Impulse at which each feed opens, knobs left out.
    filling : Filling
    """

    at: FloatArray
    opens_at: tuple[float, ...]
    filling: Filling


def bring_near(lead: Callable[[float], float], f_low: float, guess: float) -> float:
    """Find when the front passes a feed that waits for it, from a guess that is a few cells off.

    Parameters
    ----------
    lead, f_low, guess
        As for `analysis.part.flow.front_level.bring_front`, which needs no guess and takes twice
        as many fillings.

    Notes
    -----
    Secants, the first as if the front had `WAY` cells to go, at most `LEAP` cells; where it has not
    come, leaps that grow.
    """
    low, high, slope, before, leap = 0.0, 1.0, WAY / guess, (guess, np.nan), LEAP
    for _ in range(40):
        value = lead(guess)
        if abs(value) < NEAR_ENOUGH or high - low < 1e-5:
            break
        low, high = (guess, high) if value < 0 else (low, guess)
        steeper = (value - before[1]) / (guess - before[0]) if guess != before[0] else np.nan
        measured = before[1] > DRY_LEAD and steeper > WAY / 10
        slope, before = steeper if measured else slope, (guess, value)
        if value < DRY_LEAD:
            off, leap = -leap, 2.0 * leap
        else:
            off = value if measured else min(value, LEAP)
        guess = guess - off / slope
        guess = guess if low < guess < high else (low + high) / 2
    return guess


def fill_at(
    plan: PartPlan,
    knobs: Sequence[Knob],
    at: FloatArray,
    opens_at: Sequence[float],
    near: CoarseFilling | None = None,
) -> Anchor:
    """Return the plan filled on its own grid for a place of the knobs.

    Parameters
    ----------
    plan : PartPlan
    knobs : sequence of Knob
    at : ndarray of shape (N,), float
    opens_at : sequence of float
    near : CoarseFilling, optional
        Of the same place, to start from.
    """
    changed, factors = turned(plan, knobs, at)
    opens = opened_at(knobs, at, opens_at)
    if near is None or plan.slopes:
        filling = fill_plan(changed, opens, factors=factors)
    else:
        start = near.start
        for size in _sizes_between(near.links, changed.cells):
            canvas = lay_canvas(changed, size, factors)
            sweep = Sweep(changed, canvas, opens, near.steps, start, bring=bring_near)
            if size < changed.cells:
                start = coarse_start(sweep.run())
        filling = read_off(changed, sweep.run())
    return Anchor(np.array(at, float), tuple(opens_at), filling)


def _sizes_between(coarse: Links, cells: int) -> list[int]:
    """Return the cells along the longest side of the grids from a coarse one to the plan's own."""
    sizes = [cells]
    while sizes[0] > MOST_FINER * max(coarse.grid.nx, coarse.grid.ny):
        sizes.insert(0, (sizes[0] + 1) // 2)
    return sizes


@dataclass(frozen=True)
class CoarseFilling:
    """A filling on the coarse grid.

    Attributes
    ----------
    at : ndarray of shape (N,), float
        Place of the knobs.
    links : Links
    arrival : ndarray of shape (n,), float
        Impulse at which the front reaches each node.
    total : float
        Impulse at which the part is full.
    steps : int
        Of each spell with the same feeds open.
    start : CoarseStart
        Its steps, for another filling to start from.
    """

    at: FloatArray
    links: Links
    arrival: FloatArray
    total: float
    steps: int
    start: CoarseStart


@dataclass
class CoarseFillings:
    """The plan filled on one coarse grid, each filling started from the nearest one known.

    Parameters
    ----------
    plan : PartPlan
    links : Links
        Of the plan's own grid.
    knobs : sequence of Knob
    opens_at : sequence of float
        Impulse at which each feed opens, where it is no knob.
    about : int
        Cells of the coarse grid.
    steps : int
        Of the whole filling; where feeds open later, each spell has `LATER_STEPS` of it.
    """

    plan: PartPlan
    links: Links
    knobs: Sequence[Knob]
    opens_at: Sequence[float]
    about: int = VALUE_CELLS
    steps: int = VALUE_STEPS
    _known: dict[bytes, CoarseFilling] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        """Choose the coarse grid and the steps of each spell."""
        if any(self.opens_at) or any(feed.opens_when_wet for feed in self.plan.feeds):
            self.steps = round(LATER_STEPS * self.steps)
        longest = max(self.links.grid.nx, self.links.grid.ny)
        cells = round(longest * float(np.sqrt(self.about / max(self.links.cells, 1))))
        self.plan = replace(self.plan, cells=int(np.clip(cells, LEAST_CELLS, longest)))

    def at(self, at: FloatArray) -> CoarseFilling:
        """Return the filling for a place of the knobs."""
        key = np.asarray(at, float).tobytes()
        if key not in self._known:
            self._known[key] = self._fill(np.array(at, float))
        return self._known[key]

    def _fill(self, at: FloatArray) -> CoarseFilling:
        plan, factors = turned(self.plan, self.knobs, at)
        canvas, near = lay_canvas(plan, factors=factors), self._nearest(at)
        start = near and _rescaled(near, at, self.knobs)
        if not plan.slopes:
            return self._swept(plan, canvas, at, start)
        # Weight is reckoned from the arrivals before, round by round, as in `fill_plan`.
        found = start or self._swept(plan, canvas, at, None)
        for _ in range(WEIGHT_ROUNDS):
            weight = weight_of(plan, canvas.links, found.arrival)
            found = self._swept(plan, canvas, at, found, weight)
        return found

    def _nearest(self, at: FloatArray) -> CoarseFilling | None:
        known = list(self._known.values())
        away = [float(np.abs(one.at - at).sum()) for one in known]
        return known[int(np.argmin(away))] if known else None

    def _swept(
        self,
        plan: PartPlan,
        canvas: Canvas,
        at: FloatArray,
        near: CoarseFilling | None,
        weight: Gravity | None = None,
    ) -> CoarseFilling:
        """Return the filling that a sweep gives, started from another one."""
        start = near.start if near else None
        bring = bring_near if near else bring_front
        opens = opened_at(self.knobs, at, self.opens_at)
        sweep = Sweep(plan, canvas, opens, self.steps, start, weight, bring)
        steps = list(sweep.run())
        arrivals = Arrivals(canvas.links.count)
        for step in steps:
            arrivals.take(step)
        total = steps[-1].stage.total
        reached = np.where(
            steps[-1].system.pore_m3 > 0, np.minimum(arrivals.arrival, total), np.inf
        )
        return CoarseFilling(at, canvas.links, reached, total, self.steps, coarse_start(steps))


def _rescaled(near: CoarseFilling, at: FloatArray, knobs: Sequence[Knob]) -> CoarseFilling:
    """Return what a filling nearby would be if all K differed by one factor: slower by as much."""
    zones = np.array([knob.kind == "zone" for knob in knobs])
    slower = float(np.exp(np.mean((near.at - at)[zones])))
    stages = tuple(
        replace(one, start=slower * one.start, length=slower * one.length, total=slower * one.total)
        for one in near.start.stages
    )
    us = tuple(tuple(np.float32(slower) * u for u in stage) for stage in near.start.us)
    start = replace(near.start, stages=stages, us=us)
    return replace(near, arrival=slower * near.arrival, total=slower * near.total, start=start)


@dataclass
class CoarseModel:
    """Arrival on the plan's own grid for any place of the knobs.

    Parameters
    ----------
    job : PartJob
    fillings : CoarseFillings
    anchor : Anchor, optional
        A filling on the plan's own grid: the nearer to what is asked for, the more exact. Without
        one the coarse grid stands for itself.
    """

    job: PartJob
    fillings: CoarseFillings
    anchor: Anchor | None = None
    _known: dict[bytes, FloatArray] = field(init=False, default_factory=dict)

    @property
    def knobs(self) -> Sequence[Knob]:
        """All numbers that may be corrected."""
        return self.fillings.knobs

    def arrival(self, at: FloatArray) -> FloatArray:
        """Return the impulse of arrival at each cell of the plan's grid."""
        key = np.asarray(at, float).tobytes()
        if key not in self._known:
            self._known[key] = self._arrival(self.fillings.at(at))
        return self._known[key]

    def arrival_s(self, at: FloatArray) -> FloatArray:
        """Return the arrival at each cell of the plan's grid in seconds."""
        return times_of(self.job.impulse, self.arrival(at))

    def fill_time_s(self, at: FloatArray) -> float:
        """Return when the part is full."""
        total = self.fillings.at(at).total
        if self.anchor is not None:
            total *= self.anchor.filling.total / self.fillings.at(self.anchor.at).total
        return float(self.job.impulse.time_of(total))

    def _arrival(self, changed: CoarseFilling) -> FloatArray:
        fine, cells = self.fillings.links, changed.links.cells
        if self.anchor is None:
            # The root of arrival is linear along the flow.
            known = np.isfinite(changed.arrival[:cells])
            root = np.sqrt(np.where(known, changed.arrival[:cells], np.nan))
            return _between_cells(changed.links, root, fine) ** 2
        before = self.fillings.at(self.anchor.at)
        ratio = np.exp(_between_cells(changed.links, _log_ratio(before, changed), fine))
        return np.asarray(self.anchor.filling.arrival[: fine.cells] * ratio)


def _log_ratio(before: CoarseFilling, changed: CoarseFilling) -> FloatArray:
    """Return by how much the impulse of arrival changes; NaN where it cannot be told."""
    first, then = (one.arrival[: one.links.cells] for one in (before, changed))
    known = np.isfinite(first) & np.isfinite(then) & (first > FIRST * before.total)
    ratio = np.where(known, then, 1.0) / np.where(known, first, 1.0)
    return np.where(known, np.log(np.maximum(ratio, 1e-6)), np.nan)


def _between_cells(coarse: Links, values: FloatArray, fine: Links) -> FloatArray:
    """Return values of a coarse grid's cells at the cells of a fine one; NaN as the nearest."""
    laid = coarse.field(values)
    nearest = distance_transform_edt(np.isnan(laid), return_distances=False, return_indices=True)
    laid = laid[tuple(nearest)]
    centre = coarse.grid.cells(fine.centre_mm[: fine.cells]) - 0.5
    found = map_coordinates(laid, [centre[:, 1], centre[:, 0]], order=1, mode="nearest")
    return np.asarray(found)
