"""Resin at a later feed before anyone can have opened it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.part.grid.canvas import away_mm
from analysis.part.plan.outline import line_distance_mm
from analysis.part.plan.plan import PartFeed, PartPlan
from vision.part_records import PartSeen
from vision.records import BoolArray

NEAR_SHARE, NEAR_CELLS = 0.03, 2.5
"""Cloth counts as beside a feed within this share of the part's longer side, or so many cells."""
WET_SHARE = 0.25
"""Share of the cloth seen beside a feed that must be wet for resin to be there (judgement)."""
FEWEST_CELLS = 3
SURE_SD, LEAST_SHARE = 3.0, 0.02
"""Earlier is told from so many standard uncertainties on, and this share of the time watched."""
BESIDE = np.ones((3, 3), bool)


@dataclass(frozen=True)
class EarlyFeed:
    """A later feed at which resin came up before it can have been opened.

    Attributes
    ----------
    name : str
    wet_s, sd_s : float
        When the cloth beside it was wet, in seconds since resin start, and how sure that is (one
        standard uncertainty, the time between photos in it).
    text : str
        What was seen and what to do, in one line.
    """

    name: str
    wet_s: float
    sd_s: float
    text: str


def find_early(
    seen: PartSeen, plan: PartPlan, on: SeenOnPlan, opened_s: Sequence[float | None] | None = None
) -> tuple[EarlyFeed, ...]:
    """Find later feeds that resin came out of too early; none where nothing is to be believed.

    Parameters
    ----------
    seen : PartSeen
    plan : PartPlan
    on : SeenOnPlan
        The same on the plan's cells.
    opened_s : sequence of (float or None), optional
        When feeds were noted as open, as of `ByHand.opened_s`.
    """
    if not seen.usable:
        return ()
    gaps = np.diff(seen.frame_s)
    return early_feeds(plan, on, opened_s, float(np.median(gaps)) if len(gaps) else 0.0)


def with_early_feeds(seen: PartSeen, found: Sequence[EarlyFeed]) -> PartSeen:
    """Return what was seen with a doubt for each feed that resin came out of too early."""
    return replace(seen, doubts=(*(one.text for one in found), *seen.doubts)) if found else seen


def early_feeds(
    plan: PartPlan,
    on: SeenOnPlan,
    opened_s: Sequence[float | None] | None = None,
    photo_s: float = 0.0,
) -> tuple[EarlyFeed, ...]:
    """Find each later feed at which resin came up before it can have been opened.

    Parameters
    ----------
    plan : PartPlan
    on : SeenOnPlan
    opened_s : sequence of (float or None), optional
        Seconds since resin start at which feeds were noted as open.
    photo_s : float
        Usual time between photos.

    Notes
    -----
    A front that passes a feed wets it too and says nothing of its clamp: a feed is spoken of only
    where the resin beside it touches nothing that an open feed or a planned gap has wetted, and
    still does not when the times are sure of it. What was not seen counts as a bridge.
    """
    noted = [None] * len(plan.feeds) if opened_s is None else list(opened_s)
    feeds = zip(plan.feeds, noted, strict=True)
    opens = [at if at is not None else _planned_s(feed) for feed, at in feeds]
    centre, near = on.links.centre_mm[: on.links.cells], _near_mm(plan, on)
    beside = [away_mm(centre, feed.place) < near for feed in plan.feeds]
    gaps = [line_distance_mm(centre, gap.line_mm) < near for gap in plan.gaps]
    found = []
    for feed, here, opens_s, told in zip(plan.feeds, beside, opens, noted, strict=True):
        clear = here & on.seen
        if opens_s <= 0 or np.count_nonzero(clear) < FEWEST_CELLS:
            continue
        wet_s = float(np.sort(on.time_s[clear])[int(WET_SHARE * np.count_nonzero(clear))])
        first = clear & (on.time_s <= wet_s)
        own_sd = float(np.nanmedian(on.sd_s[first])) if np.isfinite(wet_s) else 0.0
        sd = float(np.hypot(own_sd, on.start_sd_s))
        slack = max(SURE_SD * sd, photo_s, LEAST_SHARE * on.last_s)
        if wet_s + slack >= min(opens_s, on.last_s):
            continue
        fed = np.any([place for place, at in zip(beside, opens, strict=True) if at <= wet_s], 0)
        if not _joined(on, first, np.any([fed & ~here, *gaps], axis=0), wet_s + slack):
            text = _words(feed.name, wet_s, opens_s, told is not None)
            found.append(EarlyFeed(feed.name, wet_s, float(np.hypot(sd, photo_s)), text))
    return tuple(found)


def _planned_s(feed: PartFeed) -> float:
    """Return when the plan opens a feed; infinity for one that waits for the front."""
    return float("inf") if feed.opens_when_wet else feed.opens_at_s


def _near_mm(plan: PartPlan, on: SeenOnPlan) -> float:
    grid = on.links.grid
    size = float(np.ptp(plan.outline_mm, axis=0).max())
    return max(NEAR_SHARE * size, NEAR_CELLS * max(grid.dx_mm, grid.dy_mm))


def _joined(on: SeenOnPlan, cells: BoolArray, fed: BoolArray, at_s: float) -> bool:
    """Return whether cells hang together at a time with wet cloth that is fed."""
    bridge = ~on.seen | np.isnan(on.time_s)
    wet = np.nan_to_num(on.time_s, nan=0.0) <= at_s
    field = on.links.field((wet | bridge).astype(float), 0.0) > 0
    label = ndimage.label(field, BESIDE)[0][on.links.number >= 0]
    return bool(np.isin(label[cells], np.setdiff1d(label[fed & (wet | bridge)], 0)).any())


def _words(name: str, wet_s: float, opens_s: float, told: bool) -> str:
    """Write what was seen at a feed, and what to do."""
    start = f"resin at feed {name!r} {wet_s / 60:.1f} min after resin start"
    early = f"{(opens_s - wet_s) / 60:.1f} min before"
    if told:
        return (
            f"{start}, {early} it was noted as opened, and no front had reached it: was it open? "
            "Put the note right; if it was shut, see its clamp and hose, and look for a leak"
        )
    when = f"{early} it was to be opened" if np.isfinite(opens_s) else "while it was to stay shut"
    return (
        f"{start}, {when}, and no front had reached it: was it open? If so, write when it opens "
        "in part.toml; if not, see its clamp and hose, and look for a leak"
    )
