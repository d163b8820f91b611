"""What people did at a part by hand: later feeds opened, vents clamped, and what was taken back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from analysis.part.plan.part_toml import PartJob
from analysis.part.plan.plan import PartFeed, PartPlan
from vision.settings.event_log import (
    FEED_BACK,
    FEED_OPEN,
    VENT_BACK,
    VENT_SHUT,
    plain_text,
    read_stamps,
)

SAME_TIME_S = 10.0


@dataclass(frozen=True)
class ByHand:
    """What was noted of a part's feeds and vents.

    Attributes
    ----------
    opened : tuple of (str, float)
        Later feeds that are open, and when, as Unix time; the first word on each counts.
    shut : tuple of str
        Vents that are clamped.
    last : (str, str) or None
        Kind and name of the last thing done that is not taken back.
    """

    opened: tuple[tuple[str, float], ...] = ()
    shut: tuple[str, ...] = ()
    last: tuple[str, str] | None = None

    def open_vents(self, plan: PartPlan) -> list[bool]:
        """Return which of a plan's vents are not clamped."""
        return [vent.name not in self.shut for vent in plan.vents]

    def opened_s(self, plan: PartPlan, start_clock_s: float | None) -> list[float | None] | None:
        """Return seconds since resin start at which each of a plan's feeds was opened by hand.

        Parameters
        ----------
        plan : PartPlan
        start_clock_s : float or None
            Resin start as Unix time.

        Returns
        -------
        opened_s : list of (float or None), or None
            None for a feed of which nothing was noted; None alone where nothing was noted at all,
            or the start is not known.
        """
        at = dict(self.opened)
        if start_clock_s is None or not any(feed.name in at for feed in plan.feeds):
            return None
        return [
            max(0.0, at[feed.name] - start_clock_s) if feed.name in at else None
            for feed in plan.feeds
        ]


def read_by_hand(folder: Path, plan: PartPlan) -> ByHand:
    """Read what was noted of a part's feeds and vents from its stamps.

    Parameters
    ----------
    folder : Path
    plan : PartPlan
        Its feeds and vents carry the names.

    Raises
    ------
    WetlineError
        As `vision.settings.event_log.read_stamps`.
    """
    every = [feed.name for feed in plan.feeds] + [vent.name for vent in plan.vents]
    names = {plain_text(name): name for name in every}
    opened: dict[str, float] = {}
    shut: dict[str, None] = {}
    done: list[tuple[str, str]] = []
    for stamp in read_stamps(folder):
        name = names.get(stamp.text, stamp.text)
        if stamp.kind == FEED_OPEN:
            opened.setdefault(name, stamp.clock_s)
        elif stamp.kind == FEED_BACK:
            opened.pop(name, None)
        elif stamp.kind == VENT_SHUT:
            shut[name] = None
        elif stamp.kind == VENT_BACK:
            shut.pop(name, None)
        if stamp.kind in (FEED_OPEN, VENT_SHUT):
            done.append((stamp.kind, name))
    there = [(kind, name) for kind, name in done if name in (opened if kind == FEED_OPEN else shut)]
    return ByHand(tuple(opened.items()), tuple(shut), there[-1] if there else None)


def later_feeds(plan: PartPlan) -> list[PartFeed]:
    """Return the feeds that a plan opens after the start, in the order in which it does."""
    later = [feed for feed in plan.feeds if feed.opens_at_s > 0 or feed.opens_when_wet]
    return sorted(later, key=lambda feed: feed.opens_at_s)


def as_opened(job: PartJob, opened_s: Sequence[float | None] | None) -> PartJob:
    """Return a job whose feeds open when they were opened.

    Parameters
    ----------
    job : PartJob
    opened_s : sequence of (float or None), optional
        Seconds since resin start of each feed; None where the plan's word stands.
    """
    if opened_s is None:
        return job
    feeds = tuple(
        feed
        if at is None
        else replace(feed, opens_at_s=float(at) if at > 0 else 0.0, opens_when_wet=False)
        for feed, at in zip(job.plan.feeds, opened_s, strict=True)
    )
    return replace(job, plan=replace(job.plan, feeds=feeds))


def about_same(one: Sequence[float | None] | None, other: Sequence[float | None] | None) -> bool:
    """Return whether feeds were opened at the same times, but for the doubt of resin start.

    Parameters
    ----------
    one, other : sequence of (float or None), optional
        Seconds since resin start of each feed, as of `ByHand.opened_s`.
    """
    pairs = list(zip(one or [], other or [], strict=False))
    return (one is None) == (other is None) and all(
        a == b or (a is not None and b is not None and abs(a - b) < SAME_TIME_S) for a, b in pairs
    )
