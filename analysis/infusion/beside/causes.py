"""What usually makes a place wet early or late, by its pattern, and what to look at."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy import ndimage

from analysis.infusion.beside.late import Late
from analysis.infusion.beside.sources import FeedSeen, Stray
from analysis.infusion.beside.surroundings import Surroundings
from analysis.infusion.seen.on_plan import SeenOnPlan
from vision.records import BoolArray, FloatArray

MOST_CAUSES = 3
STRIP_SHARE = 0.12
"""A strip along a wall is at least this share of the part's longest side."""
ZONE_SHARE = 0.6
"""Share of a place, or of where it begins, that lies in a zone for the zone to be behind it."""
ZONE_HELD = 0.2
BEGINS = 0.5
"""Share of where a place begins that lies beside a corner, for it to begin there."""
AT_WALL = 0.5
"""Share of what is farthest off the plan that lies at a wall, for a gap to be spoken of at all."""
ISLAND_SHARE = 0.25
"""Share of a late place that is dry yet, at least, for an island of it to be spoken of."""
LIES = "which way the cloth's easy direction lies, beside the plan's angle_deg"


@dataclass(frozen=True)
class Cause:
    """What usually does it: never certain.

    Attributes
    ----------
    name : str
    why : str
        What of the pattern speaks for it.
    look : str
        What to look at.
    vague : bool
        Whether nothing of the plan points to it: what is left when nothing else fits.
    """

    name: str
    why: str
    look: str
    vague: bool = False

    @property
    def place_tells(self) -> bool:
        """Whether something in the plan at that place points to it."""
        return not self.vague


Ranked = Iterator[tuple[float, Cause]]


@dataclass(frozen=True)
class Scene:
    """What the causes of a place are judged by."""

    on: SeenOnPlan
    late: Late
    around: Surroundings
    feeds: tuple[FeedSeen, ...]
    strays: tuple[Stray, ...]
    turned: frozenset[int]
    one_way: frozenset[int] = frozenset()
    """Stacks of which it is not told how their cloth lies: resin ran through them one way only."""


def causes_of(scene: Scene, cells: BoolArray) -> tuple[Cause, ...]:
    """Return what usually does that to a place, the likeliest first.

    Parameters
    ----------
    scene : Scene
    cells : ndarray of shape (cells,), bool
        The place: all of it early, or all of it late.

    Notes
    -----
    Which pattern goes with which cause is common practice, no source.
    """
    late = float(np.median(scene.late.rest_s[cells])) > 0
    found = [*_turned(scene, cells), *(_late(scene, cells) if late else _early(scene, cells))]
    found.sort(key=lambda pair: -pair[0])
    told = [cause for _, cause in found if not cause.vague] or [cause for _, cause in found]
    return tuple(told[:MOST_CAUSES])


