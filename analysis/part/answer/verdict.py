"""Whether a part fills in time: the ends of its fill time, one word, and one sentence."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from analysis.part.answer.clock import Clock, minutes
from analysis.part.flow.filling import Filling, fill_plan
from analysis.part.flow.system import fill_impulse, open_feeds
from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.part_toml import LEAST_CELLS
from analysis.part.plan.plan import PartPlan

INTERVAL_STEPS = 6


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


def decide(clock: Clock, time_s: float, high_s: float, fill: Filling) -> tuple[str, str]:
    """Return one word and one sentence on whether all is wet in time."""
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
