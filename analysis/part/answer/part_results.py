"""From impulses to minutes and kilograms: the answer for a part, and the same in plain lines."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.fit.impulse import Impulse
from analysis.panel.resin import gel_time
from analysis.part.flow.filling import Filling, fill_plan
from analysis.part.flow.system import fill_impulse, lay_canvas, open_feeds
from analysis.part.plan.part_toml import LEAST_CELLS, PartJob
from analysis.part.plan.plan import PartPlan
from vision.common.atomic_files import plain
from vision.records import FloatArray

DEFAULT_DENSITY_KG_M3 = 1150.0
"""Mixed infusion resin, when none is given (an ordinary textbook value for epoxy, from memory)."""
INTERVAL_STEPS = 6
CAUTIONS = (
    "Mixed resin in bulk can overheat and burn: keep pots small and pour them in time.",
    "This is advice with an interval, not a permit. Safety data sheets, local codes and licensed "
    "practice come first.",
)


@dataclass(frozen=True)
class Clock:
    """What turns impulse into time: vacuum, viscosity, gel.

    Attributes
    ----------
    impulse : Impulse
    gel_s, working_s : float or None
        From resin start.
    density_kg_m3 : float
    bag_share : float or None
        Absolute pressure left in the bag over the air pressure.
    """

    impulse: Impulse
    gel_s: float | None
    working_s: float | None
    density_kg_m3: float
    bag_share: float | None = None


@dataclass(frozen=True)
class Answer:
    """The filled part in time.

    Attributes
    ----------
    fill : Filling
    time_s : ndarray of shape (ny, nx)
        When each cell wets; infinity where it never does, NaN outside the part.
    fill_time_s, low_s, high_s : float
        Infinity where the resin stiffens first.
    verdict, reason : str
    """

    fill: Filling
    clock: Clock
    time_s: FloatArray
    fill_time_s: float
    low_s: float
    high_s: float
    verdict: str
    reason: str


def clock_of(job: PartJob) -> Clock:
    """Return the clock of a job: when the resin gels and how fast impulse is had."""
    gel = gel_time(job.resin)
    lead = job.resin.mixed_before_start_s
    drive, ambient = job.vacuum.pressure_pa, job.vacuum.ambient_pa
    share = None if drive is None else max(0.0, 1.0 - drive / ambient)
    return Clock(
        job.impulse,
        None if gel is None else gel.gel_s - lead,
        None if gel is None else gel.working_s - lead,
        job.resin.density_kg_m3 or DEFAULT_DENSITY_KG_M3,
        share,
    )


def opening_impulses(plan: PartPlan, impulse: Impulse) -> list[float]:
    """Return the impulse at which each feed opens."""
    return [
        float(impulse.at(feed.opens_at_s)) if feed.opens_at_s > 0 else 0.0 for feed in plan.feeds
    ]


def sequential(plan: PartPlan) -> bool:
    """Return whether some feed opens later than the start."""
    return any(feed.opens_when_wet or feed.opens_at_s > 0 for feed in plan.feeds)


def total_interval(
    plan: PartPlan, opens_at: list[float], fill: Filling, progress: Callable[[str], None]
) -> tuple[float, float]:
    """Return the total impulse with every permeability at the high and at the low end.

    Notes
    -----
    One factor for all stacks only stretches the impulse; several are solved for. The ends move
    together: the same workshop made the panels. With feeds that open later the ratio to the middle
    is taken from fillings on a grid half as fine.
    """
    ends: list[float] = []
    plain_run: Filling | None = None
    for factors in ([s.high for s in plan.stacks], [s.low for s in plan.stacks]):
        timed = any(at > 0 for at in opens_at)
        if len(set(factors)) == 1 and not timed:
            ends.append(fill.total / factors[0])
        elif not sequential(plan):
            system = open_feeds(lay_canvas(plan, None, factors), plan.feeds)
            ends.append(float(fill_impulse(system).max()))
        else:
            progress("filling again at an end of the permeability interval")
            rough = replace(plan, cells=max(plan.cells // 2, LEAST_CELLS))
            plain_run = plain_run or fill_plan(rough, opens_at, INTERVAL_STEPS)
            again = fill_plan(rough, opens_at, INTERVAL_STEPS, factors=factors)
            ends.append(fill.total * again.total / plain_run.total)
    return min(ends[0], fill.total), max(ends[1], fill.total)


def times_of(impulse: Impulse, theta: FloatArray) -> FloatArray:
    """Return the times at which many impulses are reached: as `Impulse.time_of`, but quicker.

    Parameters
    ----------
    impulse : Impulse
        The clock.
    theta : ndarray of shape (N,)
        Impulses; those never reached give infinity.

    Notes
    -----
    A table of the clock gives a first value, Newton's method the rest; what has not settled is
    left to `Impulse.time_of`.
    """
    times = np.full(len(theta), np.inf)
    now = np.flatnonzero(np.isfinite(theta))
    if not now.size:
        return times
    top = float(impulse.time_of(theta[now].max()))
    if not np.isfinite(top):
        top = float(impulse.time_of(0.99 * min(impulse.theta_end, theta[now].max())))
    ticks = np.unique(np.append(top * np.linspace(0, 1, 1001) ** 2, impulse.knot_s))
    ticks = ticks[ticks <= top]
    guess = np.interp(theta[now], impulse.at(ticks), ticks)
    for _ in range(3):
        guess = guess - (impulse.at(guess) - theta[now]) / np.maximum(impulse.rate(guess), 1e-300)
        guess = np.clip(guess, 0.0, top)
    rough = np.abs(impulse.at(guess) - theta[now]) > 1e-10 * theta[now].max()
    guess[rough] = impulse.time_of(theta[now][rough])
    times[now] = guess
    return times


def in_time(fill: Filling, clock: Clock, low: float, high: float) -> Answer:
    """Re-label a filling in time; nothing is solved.

    Parameters
    ----------
    fill : Filling
        The filling.
    clock : Clock
        What turns impulse into time.
    low, high : float
        Ends of the interval of the total impulse.
    """
    times = times_of(clock.impulse, np.append(fill.arrival, [fill.total, low, high]))
    ends = [float(value) for value in times[-3:]]
    laid = fill.links.field(times[:-3])
    verdict, reason = decide(clock, ends[0], ends[2], fill)
    return Answer(fill, clock, laid, ends[0], ends[1], ends[2], verdict, reason)


def decide(clock: Clock, time_s: float, high_s: float, fill: Filling) -> tuple[str, str]:
    """Say in one word and one sentence whether all is wet in time."""
    trapped = f"; {len(fill.trapped)} area(s) lose their vent first" if fill.trapped else ""
    if not np.isfinite(time_s):
        return "gels first", "the resin stiffens before all is wet"
    if clock.gel_s is None or clock.working_s is None:
        return (
            "cannot decide",
            "no gel time to hold the fill time against: add gel_time_min to [resin]",
        )
    span = f"all wet after {minutes(time_s)}, at most {minutes(high_s)}"
    work, gel = minutes(clock.working_s), minutes(clock.gel_s)
    if high_s <= clock.working_s:
        return "fills", f"{span}; working time is {work}{trapped}"
    if time_s > clock.gel_s:
        return (
            "gels first",
            f"all wet after {minutes(time_s)}, but the resin gels at {gel}{trapped}",
        )
    return "tight", f"{span}; working time is {work}, gel at {gel}{trapped}"


def solve_job(job: PartJob, progress: Callable[[str], None] = lambda text: None) -> Answer:
    """Fill the part of a job and put it in time."""
    opens_at = opening_impulses(job.plan, job.impulse)
    fill = fill_plan(job.plan, opens_at, progress=progress)
    low, high = total_interval(job.plan, opens_at, fill, progress)
    return in_time(fill, clock_of(job), low, high)


def resin_curve(answer: Answer) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return resin taken in and its rate against time.

    Returns
    -------
    time_s, mass_kg, rate_kg_per_s : ndarray of shape (R,)
        At the steps, from the start on; the rate is the mean since the step before.
    """
    fill, clock = answer.fill, answer.clock
    time = np.append(0.0, clock.impulse.time_of(fill.step_impulse))
    mass = np.append(0.0, fill.step_injected_m3) * clock.density_kg_m3
    ok = np.isfinite(time)
    time, mass = time[ok], mass[ok]
    keep = np.append(True, np.diff(time) > 0)
    time, mass = time[keep], mass[keep]
    if len(time) < 2:
        return time, mass, np.zeros_like(time)
    rate = np.diff(mass) / np.diff(time)
    return time, mass, np.append(rate[0], rate)