def _early(scene: Scene, cells: BoolArray) -> Ranked:
    around, best = scene.around, _strongest(scene, cells)
    for stray in scene.strays:
        if np.hypot(*(around.centre_mm[cells] - (stray.x_mm, stray.y_mm)).T).min() < around.near_mm:
            why = "resin came up there apart from all that the open feeds had wetted"
            look = "hoses, taps and seals there; or a feed that was opened and is not in the plan"
            yield 5.0, Cause("resin from somewhere else", why, look)
    for feed, seen in zip(around.plan.feeds, scene.feeds, strict=True):
        near = float(around.place_mm(feed.place)[cells].min()) < around.near_mm
        if seen.state == "early" and near and not seen.by_front:
            why = f"{feed.name} wetted before the plan opens it"
            look = f"when {feed.name} was opened, and its clamp"
            yield 3.2, Cause("a feed that opened early", why, look)
    strip = _along_wall(scene, cells)
    for k, away in enumerate(around.gap_mm, start=1):
        if _lies_along(away, around, best, cells):
            why = f"the place is earliest along planned gap {k}"
            look = "the gap's width beside the cloth, and what fills it"
            yield 3.0, Cause("a planned gap that races more than planned", why, look)
    if strip > STRIP_SHARE:
        why = f"it runs along the edge for {100 * strip:.0f} % of the part's length, earliest there"
        look = "whether the cloth stops short of the edge, and the bag or tape beside it"
        yield 2.0 + min(strip, 0.9), Cause("a gap that races along the edge", why, look)
    elif float((around.wall_mm[best] < 2 * around.near_mm).mean()) > AT_WALL:
        why = "it is earliest beside an edge; a corner that is bridged can look the same"
        look = "whether the cloth stops short of the edge, and the bag or tape beside it"
        yield 1.5, Cause("a gap that races along the edge", why, look)
    start = _first_planned(scene, cells)
    for distance, what in ((around.corner_mm, "a corner"), (around.border_mm, "a zone's border")):
        begins = float((distance[start] < 3 * around.near_mm).mean()) > BEGINS
        if begins:
            # What races along a wall from the feed on does not begin at a corner.
            why = f"the place begins beside {what}, and not at the feed"
            look = "whether bag or cloth spans the corner or step and leaves a channel under it"
            yield 2.95, Cause("bridging", why, look)
        elif (distance[best] < around.near_mm).mean() > 0.3:
            why = f"it is earliest beside {what}"
            look = "whether bag or cloth spans the corner or step and leaves a channel under it"
            yield 1.6, Cause("bridging", why, look)
    yield from _zone(scene, cells, "more open", "a layer missing, looser cloth, or flow media")
    why = "nothing in the plan lies where it is earliest"
    look = "layers, flow media and pleats of the bag there"
    yield 0.5, Cause("looser cloth or a pleat in the bag", why, look, vague=True)


def _late(scene: Scene, cells: BoolArray) -> Ranked:
    around = scene.around
    start, shut = _first_planned(scene, cells), False
    for feed, seen in zip(around.plan.feeds, scene.feeds, strict=True):
        bad = seen.state in ("never wet", "late") and not seen.by_front
        if bad and float(around.place_mm(feed.place)[cells].min()) < around.near_mm:
            why = f"{feed.name} was planned to be open and did not wet in time"
            look = f"clamp, hose and tap of {feed.name}, and resin in its pot"
            shut = True
            yield 4.0, Cause("a feed that is shut or blocked", why, look)
        after = seen.by_front and seen.state in ("never wet", "late")
        if after and float(around.place_mm(feed.place)[cells].min()) < around.near_mm:
            why = f"{feed.name} waits for the front, which came to it later than planned"
            look = f"when {feed.name} was opened, and what kept the front before it"
            yield 2.1, Cause("a next feed that opened later", why, look)
    for k, away in enumerate(around.gap_mm, start=1):
        if _lies_along(away, around, _strongest(scene, cells), cells):
            why = f"it is latest along planned gap {k}"
            look = "whether cloth, tape or bag closes the gap"
            yield 2.5, Cause("a planned gap that is closed", why, look)
    if not shut and _dry_island(scene, cells):
        why = "it is dry with wet all round it"
        look = "tape, vent and hose there: listen and watch the gauge with the pump shut off"
        yield 3.0, Cause("a leak", why, look)
        why = "resin ran round it and shut its air in"
        look = "whether a vent reaches it"
        yield 2.2, Cause("air that is cut off", why, look)
    for distance, what in ((around.corner_mm, "a corner"), (around.border_mm, "a zone's border")):
        if (distance[start] < around.near_mm).mean() > 0.3:
            why = f"it begins at {what} and lies behind it"
            look = "whether cloth is packed tight or folded there, or the bag pulls it down"
            yield 2.0, Cause("cloth pressed too tight, or bag that bridges and pinches", why, look)
    yield from _zone(scene, cells, "denser", "a layer too many, or cloth packed tighter")
    why = "nothing in the plan lies where it begins"
    look = "folds, overlaps and layers there, and the vacuum beside it"
    yield 0.5, Cause("denser cloth or weaker vacuum there", why, look, vague=True)


