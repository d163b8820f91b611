"""Where resin came from, as seen: each planned feed, and places no feed can have wetted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from analysis.infusion.beside.late import SURE_SD, Late
from analysis.infusion.beside.surroundings import Surroundings
from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.part.answer.part_answer import PartAnswer
from analysis.part.grid.canvas import lies_on
from vision.records import BoolArray, FloatArray

LEAST_ISLAND = 2e-3
"""Share of the part from which on an island of resin is told of: smaller ones may be specks."""
BESIDE = np.ones((3, 3), bool)


@dataclass(frozen=True)
class FeedSeen:
    """A planned feed as it was seen.

    Attributes
    ----------
    name : str
    planned_s : float
        When the plan wets it; infinity where it never opens.
    wet_s : float
        When half of it was seen wet; infinity while it was not, NaN where it was not in sight.
    state : {"as planned", "early", "late", "never wet", "not yet due", "not seen"}
    by_front : bool
        Whether it opens when the front has passed it: then the front wetted it, and when it did
        tells nothing of the feed itself.
    """

    name: str
    planned_s: float
    wet_s: float
    state: str
    by_front: bool = False


@dataclass(frozen=True)
class Stray:
    """Resin that came up apart from all that any feed had wetted.

    Attributes
    ----------
    x_mm, y_mm : float
        Where it came up first.
    time_s : float
        When.
    area_mm2 : float
        Before resin from a feed reached it, or until last seen.
    where : str
        In words.
    """

    x_mm: float
    y_mm: float
    time_s: float
    area_mm2: float
    where: str


def find_feeds(
    answer: PartAnswer, on: SeenOnPlan, late: Late, around: Surroundings
) -> tuple[FeedSeen, ...]:
    """Compare when each planned feed wetted with when it should have."""
    found = []
    for feed in answer.plan.feeds:
        here = lies_on(on.links, feed.place)[: on.links.cells]
        if not (here & on.seen).any():  # its own hose hides it: the cloth beside it tells
            here = around.place_mm(feed.place) < around.near_mm
        told = here & on.seen
        planned = float(np.median(late.planned_s[told if told.any() else here]))
        wet = float(np.median(on.time_s[told])) if told.any() else np.nan
        sd = float(np.hypot(np.nanmax(np.append(on.sd_s[told], 0.0)), on.start_sd_s))
        state = _state(planned, wet, sd, late, on.last_s)
        found.append(FeedSeen(feed.name, planned, wet, state, feed.opens_when_wet))
    return tuple(found)


def _state(planned_s: float, wet_s: float, sd_s: float, late: Late, last_s: float) -> str:
    """Return how a feed that should wet at a time did."""
    slack = max(SURE_SD * sd_s, late.matters_s)
    if np.isnan(wet_s):
        return "not seen"
    if np.isinf(wet_s):
        return "never wet" if planned_s + slack < last_s else "not yet due"
    if wet_s > planned_s + slack:
        return "late"
    return "early" if wet_s < planned_s - slack else "as planned"


def find_strays(
    answer: PartAnswer, on: SeenOnPlan, late: Late, around: Surroundings
) -> tuple[Stray, ...]:
    """Find resin that came up where no feed, and no resin from one, was near.

    Notes
    -----
    The wet area is looked at in steps of a fraction of what matters, from the start on: a piece of
    it that touches neither a feed nor a planned gap, nor anything that was wet and fed before, is
    an island. It is told of when it stays one for longer than what matters, or what its times are
    sure to, and grows beyond a speck. What was not seen, or lies in a hole of the picture, counts
    as a bridge.
    """
    feeds = np.min([around.place_mm(feed.place) for feed in answer.plan.feeds], axis=0)
    fed = feeds < around.near_mm
    if len(around.gap_mm):
        fed |= around.gap_mm.min(axis=0) < around.near_mm
    time_s = np.where(on.seen | np.isinf(on.time_s), on.time_s, np.inf)
    least = LEAST_ISLAND * float(around.area_mm2.sum())
    bridge = np.isnan(on.time_s) | ~on.seen
    found: list[Stray] = []
    taken = np.zeros(len(time_s), bool)
    step = max(late.matters_s / 2, on.last_s / 400)
    for now in np.arange(step, on.last_s + step, step):
        islands = _islands(on, (time_s <= now) | bridge, fed | bridge)
        for cells in islands:
            if (cells & taken).any() or float(around.area_mm2[cells].sum()) < least:
                continue
            stray = _lasting(on, cells, fed | bridge, bridge, time_s, late, around)
            if stray is not None:
                taken |= cells
                found.append(stray)
    return tuple(found)


def _islands(on: SeenOnPlan, wet: BoolArray, fed: BoolArray) -> list[BoolArray]:
    """Return the pieces of the wet area that hold no fed cell."""
    inside = on.links.number >= 0
    label, count = ndimage.label(on.links.field(wet.astype(float), 0.0) > 0, BESIDE)
    name = label[inside]
    lone = np.setdiff1d(np.arange(1, count + 1), np.unique(name[fed & wet]))
    return [name == k for k in lone]


def _lasting(
    on: SeenOnPlan,
    cells: BoolArray,
    fed: BoolArray,
    bridge: BoolArray,
    time_s: FloatArray,
    late: Late,
    around: Surroundings,
) -> Stray | None:
    """Return an island as a stray, if it stays one for long enough to be sure."""
    first = int(np.flatnonzero(cells)[np.argmin(time_s[cells])])
    wait = max(late.matters_s, 2 * SURE_SD * float(np.nanmax(np.append(on.sd_s[cells], 0.0))))
    later = min(float(time_s[first]) + wait, on.last_s)
    still = any(island[first] for island in _islands(on, (time_s <= later) | bridge, fed))
    if not still or on.last_s - time_s[first] < wait:
        return None
    x, y = around.centre_mm[first]
    return Stray(
        float(x),
        float(y),
        float(time_s[first]),
        float(around.area_mm2[cells].sum()),
        around.words(cells),
    )
