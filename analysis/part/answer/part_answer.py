"""The answer for a part as one frozen record: what file, terminal and page are drawn from."""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass
from typing import Any

import numpy as np

from analysis.panel.resin import DEFAULT_DENSITY_KG_M3, gel_time
from analysis.part.answer.clock import Clock, clock_of, times_of
from analysis.part.answer.doubts import Doubt, Ends, doubts, joined_ends
from analysis.part.answer.verdict import Change, PartTimes, changes, judge_part
from analysis.part.flow.filling import Filling
from analysis.part.plan.part_toml import PartJob
from analysis.part.plan.plan import PartPlan
from analysis.part.search.advice import SearchAdvice, SpacingAdvice
from vision.common.atomic_files import plain
from vision.records import FloatArray

CAUTIONS = (
    "Mixed resin in bulk can overheat and burn: keep pots small and pour them in time.",
    "Peroxide initiators injure eyes: wear goggles. An initiator must never meet a promoter "
    "directly. Amine hardeners burn skin. Styrene vapour needs ventilation.",
    "This is advice with an interval, not a permit. Safety data sheets, local codes and licensed "
    "practice come first.",
)


@dataclass(frozen=True)
class LastSpot:
    """A place that wets later than all around it, and when."""

    x_mm: float
    y_mm: float
    time_s: float


@dataclass(frozen=True)
class TrappedSpot:
    """A dry area cut off from every vent.

    Attributes
    ----------
    x_mm, y_mm : float
        Where its air ends: a vent there lets it out.
    ends_mm : tuple of (float, float)
        The same, latest first, where it falls apart into several.
    area_mm2 : float
        When it is cut off.
    time_s : float
        When that is.
    left_mm2 : float or None
        What the air left in the bag keeps dry, by Boyle's law.
    """

    x_mm: float
    y_mm: float
    ends_mm: tuple[tuple[float, float], ...]
    area_mm2: float
    time_s: float
    left_mm2: float | None


@dataclass(frozen=True)
class FlowCurve:
    """Resin taken in against time.

    Attributes
    ----------
    time_s, resin_kg, rate_kg_per_s : ndarray of shape (R,)
        At the steps of the sweep, from the start on; the rate is the mean since the step before.
    """

    time_s: FloatArray
    resin_kg: FloatArray
    rate_kg_per_s: FloatArray


@dataclass(frozen=True)
class StageStart:
    """When some feeds open, and which are open from then on."""

    starts_s: float
    feeds: tuple[str, ...]


@dataclass(frozen=True)
class StackUsed:
    """A stack as it was reckoned with."""

    name: str
    k1_m2: float
    k2_m2: float
    angle_deg: float
    k_factor_low: float
    k_factor_high: float
    porosity: float
    thickness_mm: float
    source: str


