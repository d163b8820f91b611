"""Whether resin comes out of a later feed that nobody noted as open, though the front is there."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.infusion.ahead.front_ahead import look_ahead
from analysis.infusion.seen.by_hand import as_opened, later_feeds
from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.part.answer.clock import opening_impulses, times_of
from analysis.part.flow.filling import fill_plan
from analysis.part.grid.canvas import away_mm
from analysis.part.plan.part_toml import PartJob
from analysis.part.plan.plan import PartPlan
from vision.errors import WetlineError
from vision.records import FloatArray

BACK, SETTLED = 2, 1
"""Photos over which a feed is watched, and those after them that must bear it out: what one photo
shows may be a hand."""
QUICKER, SLACK = 2.0, 0.25
"""The front of the other feeds would have taken so many times as long, a share of the time looked
at added to what it took: a zone may be twice as open as planned. Common practice, no source."""
REACH_SHARE, REACH_CELLS = 0.25, 4.0
"""What a feed just wetted lies within this share of the part's longer side, or so many cells."""
LEAST_SHARE, LEAST_CELLS = 0.01, 8
"""Share of the part, and cells, that must have wetted so."""


@dataclass(frozen=True)
class AtWork:
    """A feed that resin seems to come from.

    Attributes
    ----------
    name : str
    since_s : float
        Seconds since resin start after which it does.
    area_mm2 : float
        Cloth by it that wetted sooner than other feeds can have sent resin.
    """

    name: str
    since_s: float
    area_mm2: float


def fill_without(job: PartJob, opened: Collection[str] = ()) -> FloatArray | None:
    """Return when each cell would wet if later feeds that are not noted as open stay shut.

    Parameters
    ----------
    job : PartJob
        Feeds that were opened open when they were (`analysis.infusion.seen.by_hand.as_opened`).
    opened : collection of str
        Later feeds that are open.

    Returns
    -------
    arrival_s : ndarray of shape (cells,), or None
        None where all feeds are open, or none of them would be.
    """
    shut = {feed.name for feed in later_feeds(job.plan)} - set(opened)
    feeds = tuple(feed for feed in job.plan.feeds if feed.name not in shut)
    if not shut or not feeds:
        return None
    plan = replace(job.plan, feeds=feeds)
    try:
        fill = fill_plan(plan, opening_impulses(plan, job.impulse))
    except WetlineError:  # a piece of the part that these feeds do not reach
        return None
    return times_of(job.impulse, fill.arrival[: fill.links.cells])


def feeds_at_work(
    plan: PartPlan,
    on: SeenOnPlan,
    shut_s: FloatArray,
    photo_s: Sequence[float] | FloatArray,
    opened: Collection[str] = (),
) -> tuple[AtWork, ...]:
    """Find later feeds that are not noted as open and that resin seems to come from.

    Parameters
    ----------
    plan : PartPlan
    on : SeenOnPlan
    shut_s : ndarray of shape (cells,)
        From `fill_without`.
    photo_s : sequence of float
        Times of the photos used, in seconds since resin start.
    opened : collection of str
        Later feeds that are open.

    Notes
    -----
    From where the front was a few photos ago it is carried on as the other feeds would send it, at
    the run's own pace (`look_ahead`). A feed that opens behind a front wets the cloth about it
    many times as fast, for by Darcy's law a front goes the slower the farther it is from what
    feeds it. What wets quickly far from these feeds too, as by a gap, is not put down to one. A
    feed that opens when the front is far past it changes little, and is not told.
    """
    later = [feed for feed in later_feeds(plan) if feed.name not in opened]
    if not later or len(photo_s) <= BACK + SETTLED or photo_s[-1 - SETTLED - BACK] <= 0:
        return ()
    since, until = float(photo_s[-1 - SETTLED - BACK]), float(photo_s[-1 - SETTLED])
    before = np.where(np.nan_to_num(on.time_s, nan=np.inf) <= since, on.time_s, np.inf)
    before = np.where(np.isnan(on.time_s), np.nan, before)
    ahead = look_ahead(replace(on, time_s=before, last_s=since), shut_s)
    due = ahead.time_s[: on.links.cells]
    fresh = on.seen & (on.time_s > since) & (on.time_s <= until)
    took = np.where(fresh, on.time_s - since, np.inf) + SLACK * (until - since)
    quick = fresh & (due - since > QUICKER * took)
    centre = on.links.centre_mm[: on.links.cells]
    away = np.array([away_mm(centre, feed.place) for feed in later])
    near = away.min(axis=0) < _reach_mm(plan, on)
    share = on.links.share[: on.links.cells]
    least = max(LEAST_SHARE * float(share.sum()), float(LEAST_CELLS), share[quick & ~near].sum())
    found = []
    for k, feed in enumerate(later):
        area = float(share[quick & near & (np.argmin(away, axis=0) == k)].sum())
        if area >= least:
            found.append(AtWork(feed.name, since, area * on.links.grid.cell_m2 * 1e6))
    return tuple(found)


def seen_at_work(
    job: PartJob,
    on: SeenOnPlan,
    photo_s: Sequence[float] | FloatArray,
    opened_s: Sequence[float | None] | None = None,
) -> frozenset[str]:
    """Return which later feeds that nobody noted resin came from at any photo of a run.

    Parameters
    ----------
    job : PartJob
    on : SeenOnPlan
        Of the whole run.
    photo_s : sequence of float
        Times of the photos used, in seconds since resin start.
    opened_s : sequence of (float or None), optional
        When feeds were noted as open, as of `ByHand.opened_s`.
    """
    noted = [None] * len(job.plan.feeds) if opened_s is None else opened_s
    opened = {feed.name for feed, at in zip(job.plan.feeds, noted, strict=True) if at is not None}
    asked = {feed.name for feed in later_feeds(job.plan)} - opened
    shut_s = fill_without(as_opened(job, opened_s), opened) if asked else None
    if shut_s is None:
        return frozenset()
    found: set[str] = set()
    for count in range(len(photo_s), BACK + SETTLED, -1):
        if asked <= found:
            break
        looked = feeds_at_work(job.plan, on, shut_s, photo_s[:count], opened)
        found |= {one.name for one in looked}
    return frozenset(found)


def _reach_mm(plan: PartPlan, on: SeenOnPlan) -> float:
    size = float(np.ptp(plan.outline_mm, axis=0).max())
    return max(REACH_SHARE * size, REACH_CELLS * max(on.links.grid.dx_mm, on.links.grid.dy_mm))
