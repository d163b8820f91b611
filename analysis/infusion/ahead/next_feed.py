"""Whether the front has passed the next feed along all of it, so that it may be opened."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from analysis.infusion.seen.by_hand import later_feeds
from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.part.grid.canvas import lies_on
from analysis.part.plan.plan import PartFeed, PartPlan
from vision.common.rounding import minutes
from vision.records import BoolArray, FloatArray, IntArray

OPEN, NOT_YET, HIDDEN = "open it", "not yet", "hidden"
AT_WORK, BY_PLAN = "seems open", "open by the plan"
BESIDE_MM, BESIDE_CELLS = 20.0, 2.5
"""Where a feed's own hose hides the cloth, the cloth so far to both sides of it tells: all that is
seen of it must be wet."""
LEAST_BESIDE = 0.45
"""Share of that cloth that must have been seen."""
MOST_HIDDEN = 0.5
"""A feed of which more was not seen itself is not said to be passed."""


@dataclass(frozen=True)
class NextFeed:
    """How the front stands at a feed that is not open yet.

    Attributes
    ----------
    name : str
    state : {"open it", "not yet", "hidden", "seems open", "open by the plan"}
    length_mm : float
        Of the feed line; twice the radius of a point.
    dry_mm : float
        How much of it the front has not passed, hidden parts that were filled as dry among it.
    hidden_mm : float
        How much of it was not seen itself.
    text : str
    due_s : float
        When the plan opens it, in seconds since resin start; for one that waits for the front,
        when the forecast has the front past it.
    """

    name: str
    state: str
    length_mm: float
    dry_mm: float
    hidden_mm: float
    text: str
    due_s: float = float("inf")


def feeds_to_open(
    plan: PartPlan,
    on: SeenOnPlan,
    settled_s: float | None = None,
    opened: Collection[str] = (),
    at_work: Collection[str] = (),
    arrival_s: FloatArray | None = None,
) -> tuple[NextFeed, ...]:
    """Find how the front stands at each feed that is to be opened later.

    Parameters
    ----------
    plan : PartPlan
    on : SeenOnPlan
    settled_s : float, optional
        Time of the look before the last: only what was wet by then counts, so that two looks
        agree. Left out, the last look counts.
    opened : collection of str
        Names of feeds that are open already.
    at_work : collection of str
        Names of others that resin seems to come from.
    arrival_s : ndarray of shape (cells,), optional
        When the front reaches each cell by the forecast: when a feed that waits for it is due.

    Returns
    -------
    tuple of NextFeed
        The nearest due first; first feeds and open ones are left out.
    """
    later = [feed for feed in later_feeds(plan) if feed.name not in opened]
    until = on.last_s if settled_s is None else settled_s
    found = [replace(_stands(feed, on, until), due_s=_due_s(feed, on, arrival_s)) for feed in later]
    return told_at_work(sorted(found, key=lambda feed: feed.due_s), at_work)


def _due_s(feed: PartFeed, on: SeenOnPlan, arrival_s: FloatArray | None) -> float:
    """Return when a later feed is to be opened."""
    if not feed.opens_when_wet:
        return feed.opens_at_s
    cells = lies_on(on.links, feed.place)[: on.links.cells]
    return float(arrival_s[cells].max()) if arrival_s is not None and cells.any() else np.inf


def first_to_tell(feeds: Sequence[NextFeed], now_s: float) -> list[NextFeed]:
    """Return the feeds that a board speaks of: those that want a hand now, and the next one.

    Parameters
    ----------
    feeds : sequence of NextFeed
        The nearest due first.
    now_s : float
        Seconds since resin start.

    Returns
    -------
    list of NextFeed
        Those that may be opened or seem to be open, then those whose time has come, each the
        nearest due first; else, or beside them, the nearest due of the others.
    """
    now = [feed for feed in feeds if feed.state in (OPEN, AT_WORK)]
    rest = [feed for feed in feeds if feed not in now]
    return now + [feed for k, feed in enumerate(rest) if k == 0 or feed.due_s <= now_s]


def told_at_work(feeds: Sequence[NextFeed], at_work: Collection[str]) -> tuple[NextFeed, ...]:
    """Return feeds with those named told as such that resin seems to come from."""
    return tuple(_working(feed) if feed.name in at_work else feed for feed in feeds)


def _working(feed: NextFeed) -> NextFeed:
    label = feed.name or "next feed"
    text = f"{label}: resin seems to come from it: note it as open, or see its clamp"
    return replace(feed, state=AT_WORK, text=text)


def in_result(feeds: Sequence[NextFeed], plan: PartPlan, last_s: float) -> tuple[NextFeed, ...]:
    """Return how feeds that nobody noted as open stand at the end of a run, for its result.

    The forecast takes the plan's word that a feed is open once its time has come. Such a feed, and
    one that resin seems to come from, is asked about, and not told to be opened.

    Parameters
    ----------
    feeds : sequence of NextFeed
    plan : PartPlan
    last_s : float
        Time of the last photo, in seconds since resin start.
    """
    opens_s = {feed.name: feed.opens_at_s for feed in plan.feeds if not feed.opens_when_wet}
    return tuple(_asked(feed, opens_s.get(feed.name, float("inf")), last_s) for feed in feeds)


def _asked(feed: NextFeed, opens_s: float, last_s: float) -> NextFeed:
    unnoted = f"{feed.name or 'next feed'}: nobody noted it as open"
    if feed.state == AT_WORK:
        mend = "if it is, write when it opened into part.toml; if not, see its clamp"
        return replace(feed, text=f"{unnoted}, but resin seems to come from it: {mend}")
    if opens_s > last_s:
        return feed
    counted = f"by the plan it is since {minutes(opens_s)}, and the forecast counts on it"
    return replace(feed, state=BY_PLAN, text=f"{unnoted}; {counted}: see whether it is")


def _stands(feed: PartFeed, on: SeenOnPlan, until_s: float) -> NextFeed:
    links = on.links
    cells = np.flatnonzero(lies_on(links, feed.place)[: links.cells])
    points = feed.place.points_mm
    length = 2.0 * feed.place.radius_mm
    if feed.place.is_line:
        length = float(np.hypot(*np.diff(points, axis=0).T).sum())
    passed, seen = _beside(on, cells, until_s)
    dry_mm = length * float(np.mean(~passed)) if len(cells) else length
    hidden_mm = length * float(np.mean(~seen)) if len(cells) else length
    dry = bool((~passed).any()) or not len(cells)
    if dry and bool((seen & ~passed).any()):
        state = NOT_YET
    elif dry or hidden_mm > MOST_HIDDEN * length:
        state = HIDDEN
    else:
        state = OPEN
    return NextFeed(
        feed.name, state, length, dry_mm, hidden_mm, _text(feed.name, state, dry_mm, hidden_mm)
    )


def _beside(on: SeenOnPlan, cells: IntArray, until_s: float) -> tuple[BoolArray, BoolArray]:
    """Return at which cells of a feed the front is past, and which of them were seen.

    A cell under the hose is judged by the cloth beside it.
    """
    links = on.links
    wet = np.nan_to_num(on.time_s, nan=np.inf) <= until_s
    passed, seen = wet[cells], on.seen[cells].copy()
    reach = max(BESIDE_MM, BESIDE_CELLS * max(links.grid.dx_mm, links.grid.dy_mm))
    centre = links.centre_mm[: links.cells]
    if seen.all():
        return passed, seen
    tree = cKDTree(centre)
    for k in np.flatnonzero(~seen):
        near = np.array(tree.query_ball_point(centre[cells[k]], reach))
        told = on.seen[near]
        if told.mean() >= LEAST_BESIDE:
            passed[k], seen[k] = bool(wet[near[told]].all()), True
    return passed, seen


def _text(name: str, state: str, dry_mm: float, hidden_mm: float) -> str:
    """Write how the front stands at a feed.

    Examples
    --------
    >>> _text("feed 2", NOT_YET, 60.0, 0.0)
    'feed 2: not yet: 60 mm of it still dry'
    """
    label = name or "next feed"
    unseen = f"; {hidden_mm:.0f} mm of it hidden" if hidden_mm >= 0.5 else ""
    if state == OPEN:
        return f"{label}: the front is past all of it: open it{unseen}"
    if state == HIDDEN:
        return f"{label}: {hidden_mm:.0f} mm of it hidden: look at the part itself before you open"
    return f"{label}: not yet: {max(dry_mm, 1.0):.0f} mm of it still dry{unseen}"