def shape_answer(job: PartJob, answer: Answer) -> dict[str, Any]:
    """Return the content of part.json: plain values, SI unless a key names another unit."""
    fill, clock, plan = answer.fill, answer.clock, job.plan
    time = clock.impulse.time_of
    curve_s, curve_kg, rate = resin_curve(answer)
    margin = None
    if clock.working_s is not None:
        margin = clock.working_s / answer.fill_time_s if answer.fill_time_s > 0 else None
    stages = [
        {"starts_s": float(time(s.start)), "feeds": [plan.feeds[i].name for i in s.feeds]}
        for s in fill.stages
    ]
    trapped = [
        {
            "x_mm": air.x_mm,
            "y_mm": air.y_mm,
            "area_mm2": air.area_mm2,
            "time_s": float(time(air.impulse)),
            "left_mm2": None if clock.bag_share is None else air.area_mm2 * clock.bag_share,
        }
        for air in fill.trapped
    ]
    shaped: dict[str, Any] = plain(
        {
            "name": plan.name,
            "verdict": answer.verdict,
            "reason": answer.reason,
            "fill_time_s": answer.fill_time_s,
            "fill_time_low_s": answer.low_s,
            "fill_time_high_s": answer.high_s,
            "fill_impulse": fill.total,
            "fill_impulse_ladder": fill.sweep_total,
            "last_spot_mm": fill.last_spot_mm,
            "last_spots": [
                {"x_mm": x, "y_mm": y, "time_s": float(time(theta))}
                for x, y, theta in fill.spots_mm
            ],
            "trapped": trapped,
            "margin": margin,
            "gel_time_s": clock.gel_s,
            "working_time_s": clock.working_s,
            "resin_kg": float(fill.step_held_m3[-1]) * clock.density_kg_m3,
            "density_kg_m3": clock.density_kg_m3,
            "pore_volume_m3": float(fill.step_held_m3[-1]),
            "area_m2": float(fill.links.share.sum()) * fill.links.grid.cell_m2,
            "flow": {"time_s": curve_s, "resin_kg": curve_kg, "rate_kg_per_s": rate},
            "stages": stages,
            "mass_error": fill.mass_error,
            "cells": fill.links.count,
            "cells_along": plan.cells,
            "rungs": len(fill.step_impulse),
            "stacks": [
                {
                    "name": name,
                    "k1_m2": s.k1_m2,
                    "k2_m2": s.k2_m2,
                    "angle_deg": s.angle_deg,
                    "k_factor_low": s.low,
                    "k_factor_high": s.high,
                    "porosity": s.porosity,
                    "thickness_mm": s.thickness_mm,
                    "source": s.source,
                }
                for name, s in zip(
                    ["base", *(z.name for z in plan.zones)], plan.stacks, strict=True
                )
            ],
            "notes": list(notes(job, answer)),
            "cautions": list(CAUTIONS),
        }
    )
    return shaped