def _zone(scene: Scene, cells: BoolArray, word: str, usual: str) -> Ranked:
    """Yield that a zone as a whole is unlike the plan: the place begins in it and holds it."""
    around, compared = scene.around, np.isfinite(scene.late.rest_s)
    start = _first_planned(scene, cells)
    for index in range(1, len(around.plan.stacks)):
        zone = around.stack == index
        told, within = (float(around.area_mm2[zone & of].sum()) for of in (compared, cells))
        if told > 0 and within > ZONE_HELD * told and (zone[start]).mean() > ZONE_SHARE:
            name = around.stack_name(index)
            why = f"the place begins in {name} and holds {100 * within / told:.0f} % of it"
            yield 2.6, Cause(f"{name} is {word} than planned", why, usual)
            if index in scene.one_way:
                why = f"resin ran one way only through {name}: a quarter turn would look the same"
                yield 2.55, Cause("cloth turned the wrong way", why, LIES)


def _turned(scene: Scene, cells: BoolArray) -> Ranked:
    for index in sorted(scene.turned):
        zone = scene.around.stack == index
        # What a turned zone makes early or late reaches on past it.
        if max(zone[cells].mean(), zone[_first_planned(scene, cells)].mean()) > ZONE_SHARE:
            name = scene.around.stack_name(index)
            why = f"in {name} resin runs slower than planned along the cloth, faster across it"
            yield 3.5, Cause("cloth turned the wrong way", why, LIES)


def _strongest(scene: Scene, cells: BoolArray) -> BoolArray:
    """Return the quarter of a place that is farthest off the plan, for its planned time."""
    size = _relative(scene)
    return cells & (size >= np.quantile(size[cells], 0.75))


def _relative(scene: Scene) -> FloatArray:
    """Return the size of the difference over the planned time."""
    late = scene.late
    return np.asarray(np.abs(late.rest_s) / np.maximum(late.planned_s, late.matters_s))


def _lies_along(
    away_mm: FloatArray, around: Surroundings, best: BoolArray, cells: BoolArray
) -> bool:
    """Return whether what is farthest off the plan lies along a line, and the rest less so."""
    near = away_mm < 2 * around.near_mm
    share = float(near[best].mean())
    return share > 0.35 and share > 1.4 * float(near[cells & ~best].mean())


def _first_planned(scene: Scene, cells: BoolArray) -> BoolArray:
    """Return the tenth of a place that the plan wets first."""
    planned = scene.late.planned_s
    return cells & (planned <= np.quantile(planned[cells], 0.1))


def _along_wall(scene: Scene, cells: BoolArray) -> float:
    """Return how far a place runs along a wall, over the part's size; 0 if not earliest there.

    Resin that races along a wall is ahead of the cloth that the plan wets at the same time, so
    in each of five spans of planned time the earliest quarter lies at a wall, the rest less so.
    """
    around, planned = scene.around, scene.late.planned_s
    size = _relative(scene)
    wall = around.wall_mm < 2 * around.near_mm
    ahead, strip = [], 0.0
    for low, high in pairwise(np.quantile(planned[cells], np.linspace(0, 1, 6))):
        span = cells & (planned >= low) & (planned <= high)
        best = span & (size >= np.quantile(size[span], 0.75))
        rest = span & (size < np.quantile(size[span], 0.5))
        at_wall = float(wall[best].mean())
        ahead.append(at_wall > 0.6 and at_wall > 1.3 * float(wall[rest].mean()))
        strip += float(around.area_mm2[best & wall].sum())
    if np.mean(ahead) < 0.6:
        return 0.0
    return strip / (2 * around.near_mm) / around.size_mm


def _dry_island(scene: Scene, place: BoolArray) -> bool:
    """Return whether a place holds dry cloth that is ringed by wet, and resin went on past it.

    In its lee a place is late but wet by then, which leaves little more of it dry than the island.
    """
    cells = place & np.isinf(scene.on.time_s)
    if float(cells.sum()) < ISLAND_SHARE * float(place.sum()):
        return False
    links = scene.on.links
    field = links.field(cells.astype(float), 0.0) > 0
    ring = (ndimage.binary_dilation(field, np.ones((3, 3)), 2) & ~field)[links.number >= 0]
    ring &= scene.on.seen
    planned = scene.late.planned_s
    past = (planned > np.median(planned[cells])) & scene.on.wet & scene.on.seen
    wet = bool(ring.any()) and float(scene.on.wet[ring].mean()) > 0.7
    return wet and float(past.sum()) > 0.1 * float(cells.sum())
