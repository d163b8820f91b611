"""What of a plan may be corrected: K of stacks, widths of gaps, resistances and openings of feeds.

Tested in tests/analysis/infusion/learn/test_fit_plan.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.part.plan.conditions import OTHER_FEED_MM
from analysis.part.plan.part_toml import PartJob
from analysis.part.plan.plan import Gap, PartFeed, PartPlan, PartStack
from vision.records import FloatArray

SHARED_SD, OWN_SD = 0.7, 0.3
"""How far K of all zones together, and K of one against the others, may lie from the plan before
anything is seen, as the standard deviation of the logarithm (common practice, no source: resin,
vacuum and batch set all off together, twice as much is no rarity)."""
LOG_SD = float(np.hypot(SHARED_SD, OWN_SD))
"""The same of K of one zone, and of the width of a gap."""
FEED_SD = 1.5
"""The same for the resistance of a feed, in units of what is usual for one that is not known."""
MOST_LOG, MOST_FEED, MOST_OPENING = 2.5, 10.0, 1.0
LEAST_SD = {"zone": 0.03, "gap": 0.04, "feed": 0.03}
"""Uncertainty that is left in any case: in K by grid, scale and cloth uneven by some 5 %, in the
width of a gap as a channel of a plan is only like that in the bag (common practice, no source). It
says what a number is worth elsewhere; the rest of the same part it does not touch."""


@dataclass(frozen=True)
class Knob:
    """One number that may be corrected, at 0 as planned.

    Attributes
    ----------
    kind : {"zone", "gap", "feed", "opening"}
    index : int
        Among the stacks, gaps or feeds of the plan.
    name : str
    own_sd : float
        Of an opening: how far its impulse may lie from that stated, in the logarithm.
    """

    kind: str
    index: int
    name: str
    own_sd: float = 0.0

    @property
    def prior_sd(self) -> float:
        """How far it may lie from the plan before anything is seen."""
        return {"feed": FEED_SD, "opening": self.own_sd}.get(self.kind, LOG_SD)

    @property
    def most(self) -> float:
        """How far it is searched at all."""
        return {"feed": MOST_FEED, "opening": MOST_OPENING}.get(self.kind, MOST_LOG)


def knobs_of(plan: PartPlan) -> list[Knob]:
    """Return all that may be corrected, in the plan's order."""
    zones = ["the stack", *(zone.name or f"zone {k}" for k, zone in enumerate(plan.zones, 1))]
    gaps = [_gap_name(k, gap) for k, gap in enumerate(plan.gaps, 1)]
    feeds = [feed.name or f"feed {k}" for k, feed in enumerate(plan.feeds, 1)]
    return [
        Knob(kind, index, name)
        for kind, names in (("zone", zones), ("gap", gaps), ("feed", feeds))
        for index, name in enumerate(names)
    ]


def _gap_name(number: int, gap: Gap) -> str:
    (x0, y0), (x1, y1) = gap.line_mm[0], gap.line_mm[-1]
    return f"gap {number}, ({x0:.0f}, {y0:.0f}) to ({x1:.0f}, {y1:.0f})"


def opened_at(
    knobs: Sequence[Knob], at: FloatArray, opens_at: Sequence[float]
) -> tuple[float, ...]:
    """Return the impulse at which each feed opens, those moved whose opening is a knob."""
    moved = list(opens_at)
    for knob, value in zip(knobs, at, strict=True):
        if knob.kind == "opening":
            moved[knob.index] *= float(np.exp(value))
    return tuple(moved)