@dataclass(frozen=True)
class PartAnswer:
    """How a part fills, in time.

    Attributes
    ----------
    name : str
    verdict : {"fills", "tight", "gels first", "traps air", "cannot decide"}
    may_gel_first : bool
        Whether the 95 % intervals hold a fill that gels before its end.
    reason : str
    fill_time_s, fill_time_low_s, fill_time_high_s : float
        Since resin start, and the 95 % interval; infinity where the resin stiffens first, and
        where air is trapped: such a part never fills.
    vented_time_s, vented_time_low_s, vented_time_high_s : float
        The same, were there a vent wherever air ends.
    fill_impulse, fill_impulse_sweep : float
        Driving impulse to full, from one linear solve and from the last step of the sweep.
    last_spot_mm : tuple of (float, float)
    last_spots : tuple of LastSpot
    trapped : tuple of TrappedSpot
    margin : float or None
        Working time over fill time.
    gel_time_s, working_time_s : float or None
        Since resin start.
    resin_kg, density_kg_m3, pore_volume_m3, area_m2 : float
        Of the part alone.
    flow : FlowCurve
    stages : tuple of StageStart
    mass_error : float
        Greatest difference between resin in and resin held, as a share.
    cells, cells_along, steps : int
        Of the grid, along its longest side, and steps of the sweep.
    stacks : tuple of StackUsed
    notes, cautions : tuple of str
    doubts : tuple of Doubt
        What makes the fill time uncertain.
    changes : tuple of Change
        What to change so that the part fills in time; none where it does.
    y_runs : {"down", "up"}
        Which way y runs when the part is looked at from above; x runs right.
    spacing : tuple of SpacingAdvice or None
        None where it was not asked for.
    search : SearchAdvice or None
        The same.
    plan : PartPlan
    clock : Clock
    filling : Filling
        In terms of the driving impulse.
    arrival_s : ndarray of shape (ny, nx)
        When each cell wets; infinity where it never does, NaN outside the part.
    """

    name: str
    verdict: str
    may_gel_first: bool
    reason: str
    fill_time_s: float
    fill_time_low_s: float
    fill_time_high_s: float
    vented_time_s: float
    vented_time_low_s: float
    vented_time_high_s: float
    fill_impulse: float
    fill_impulse_sweep: float
    last_spot_mm: tuple[float, float]
    last_spots: tuple[LastSpot, ...]
    trapped: tuple[TrappedSpot, ...]
    margin: float | None
    gel_time_s: float | None
    working_time_s: float | None
    resin_kg: float
    density_kg_m3: float
    pore_volume_m3: float
    area_m2: float
    flow: FlowCurve
    stages: tuple[StageStart, ...]
    mass_error: float
    cells: int
    cells_along: int
    steps: int
    stacks: tuple[StackUsed, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    doubts: tuple[Doubt, ...]
    changes: tuple[Change, ...]
    y_runs: str
    spacing: tuple[SpacingAdvice, ...] | None
    search: SearchAdvice | None
    plan: PartPlan
    clock: Clock
    filling: Filling
    arrival_s: FloatArray

    @property
    def x_mm(self) -> FloatArray:
        """Centres of the columns of `arrival_s`, shape (nx,)."""
        return self.filling.links.grid.x_mm

    @property
    def y_mm(self) -> FloatArray:
        """Centres of the rows of `arrival_s`, shape (ny,)."""
        return self.filling.links.grid.y_mm


NEVER = PartTimes(np.inf, np.inf, np.inf)
NOT_IN_FILE = ("plan", "clock", "filling", "arrival_s")
ONLY_IF_ASKED = ("spacing", "search")


def part_json(answer: PartAnswer) -> dict[str, Any]:
    """Return the content of part.json: plain values, SI unless a key names another unit."""
    shown: dict[str, Any] = {
        field.name: _open(getattr(answer, field.name))
        for field in fields(answer)
        if field.name not in NOT_IN_FILE
    }
    for key in ONLY_IF_ASKED:
        if shown[key] is None:
            del shown[key]
    ready: dict[str, Any] = plain(shown)
    return ready


def _open(value: Any) -> Any:
    """Turn records into mappings, however deep they lie."""
    if is_dataclass(value):
        return {field.name: _open(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple | list):
        return [_open(item) for item in value]
    return value


def put_in_time(job: PartJob, fill: Filling, ends: Ends) -> PartAnswer:
    """Return the answer for a filling under a job's vacuum and resin; nothing is solved.

    Parameters
    ----------
    job : PartJob
        Plan, resin and vacuum.
    fill : Filling
        Of the plan, in terms of the driving impulse.
    ends : Ends
        Of the total impulse.
    """
    clock, found = clock_of(job), doubts(job, fill.total, ends)
    low, high = joined_ends(fill.total, found)
    vented, arrival_s = _timed(clock, fill, (low, high))
    area_m2 = float(fill.links.share.sum()) * fill.links.grid.cell_m2
    judged = judge_part(clock, vented, fill.trapped, area_m2 * 1e6)
    filled = NEVER if fill.trapped else vented
    held_m3 = float(fill.step_held_m3[-1])
    return PartAnswer(
        name=job.plan.name,
        verdict=judged.word,
        may_gel_first=judged.may_gel_first,
        reason=judged.reason,
        fill_time_s=filled.time_s,
        fill_time_low_s=filled.low_s,
        fill_time_high_s=filled.high_s,
        vented_time_s=vented.time_s,
        vented_time_low_s=vented.low_s,
        vented_time_high_s=vented.high_s,
        fill_impulse=fill.total,
        fill_impulse_sweep=fill.sweep_total,
        last_spot_mm=fill.last_spot_mm,
        last_spots=_last_spots(fill, clock),
        trapped=_trapped(fill, clock),
        margin=clock.working_s / vented.time_s if clock.working_s and not fill.trapped else None,
        gel_time_s=clock.gel_s,
        working_time_s=clock.working_s,
        resin_kg=held_m3 * clock.density_kg_m3,
        density_kg_m3=clock.density_kg_m3,
        pore_volume_m3=held_m3,
        area_m2=area_m2,
        flow=flow_curve(fill, clock),
        stages=_stages(job.plan, fill, clock),
        mass_error=fill.mass_error,
        cells=fill.links.count,
        cells_along=job.plan.cells,
        steps=len(fill.step_impulse),
        stacks=_stacks(job.plan),
        notes=_notes(job, fill),
        cautions=CAUTIONS,
        doubts=found,
        changes=changes(clock, high, job.vacuum, job.resin),
        y_runs=job.plan.y_runs,
        spacing=None,
        search=None,
        plan=job.plan,
        clock=clock,
        filling=fill,
        arrival_s=arrival_s,
    )


def _timed(clock: Clock, fill: Filling, ends: tuple[float, float]) -> tuple[PartTimes, FloatArray]:
    """Return fill time with its ends, and when each cell wets, shape (ny, nx)."""
    times = times_of(clock.impulse, np.append(fill.arrival, [fill.total, *ends]))
    filled = PartTimes(*(float(value) for value in times[-3:]))
    return filled, fill.links.field(times[:-3])


def _last_spots(fill: Filling, clock: Clock) -> tuple[LastSpot, ...]:
    """Put the last spots in time."""
    time = clock.impulse.time_of
    return tuple(LastSpot(x, y, float(time(theta))) for x, y, theta in fill.spots_mm)


def _stages(plan: PartPlan, fill: Filling, clock: Clock) -> tuple[StageStart, ...]:
    """Put the stages in time."""
    return tuple(
        StageStart(
            float(clock.impulse.time_of(stage.start)),
            tuple(plan.feeds[i].name for i in stage.feeds),
        )
        for stage in fill.stages
    )


def _trapped(fill: Filling, clock: Clock) -> tuple[TrappedSpot, ...]:
    """Put the areas that lose their vent in time."""
    return tuple(
        TrappedSpot(
            air.x_mm,
            air.y_mm,
            air.ends_mm,
            air.area_mm2,
            float(clock.impulse.time_of(air.impulse)),
            None if clock.bag_share is None else air.area_mm2 * clock.bag_share,
        )
        for air in fill.trapped
    )


def flow_curve(fill: Filling, clock: Clock) -> FlowCurve:
    """Return resin taken in and its rate against time."""
    time = np.append(0.0, clock.impulse.time_of(fill.step_impulse))
    mass = np.append(0.0, fill.step_injected_m3) * clock.density_kg_m3
    ok = np.isfinite(time)
    time, mass = time[ok], mass[ok]
    keep = np.append(True, np.diff(time) > 0)
    time, mass = time[keep], mass[keep]
    if len(time) < 2:
        return FlowCurve(time, mass, np.zeros_like(time))
    rate = np.diff(mass) / np.diff(time)
    return FlowCurve(time, mass, np.append(rate[0], rate))


def _stacks(plan: PartPlan) -> tuple[StackUsed, ...]:
    """List the stacks of a plan as they were reckoned with."""
    names = ["base", *(zone.name for zone in plan.zones)]
    return tuple(
        StackUsed(
            name=name,
            k1_m2=stack.k1_m2,
            k2_m2=stack.k2_m2,
            angle_deg=stack.angle_deg,
            k_factor_low=stack.low,
            k_factor_high=stack.high,
            porosity=stack.porosity,
            thickness_mm=stack.thickness_mm,
            source=stack.source,
        )
        for name, stack in zip(names, plan.stacks, strict=True)
    )


def _notes(job: PartJob, fill: Filling) -> tuple[str, ...]:
    """Return what the reader should know about how the answer came about."""
    more = list(dict.fromkeys(job.plan.notes))
    if job.resin.density_kg_m3 is None:
        more.append(f"no density_kg_m3 in [resin]: {DEFAULT_DENSITY_KG_M3:.0f} was taken")
    gel = gel_time(job.resin)
    if gel is not None and gel.note:
        more.append(gel.note)
    if fill.trapped:
        more.append(
            "how trapped air pushes back is not worked out: the times inside such an area are "
            "those with a vent where its air ends"
        )
    opened = {i for stage in fill.stages for i in stage.feeds}
    for i, feed in enumerate(job.plan.feeds):
        if i not in opened:
            more.append(f"{feed.name} never opens: the part is full before")
    return tuple(more)
