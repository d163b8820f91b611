"""How a part fills: when the front reaches each cell, what wets last, and where air is trapped."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.ndimage import maximum_filter
from scipy.sparse.csgraph import connected_components

from analysis.part.flow.front_level import level
from analysis.part.flow.impulse_sweep import RUNGS, Rung, Stage, climb_ladder
from analysis.part.flow.network import Links
from analysis.part.flow.system import System, near
from analysis.part.plan.plan import Plan
from vision.records import BoolArray, FloatArray

POCKET_SHARE = 1e-3
"""A dry area cut off from every vent is told of when it is larger than this share of the part."""
POCKET_CELLS = 4
SPOTS = 5


@dataclass(frozen=True)
class Pocket:
    """A dry area cut off from every open vent.

    Attributes
    ----------
    x_mm, y_mm : float
        Its middle (a cell of it).
    area_mm2 : float
        When it was cut off.
    impulse : float
        At which it was cut off, to within a rung.
    """

    x_mm: float
    y_mm: float
    area_mm2: float
    impulse: float


@dataclass(frozen=True)
class Fill:
    """The whole filling, in terms of the driving impulse.

    Attributes
    ----------
    links : Links
    arrival : ndarray of shape (n,)
        Impulse at which the front reaches each cell's centre; infinity where it never does.
    total : float
        Impulse at which the part is full, from one linear solve.
    ladder_total : float
        The same from the last rung of the ladder.
    last_spot_mm : tuple of (float, float)
        Where the part fills last.
    spots_mm : tuple of (float, float, float)
        The last places of their neighbourhood: x, y and impulse, latest first.
    rung_impulse, rung_injected_m3, rung_held_m3 : ndarray of shape (R,)
    rung_solves : ndarray of shape (R,), int
    mass_error : float
        Greatest difference between what came in and what the cells hold, as a share.
    stages : tuple of Stage
    pockets : tuple of Pocket
    """

    links: Links
    arrival: FloatArray
    total: float
    ladder_total: float
    last_spot_mm: tuple[float, float]
    spots_mm: tuple[tuple[float, float, float], ...]
    rung_impulse: FloatArray
    rung_injected_m3: FloatArray
    rung_held_m3: FloatArray
    rung_solves: FloatArray
    mass_error: float
    stages: tuple[Stage, ...]
    pockets: tuple[Pocket, ...]

    @property
    def arrival_map(self) -> FloatArray:
        """Arrival impulse laid out as (ny, nx); NaN outside the part."""
        return self.links.field(self.arrival)


@dataclass
class Arrivals:
    """Reads the arrival of the front in each cell off the rungs as they come.

    Notes
    -----
    In a stage that began at impulse s, sqrt(u) is linear in sqrt(theta - s) in a cell just wetted
    by a straight front, so arrival is where the line through two rungs meets zero; it is kept
    between the two rungs that bracket it.
    """

    count: int
    arrival: FloatArray = field(init=False)
    stage: Stage | None = None
    root: float = 0.0
    level: FloatArray = field(init=False)
    pending: BoolArray = field(init=False)
    earlier: float = 0.0

    def __post_init__(self) -> None:
        """Start with a dry part."""
        self.arrival = np.full(self.count, np.inf)
        self.level = np.full(self.count, -0.5)
        self.pending = np.zeros(self.count, bool)

    def take(self, stage: Stage, system: System, rung: Rung) -> None:
        """Take the next rung."""
        if self.stage is not None and stage is not self.stage:
            self._close()
        if stage is not self.stage:
            self.root, self.stage = 0.0, stage
        root, now = float(np.sqrt(max(rung.since, 0.0))), level(system, rung.state)
        self._extrapolate(root, now)
        fresh = (now >= 0) & ~np.isfinite(self.arrival)
        partly = fresh & (self.level > -0.49)
        gap = np.maximum(now - self.level, 1e-12)
        between = self.root + (root - self.root) * np.clip(-self.level / gap, 0.0, 1.0)
        self.arrival[partly] = stage.start + between[partly] ** 2
        self.pending = fresh & ~partly
        # Until the next rung shows its slope, an arrival counts as halfway between its rungs.
        halfway = (0.5 * (self.root + root)) ** 2
        self.arrival[self.pending] = stage.start + halfway
        self.earlier, self.root, self.level = self.root, root, now

    def _extrapolate(self, root: float, now: FloatArray) -> None:
        """Place the arrivals of the rung before by the slope that this one shows."""
        cells = np.flatnonzero(self.pending)
        if not cells.size or self.stage is None:
            return
        slope = np.maximum(now[cells] - self.level[cells], 1e-12) / max(root - self.root, 1e-300)
        place = np.clip(self.root - self.level[cells] / slope, self.earlier, self.root)
        self.arrival[cells] = self.stage.start + place**2

    def _close(self) -> None:
        """End a stage: what is pending keeps its place halfway."""
        self.pending[:] = False


@dataclass
class AirWatch:
    """Watches the dry part of the part for areas that no open vent reaches any more."""

    vents: Sequence[BoolArray]
    cut_off: BoolArray
    pockets: list[Pocket] = field(default_factory=list)

    def take(self, system: System, rung: Rung) -> None:
        """Take the next rung."""
        links = system.links
        dry = np.flatnonzero(~rung.state.wet & (rung.state.fill < 0.5) & (system.pore_m3 > 0))
        if not dry.size or not self.vents:
            return
        count, label = connected_components(system.matrix[dry][:, dry], directed=False)
        aired = np.zeros(count, bool)
        for vent in self.vents:
            aired[label[vent[dry]]] = True
        known = np.zeros(count, bool)
        known[label[self.cut_off[dry]]] = True
        area = np.bincount(label, links.share[dry], count) * links.grid.cell_m2
        part = float(links.share.sum()) * links.grid.cell_m2
        big = max(POCKET_SHARE * part, POCKET_CELLS * links.grid.cell_m2)
        for one in np.flatnonzero(~aired & ~known & (area >= big)):
            cells = dry[label == one]
            self.cut_off[cells] = True
            x, y = _middle(links.centre_mm[cells])
            self.pockets.append(Pocket(x, y, float(area[one]) * 1e6, rung.impulse))


def _middle(points_mm: FloatArray) -> tuple[float, float]:
    """Give the point nearest to the mean of some points."""
    away = np.hypot(*(points_mm - points_mm.mean(axis=0)).T)
    x, y = points_mm[int(np.argmin(away))]
    return float(x), float(y)


def fill_part(
    plan: Plan,
    opens_at: Sequence[float] | None = None,
    rungs: int = RUNGS,
    coarse_to_fine: bool = True,
    progress: Callable[[str], None] = lambda text: None,
    factors: Sequence[float] = (),
) -> Fill:
    """Fill a part and read off what matters.

    Parameters
    ----------
    plan : Plan
        The part.
    opens_at : sequence of float, optional
        Impulse at which each feed opens (see `climb_ladder`); by default all from the start.
    rungs : int
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
    tracker: Arrivals | None = None
    air: AirWatch | None = None
    log: list[tuple[float, float, float, int]] = []
    end: dict[str, Any] = {}

    def each(stage: Stage, system: System, rung: Rung) -> None:
        nonlocal tracker, air
        if tracker is None or air is None:
            tracker = Arrivals(system.links.count)
            vents = [near(system.links, vent.place) for vent in plan.vents]
            air = AirWatch(vents, np.zeros(system.links.count, bool))
        tracker.take(stage, system, rung)
        air.take(system, rung)
        log.append((rung.impulse, rung.injected_m3, rung.held_m3, rung.state.solves))
        end.update(stage=stage, system=system, rung=rung)

    starts = [0.0] * len(plan.feeds) if opens_at is None else list(opens_at)
    guide = climb_ladder(plan, starts, each, rungs, coarse_to_fine, progress, factors)
    assert tracker is not None
    assert air is not None
    return _fill(guide.stages, tracker.arrival, air.pockets, log, end)


