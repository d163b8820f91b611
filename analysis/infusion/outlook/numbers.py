"""The numbers of a part's board, worked out from one look."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

import numpy as np

from analysis.infusion.ahead.cut_offs import CutOff, find_cut_offs
from analysis.infusion.ahead.front_ahead import look_ahead
from analysis.infusion.ahead.next_feed import NextFeed, feeds_to_open
from analysis.infusion.ahead.not_seen import NotSeen, find_not_seen
from analysis.infusion.ahead.time_left import TimeLeft, time_left
from analysis.infusion.learn.learnt import Learnt
from analysis.infusion.outlook.standstill import Standstill, find_standstill
from analysis.infusion.seen.on_plan import SeenOnPlan, bring_on_plan
from analysis.part.answer.clock import clock_of, opening_impulses, times_of
from analysis.part.flow.filling import fill_plan
from analysis.part.grid.network import Links
from analysis.part.plan.part_toml import PartJob
from vision.part_records import PartSeen
from vision.records import FloatArray

PLAN_DOUBT, LEARNT_DOUBT = 0.35, 0.15
"""Relative half-width of the time still to come: from the plan alone, and corrected by what was
seen. Common practice, no source."""
MOST_DOUBT = 0.7
SETTLED = 1
"""Latest photos that a feed's state waits for: what one photo shows may be a hand or a flash."""


@dataclass(frozen=True)
class Forecast:
    """When each cell wets, by the plan or as corrected.

    Attributes
    ----------
    links : Links
        The plan's grid.
    arrival_s : ndarray of shape (cells,)
        Seconds since resin start.
    learnt : bool
        Whether it was corrected by what was seen.
    doubt : float
        Relative half-width of the time still to come.
    """

    links: Links
    arrival_s: FloatArray
    learnt: bool = False
    doubt: float = PLAN_DOUBT


@dataclass(frozen=True, eq=False)
class PartNumbers:
    """All that is worked out from one look; only the same object counts as equal.

    Attributes
    ----------
    wetted_share, wetted_sd : float or None
        Of the part, cloth that was not seen taken as what lies around it; the doubt holds that it
        may be otherwise. None while nothing can be measured.
    resin_in_kg : float or None
        What the wet pores hold.
    hidden_share : float
        Share of the part that was not seen itself.
    left : TimeLeft or None
    feeds : tuple of NextFeed
    cut_offs : tuple of CutOff
    learnt : bool
        Whether the forecast was corrected by what was seen.
    last_s : float
        Time of the look, in seconds since resin start.
    cannot : str
        Why nothing can be measured; empty when it can.
    doubts : tuple of str
        Of the eyes: why what is shown may be wrong.
    time_s, shares : ndarray of shape (K,)
        The photos used, in seconds since resin start, and the wet share in each.
    standstill : Standstill or None
    not_seen : NotSeen or None
        Cloth behind the front that counts as wet though nobody saw it so.
    """

    wetted_share: float | None = None
    wetted_sd: float | None = None
    resin_in_kg: float | None = None
    hidden_share: float = 0.0
    left: TimeLeft | None = None
    feeds: tuple[NextFeed, ...] = ()
    cut_offs: tuple[CutOff, ...] = ()
    learnt: bool = False
    last_s: float = 0.0
    cannot: str = ""
    doubts: tuple[str, ...] = ()
    time_s: FloatArray = field(default_factory=lambda: np.zeros(0))
    shares: FloatArray = field(default_factory=lambda: np.zeros(0))
    standstill: Standstill | None = None
    not_seen: NotSeen | None = None


def planned_forecast(job: PartJob) -> Forecast:
    """Return the plan's own forecast.

    Parameters
    ----------
    job : PartJob

    Raises
    ------
    WetlineError
        As `fill_plan`.
    """
    fill = fill_plan(job.plan, opening_impulses(job.plan, job.impulse))
    arrival = times_of(job.impulse, fill.arrival[: fill.links.cells])
    return Forecast(fill.links, arrival)


def learnt_forecast(learnt: Learnt, on: SeenOnPlan) -> Forecast:
    """Return the forecast of a plan that was corrected by what was seen.

    Parameters
    ----------
    learnt : Learnt
    on : SeenOnPlan
        What it was learnt from.

    Notes
    -----
    A fit that does not explain all that was seen is held to be no surer than the plan.
    """
    to_come = np.array([learnt.fill_low_s, learnt.fill_time_s, learnt.fill_high_s]) - on.last_s
    doubt = LEARNT_DOUBT
    if np.isfinite(to_come).all() and (to_come > 0).all():
        doubt = max(doubt, float(np.abs(np.log(to_come / to_come[1])).max()))
    if not learnt.explains:
        doubt = max(doubt, PLAN_DOUBT)
    return Forecast(on.links, learnt.arrival_s, True, min(doubt, MOST_DOUBT))


def read_part_numbers(
    job: PartJob,
    seen: PartSeen,
    forecast: Forecast,
    opened: Collection[str] = (),
    open_vents: Sequence[bool] | None = None,
    planned_s: FloatArray | None = None,
    at_work: Collection[str] = (),
) -> PartNumbers:
    """Work out the numbers of a part's board.

    Parameters
    ----------
    job : PartJob
    seen : PartSeen
        The latest look.
    forecast : Forecast
    opened : collection of str
        Later feeds that are open already.
    open_vents : sequence of bool, optional
        False for a vent that was clamped by hand.
    planned_s : ndarray of shape (cells,), optional
        The plan's own arrival, to find a front that stands still by; left out, it is not looked
        for.
    at_work : collection of str
        Later feeds that nobody noted as open and that resin seems to come from.
    """
    if not seen.usable:
        return PartNumbers(cannot=seen.reason, doubts=seen.doubts)
    on = bring_on_plan(seen, forecast.links)
    clock = clock_of(job)
    ahead = look_ahead(on, forecast.arrival_s)
    used = seen.frame_s[seen.used]
    settled = float(used[-1 - SETTLED]) if len(used) > SETTLED else -1.0
    wet = ~ahead.dry[: on.links.cells]
    held = float(on.links.pore_m3[: on.links.cells][wet].sum())
    part = float(seen.inside.sum())
    last = len(seen.wetted_share) - 1
    sd = float(seen.wetted_sd[last]) if last >= 0 else None
    time_s, shares = seen.frame_s[seen.used], seen.wetted_share[seen.used]
    still = None
    if planned_s is not None:
        area = on.links.share[: on.links.cells]
        still = find_standstill(time_s, shares, sd or 0.0, planned_s, area)
    return PartNumbers(
        wetted_share=1.0 - ahead.dry_share,
        wetted_sd=sd,
        resin_in_kg=held * clock.density_kg_m3,
        hidden_share=1.0 - float((seen.seen & seen.inside).sum()) / part if part else 1.0,
        left=time_left(ahead, clock.gel_s, forecast.doubt),
        feeds=feeds_to_open(job.plan, on, settled, opened, at_work, forecast.arrival_s),
        cut_offs=find_cut_offs(job.plan, ahead, forecast.doubt, open_vents, forecast.learnt),
        learnt=forecast.learnt,
        last_s=float(seen.last_s),
        doubts=seen.doubts,
        time_s=time_s,
        shares=shares,
        standstill=still,
        not_seen=find_not_seen(ahead),
    )
