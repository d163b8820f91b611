"""How a part fills: when the front reaches each cell, what wets last, and where air is trapped."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.ndimage import distance_transform_edt, maximum_filter

from analysis.part.flow.front_level import level
from analysis.part.flow.impulse_sweep import STEPS, Stage, Step, sweep_part
from analysis.part.flow.trapped import TrappedAir, find_trapped
from analysis.part.grid.canvas import lies_on
from analysis.part.grid.network import Links
from analysis.part.plan.plan import PartPlan, Vent
from vision.records import BoolArray, FloatArray

SPOTS = 5
TOLD_EVERY_S = 3.0
ACROSS = 0.6  # weight of the way between two fronts against the slope in time
WEIGHT_ROUNDS = 2  # fillings of a sloping part, each from the arrivals of the one before


@dataclass(frozen=True)
class Filling:
    """The whole filling, in terms of the driving impulse.

    Attributes
    ----------
    links : Links
    arrival : ndarray of shape (n,)
        Impulse at which the front reaches each cell's centre; infinity where it never does.
    total : float
        Impulse at which the part is full, from one linear solve.
    sweep_total : float
        The same from the last step of the sweep.
    last_spot_mm : tuple of (float, float)
        Where the part fills last.
    spots_mm : tuple of (float, float, float)
        The last places of their neighbourhood: x, y and impulse, latest first.
    step_impulse, step_injected_m3, step_held_m3 : ndarray of shape (R,)
    step_solves : ndarray of shape (R,), int
    mass_error : float
        Greatest difference between what came in and what the cells hold, as a share.
    stages : tuple of Stage
    trapped : tuple of TrappedAir
    in_trapped : ndarray of shape (n,), bool
        Cells that lie in one of them; their arrival is that with a vent there.
    """

    links: Links
    arrival: FloatArray
    total: float
    sweep_total: float
    last_spot_mm: tuple[float, float]
    spots_mm: tuple[tuple[float, float, float], ...]
    step_impulse: FloatArray
    step_injected_m3: FloatArray
    step_held_m3: FloatArray
    step_solves: FloatArray
    mass_error: float
    stages: tuple[Stage, ...]
    trapped: tuple[TrappedAir, ...]
    in_trapped: BoolArray

    @property
    def arrival_map(self) -> FloatArray:
        """Arrival impulse laid out as (ny, nx); NaN outside the part."""
        return self.links.field(self.arrival)


@dataclass
class Arrivals:
    """Reads the arrival of the front in each cell off the steps as they come.

    Notes
    -----
    In a stage that began at impulse s, sqrt(u) is linear in sqrt(theta - s) in a cell just wetted
    by a straight front. So arrival is where the line through the two steps after it meets zero;
    or, looked at across, the share of the way between the fronts of the steps before and after.
    The first misses where the front changes its pace, the second where it bends; what is taken
    lies between the two (`ACROSS`), and between the steps.
    """

    count: int
    arrival: FloatArray = field(init=False)
    stage: Stage | None = None
    root: float = 0.0
    level: FloatArray = field(init=False)
    pending: BoolArray = field(init=False)
    earlier: float = 0.0
    weight: float = 0.0  # of the way between the fronts, for what is pending

    def __post_init__(self) -> None:
        """Start with a dry part."""
        self.arrival = np.full(self.count, np.inf)
        self.level = np.full(self.count, -0.5)
        self.pending = np.zeros(self.count, bool)

    def take(self, step: Step) -> None:
        """Take the next step."""
        stage, system = step.stage, step.system
        if stage is not self.stage:
            # What is pending from the stage before keeps its place.
            self.root, self.stage, self.pending = 0.0, stage, np.zeros(self.count, bool)
        root, now = float(np.sqrt(max(step.since, 0.0))), level(system, step.state)
        self._extrapolate(root, now)
        fresh = (now >= 0) & ~np.isfinite(self.arrival)
        partly = fresh & (self.level > -0.49)
        gap = np.maximum(now - self.level, 1e-12)
        between = self.root + (root - self.root) * np.clip(-self.level / gap, 0.0, 1.0)
        self.arrival[partly] = stage.start + between[partly] ** 2
        self.pending = fresh & ~partly
        # Before the first step there is no front to measure the way from.
        self.weight = ACROSS if bool((self.level[: system.links.cells] >= 0).any()) else 0.0
        across = self.root + (root - self.root) * self._share_of_way(system.links, now)
        self.arrival[self.pending] = stage.start + across[self.pending] ** 2
        self.earlier, self.root, self.level = self.root, root, now

    def _share_of_way(self, links: Links, now: FloatArray) -> FloatArray:
        """Return how far each cell lies from the front before to the front now, 0 to 1."""
        wet = self.level[: links.cells] >= 0
        if not (wet.any() and self.pending.any()):
            return np.full(self.count, 0.5)
        dry = links.field((~np.append(wet, np.ones(self.count - links.cells, bool))), 1.0)
        away, (row, col) = distance_transform_edt(dry, return_indices=True)
        ahead = (away - links.field(self.level, 0.0)[row, col])[links.number >= 0]
        ahead = np.maximum(np.append(ahead, np.ones(self.count - links.cells)), 0.05)
        return ahead / (ahead + np.maximum(now, 0.0))

    def _extrapolate(self, root: float, now: FloatArray) -> None:
        """Draw the arrivals of the step before to where the slope that this one shows puts them."""
        cells = np.flatnonzero(self.pending)
        if not cells.size or self.stage is None:
            return
        slope = np.maximum(now[cells] - self.level[cells], 1e-12) / max(root - self.root, 1e-300)
        place = np.clip(self.root - self.level[cells] / slope, self.earlier, self.root)
        across = np.sqrt(np.maximum(self.arrival[cells] - self.stage.start, 0.0))
        self.arrival[cells] = self.stage.start + _between(across, place, self.weight) ** 2


def _between(first: FloatArray, second: FloatArray, weight: float) -> FloatArray:
    """Return what lies between two values, `weight` being that of the first."""
    return np.asarray(weight * first + (1.0 - weight) * second)


def _middle(points_mm: FloatArray) -> tuple[float, float]:
    """Return the point nearest to the mean of some points."""
    away = np.hypot(*(points_mm - points_mm.mean(axis=0)).T)
    x, y = points_mm[int(np.argmin(away))]
    return float(x), float(y)


def fill_plan(
    plan: PartPlan,
    opens_at: Sequence[float] | None = None,
    steps: int = STEPS,
    coarse_to_fine: bool = True,
    progress: Callable[[str], None] = lambda text: None,
    factors: Sequence[float] = (),
) -> Filling:
    """Fill a part and read off what matters.

    Parameters
    ----------
    plan : PartPlan
        The part.
    opens_at : sequence of float, optional
        Impulse at which each feed opens (see `sweep_part`); by default all from the start.
    steps : int
        Rungs of each stage.
    coarse_to_fine : bool
        Start each grid from a coarser one; the answer is the same without.
    progress : callable
        Told what goes on.
    factors : sequence of float
        Factor on the permeability of each stack of the plan.

    Raises
    ------
    WetlineError
        If a feed misses the part or a piece of the part cannot be reached.
    """
    starts = [0.0] * len(plan.feeds) if opens_at is None else list(opens_at)
    sweep = sweep_part(plan, starts, steps, coarse_to_fine, progress, factors)
    fill = read_off(plan, told(sweep, progress))
    for _ in range(WEIGHT_ROUNDS if plan.slopes else 0):
        progress("with the weight of the resin")
        again = sweep_part(plan, starts, steps, coarse_to_fine, progress, factors, fill.arrival)
        fill = read_off(plan, told(again, progress))
    return fill


def told(
    sweep: Iterator[Step],
    progress: Callable[[str], None],
    clock_s: Callable[[], float] = time.monotonic,
) -> Iterator[Step]:
    """Yield the steps of a sweep and tell now and then how long it will take yet.

    A step costs about as much as is wet, so the work done goes with the square of the wet share.
    What comes before the first step is not counted: it is no measure of the steps.
    """
    start = last = clock_s()
    first = None
    for step in sweep:
        yield step
        now = clock_s()
        share = step.held_m3 / float(step.system.pore_m3.sum())
        if first is None:
            first, start = share, now
        elif now - last >= TOLD_EVERY_S and share > first:
            left = (now - start) * (1.0 - share**2) / (share**2 - first**2)
            progress(f"{100 * share:.0f} % filled, about {max(left, 1.0):.0f} s left")
            last = now


def read_off(plan: PartPlan, sweep: Iterator[Step]) -> Filling:
    """Return what matters of a sweep, read off step by step."""
    arrivals: Arrivals | None = None
    log: list[tuple[float, float, float, int]] = []
    stages: list[Stage] = []
    for step in sweep:
        if arrivals is None:
            arrivals = Arrivals(step.system.links.count)
        arrivals.take(step)
        log.append((step.impulse, step.injected_m3, step.held_m3, step.state.solves))
        if not stages or step.stage is not stages[-1]:
            stages.append(step.stage)
    assert arrivals is not None
    return _filling(tuple(stages), arrivals.arrival, log, step, plan)


def _filling(
    stages: tuple[Stage, ...],
    arrival: FloatArray,
    log: list[tuple[float, float, float, int]],
    end: Step,
    plan: PartPlan,
) -> Filling:
    system, stage = end.system, end.stage
    links = system.links
    # In the last stage u = theta - w everywhere: the least u tells when the last cell filled.
    filling = system.pore_m3 > 0
    w = end.since - end.state.u
    latest = float(w[filling].max())
    ties = np.flatnonzero(filling & (w >= latest * (1 - 1e-7)))
    impulse, injected, held, solves = (np.array(column) for column in zip(*log, strict=True))
    reached = np.where(filling, np.minimum(arrival, stage.total), np.inf)
    vents = [lies_on(links, vent.place) for vent in plan.vents]
    trapped, inside = find_trapped(links, reached, vents)
    return Filling(
        links=links,
        arrival=reached,
        total=stage.total,
        sweep_total=stage.start + latest,
        last_spot_mm=_middle(links.centre_mm[ties]),
        spots_mm=last_spots(links, reached),
        step_impulse=impulse,
        step_injected_m3=injected,
        step_held_m3=held,
        step_solves=solves,
        mass_error=float(np.max(np.abs(injected - held) / np.maximum(held, 1e-300))),
        stages=stages,
        trapped=trapped,
        in_trapped=inside,
    )


def last_spots(links: Links, arrival: FloatArray) -> tuple[tuple[float, float, float], ...]:
    """Return the places that wet later than all around them, latest first."""
    field_ = links.field(np.where(np.isfinite(arrival), arrival, -1.0), -1.0)
    size = max(3, int(0.08 * max(field_.shape)) | 1)
    top = (field_ == maximum_filter(field_, size, mode="nearest")) & (field_ > 0)
    row, col = np.nonzero(top)
    order = np.argsort(-field_[row, col], kind="stable")
    spots: list[tuple[float, float, float]] = []
    apart = 0.08 * max(
        links.grid.nx * links.grid.dx_mm,
        links.grid.ny * links.grid.dy_mm,
    )
    for k in order:
        x, y = float(links.grid.x_mm[col[k]]), float(links.grid.y_mm[row[k]])
        if all(np.hypot(x - a, y - b) > apart for a, b, _ in spots):
            spots.append((x, y, float(field_[row[k], col[k]])))
        if len(spots) == SPOTS:
            break
    return tuple(spots)


def trapped_under(fill: Filling, vents: Sequence[Vent]) -> tuple[tuple[TrappedAir, ...], BoolArray]:
    """Find the air that is trapped in the same filling under other vents."""
    return find_trapped(fill.links, fill.arrival, [lies_on(fill.links, v.place) for v in vents])