def notes(job: PartJob, answer: Answer) -> tuple[str, ...]:
    """Return what the reader should know about how the answer came about."""
    more = list(dict.fromkeys(job.plan.notes))
    if job.resin.density_kg_m3 is None:
        more.append(f"no density_kg_m3 in [resin]: {DEFAULT_DENSITY_KG_M3:.0f} was taken")
    gel = gel_time(job.resin)
    if gel is not None and gel.note:
        more.append(gel.note)
    if answer.fill.trapped:
        more.append(
            "where air is trapped the fill time takes no account of it: the air stays as a dry "
            "spot or is squeezed smaller"
        )
    opened = {i for stage in answer.fill.stages for i in stage.feeds}
    for i, feed in enumerate(job.plan.feeds):
        if i not in opened:
            more.append(f"{feed.name} never opens: the part is full before")
    return tuple(more)


def lines(job: PartJob, answer: Answer) -> list[str]:
    """Say the answer in plain lines."""
    fill, clock = answer.fill, answer.clock
    grid = fill.links.grid
    size = f"{grid.nx * grid.dx_mm:.0f} x {grid.ny * grid.dy_mm:.0f} mm"
    reason = answer.reason[:1].upper() + answer.reason[1:]
    kilos = float(fill.step_held_m3[-1]) * clock.density_kg_m3
    out = [
        f"{job.plan.name}: {answer.verdict.upper()}. {reason}.",
        f"Part        {size}, {fill.links.share.sum() * grid.cell_m2:.3g} m2, "
        f"{fill.links.count} cells",
        f"All wet     {minutes(answer.fill_time_s)} (95 %: {minutes(answer.low_s)} to "
        f"{minutes(answer.high_s)}, from the permeability's interval)",
        f"Last spot   x {fill.last_spot_mm[0]:.0f} mm, y {fill.last_spot_mm[1]:.0f} mm",
    ]
    if clock.working_s is not None and np.isfinite(answer.fill_time_s):
        out.append(
            f"Margin      {clock.working_s / answer.fill_time_s:.2f} (working time "
            f"{minutes(clock.working_s)} over fill time)"
        )
    for stage in fill.stages[1:]:
        names = ", ".join(job.plan.feeds[i].name for i in stage.feeds)
        out.append(
            f"Feeds       from {minutes(float(clock.impulse.time_of(stage.start)))}: {names}"
        )
    for air in fill.trapped:
        at = minutes(float(clock.impulse.time_of(air.impulse)))
        out.append(
            f"Air trapped x {air.x_mm:.0f} mm, y {air.y_mm:.0f} mm: "
            f"{air.area_mm2 / 100:.0f} cm2 loses its vent at {at}: put a vent there"
        )
    if not fill.trapped:
        out.append("Air         every dry area keeps a vent until it is wet")
    out.append(
        f"Resin       {kilos:.3g} kg in the part; lines, media, bucket and waste come on top"
    )
    out.append(
        f"Check       resin in and resin held agree within {max(100 * fill.mass_error, 1e-3):.1g} %"
    )
    out += [f"Note        {text}" for text in notes(job, answer)]
    out += [f"Caution     {text}" for text in CAUTIONS]
    return out


def minutes(seconds: float | None) -> str:
    """Show a time in minutes as a shop says it.

    Examples
    --------
    >>> minutes(1316.0), minutes(90.0), minutes(float("inf")), minutes(20.0)
    ('21.9 min', '1.50 min', 'never', '0.333 min')
    """
    if seconds is None or not np.isfinite(seconds):
        return "never"
    value = seconds / 60.0
    return f"{value:.0f} min" if value >= 99.5 else f"{value:#.3g} min"
