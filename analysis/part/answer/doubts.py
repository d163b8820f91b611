"""How sure the fill time of a part is: the sources of doubt, and the ends of its interval."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from analysis.fit.mixture_regression import Z_95
from analysis.part.flow.filling import Filling, fill_plan
from analysis.part.flow.system import fill_impulse, open_feeds
from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.conditions import OTHER_FEED_MM
from analysis.part.plan.part_toml import LEAST_CELLS, PartJob
from analysis.part.plan.plan import PartPlan

PERMEABILITY = "permeability"
INTERVAL_STEPS = 6
FEED_CELLS = 60  # the share that a feed's resistance adds needs no finer grid


@dataclass(frozen=True)
class Ends:
    """Ends of the total impulse that follow from the plan alone.

    Attributes
    ----------
    low, high : float
        With every permeability at the high and at the low end of its interval.
    slow_feed : float
        Factor on the total where each feed that says nothing of it resists by `OTHER_FEED_MM`.
    """

    low: float
    high: float
    slow_feed: float = 1.0


@dataclass(frozen=True)
class Doubt:
    """One source of doubt in the fill time.

    Attributes
    ----------
    name : str
    low, high : float
        Factors on the fill impulse at the ends of its 95 % interval.
    """

    name: str
    low: float
    high: float


def sequential(plan: PartPlan) -> bool:
    """Return whether some feed opens later than the start."""
    return any(feed.opens_when_wet or feed.opens_at_s > 0 for feed in plan.feeds)


def plan_ends(
    plan: PartPlan, opens_at: list[float], fill: Filling, progress: Callable[[str], None]
) -> Ends:
    """Return the ends of the total impulse that follow from the plan.

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
        if len(set(factors)) == 1 and not timed and not plan.slopes:
            ends.append(fill.total / factors[0])
        elif not sequential(plan) and not plan.slopes:
            ends.append(_one_solve(plan, factors))
        else:
            progress("filling again at an end of the permeability interval")
            rough = replace(plan, cells=max(plan.cells // 2, LEAST_CELLS))
            plain_run = plain_run or fill_plan(rough, opens_at, INTERVAL_STEPS)
            again = fill_plan(rough, opens_at, INTERVAL_STEPS, factors=factors)
            ends.append(fill.total * again.total / plain_run.total)
    return Ends(min(ends[0], fill.total), max(ends[1], fill.total), _slow_feed(plan))


def _one_solve(plan: PartPlan, factors: list[float] | None = None) -> float:
    system = open_feeds(lay_canvas(plan, None, factors or ()), plan.feeds)
    return float(fill_impulse(system).max())


def _slow_feed(plan: PartPlan) -> float:
    """Return how much longer the part takes where feeds of unknown resistance resist.

    All feeds are taken as open from the start, which is near enough for a share.
    """
    rough = replace(plan, cells=min(plan.cells, FEED_CELLS))
    feeds = tuple(
        replace(feed, resistance_mm=feed.resistance_mm or OTHER_FEED_MM) for feed in plan.feeds
    )
    return max(1.0, _one_solve(replace(rough, feeds=feeds)) / _one_solve(rough))


def doubts(job: PartJob, total: float, ends: Ends) -> tuple[Doubt, ...]:
    """Return what makes the fill time of a part uncertain, source by source.

    Parameters
    ----------
    job : PartJob
    total : float
        Fill impulse, the best estimate.
    ends : Ends
        Of it.

    Notes
    -----
    The permeability of a panel holds the doubts of the panel's own viscosity, pressure and
    porosity, which are the part's as well where resin and vacuum are the same; the rest is added:
    the next lay-up, another batch, another temperature, another feed line.
    """
    conditions = job.conditions
    found = [Doubt(PERMEABILITY, ends.low / total, ends.high / total)]
    if not all(stack.assumed for stack in job.plan.stacks):
        found.append(_even("the next lay-up", conditions.repeat_sd))
    found.append(_even("viscosity", conditions.viscosity_sd))
    if not job.vacuum_from_panel:
        found.append(_even("vacuum", job.vacuum.pressure_sd))
    if conditions.feed_line in ("", "other"):
        found.append(Doubt("the feed's own resistance", 1.0, ends.slow_feed))
    return tuple(doubt for doubt in found if doubt.low < 1.0 or doubt.high > 1.0)


def _even(name: str, sd: float) -> Doubt:
    return Doubt(name, float(np.exp(-Z_95 * sd)), float(np.exp(Z_95 * sd)))


def joined_ends(total: float, found: tuple[Doubt, ...]) -> tuple[float, float]:
    """Return the ends of the total impulse with every doubt in it.

    Independent doubts add in squares, in logarithms (JCGM 100:2008, 5.1.2).
    """
    low = np.sqrt(sum(np.log(doubt.low) ** 2 for doubt in found))
    high = np.sqrt(sum(np.log(doubt.high) ** 2 for doubt in found))
    return float(total * np.exp(-low)), float(total * np.exp(high))