def turned(
    plan: PartPlan, knobs: Sequence[Knob], at: FloatArray
) -> tuple[PartPlan, tuple[float, ...]]:
    """Return the plan with its gaps and feeds corrected, and the factors on K of its stacks.

    When feeds open is not the plan's word alone: see `opened_at`.
    """
    factors = np.ones(len(plan.stacks))
    gaps, feeds = list(plan.gaps), list(plan.feeds)
    for knob, value in zip(knobs, at, strict=True):
        if knob.kind == "zone":
            factors[knob.index] = np.exp(value)
        elif knob.kind == "gap":
            gaps[knob.index] = _wider(gaps[knob.index], float(np.exp(value)))
        elif knob.kind == "feed":
            feeds[knob.index] = _resisting(feeds[knob.index], float(value))
    corrected = replace(plan, gaps=tuple(gaps), feeds=tuple(feeds))
    return corrected, tuple(float(f) for f in factors)


def _wider(gap: Gap, factor: float) -> Gap:
    """Return a gap of another width; its permeability goes with the width squared."""
    return replace(gap, width_mm=gap.width_mm * factor, k_m2=gap.k_m2 * factor**2)


def _resisting(feed: PartFeed, value: float) -> PartFeed:
    return replace(feed, resistance_mm=max(0.0, feed.resistance_mm + OTHER_FEED_MM * value))


def with_stacks(plan: PartPlan, factors: Sequence[float]) -> PartPlan:
    """Return the plan with the factors on K put into its stacks."""

    def scaled(k: int) -> PartStack:
        stack = plan.stacks[k]
        return replace(stack, k1_m2=stack.k1_m2 * factors[k], k2_m2=stack.k2_m2 * factors[k])

    zones = tuple(replace(zone, stack=scaled(k)) for k, zone in enumerate(plan.zones, 1))
    return replace(plan, stack=scaled(0), zones=zones)


def number_of(plan: PartPlan, knob: Knob, at: float) -> tuple[float, str]:
    """Return the corrected number and its unit."""
    if knob.kind == "zone":
        return plan.stacks[knob.index].k1_m2 * float(np.exp(at)), "m2"
    if knob.kind == "gap":
        return plan.gaps[knob.index].width_mm * float(np.exp(at)), "mm"
    return _resisting(plan.feeds[knob.index], at).resistance_mm, "mm"


def prior_precision(knobs: Sequence[Knob]) -> FloatArray:
    """Return the prior's information, shape (Q, Q): K of zones shares `SHARED_SD` of its doubt."""
    shared = np.array([SHARED_SD if knob.kind == "zone" else 0.0 for knob in knobs])
    own = np.array([OWN_SD if knob.kind == "zone" else knob.prior_sd for knob in knobs])
    return np.asarray(np.linalg.inv(np.outer(shared, shared) + np.diag(own**2)))


def plan_sd(plan: PartPlan, knob: Knob) -> float:
    """Return how sure the plan itself is of a number that the picture does not tell."""
    if knob.kind != "zone":
        return 0.5 * knob.prior_sd
    stack = plan.stacks[knob.index]
    return float(np.clip(np.log(stack.high / stack.low) / 3.92, 0.1, LOG_SD))


def drive_sd(job: PartJob) -> float:
    """Return how sure viscosity and vacuum themselves are, as a relative standard uncertainty.

    Notes
    -----
    What is seen tells K times vacuum over viscosity. Independent uncertainties add in squares
    (JCGM 100:2008, 5.1.2).
    """
    return float(np.hypot(job.conditions.own_viscosity_sd, job.vacuum.pressure_sd))


def drive_power(knob: Knob) -> float:
    """Return the power of viscosity over vacuum with which a number goes.

    K of cloth goes with it; the flow in a gap with its width to the third over it; the resistance
    of a feed, as a length of cloth, does not.
    """
    return {"zone": 1.0, "gap": 1.0 / 3.0, "feed": 0.0}[knob.kind]


def bounds_of(knobs: Sequence[Knob], plan: PartPlan) -> tuple[FloatArray, FloatArray]:
    """Return the least and the greatest place of each knob."""
    low = [
        -plan.feeds[knob.index].resistance_mm / OTHER_FEED_MM - 1e-6
        if knob.kind == "feed"
        else -knob.most
        for knob in knobs
    ]
    return np.array(low), np.array([knob.most for knob in knobs])