def _fill(
    stages: tuple[Stage, ...],
    arrival: FloatArray,
    pockets: list[Pocket],
    log: list[tuple[float, float, float, int]],
    end: dict[str, Any],
) -> Fill:
    system, rung, stage = end["system"], end["rung"], end["stage"]
    links = system.links
    # In the last stage u = theta - w everywhere: the least u tells when the last cell filled.
    filling = system.pore_m3 > 0
    w = rung.since - rung.state.u
    latest = float(w[filling].max())
    ties = np.flatnonzero(filling & (w >= latest * (1 - 1e-7)))
    impulse, injected, held, solves = (np.array(column) for column in zip(*log, strict=True))
    reached = np.where(filling, np.minimum(arrival, stage.total), np.inf)
    return Fill(
        links=links,
        arrival=reached,
        total=stage.total,
        ladder_total=stage.start + latest,
        last_spot_mm=_middle(links.centre_mm[ties]),
        spots_mm=last_spots(links, reached),
        rung_impulse=impulse,
        rung_injected_m3=injected,
        rung_held_m3=held,
        rung_solves=solves,
        mass_error=float(np.max(np.abs(injected - held) / np.maximum(held, 1e-300))),
        stages=stages,
        pockets=tuple(pockets),
    )


def last_spots(links: Links, arrival: FloatArray) -> tuple[tuple[float, float, float], ...]:
    """Give the places that wet later than all around them, latest first."""
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
