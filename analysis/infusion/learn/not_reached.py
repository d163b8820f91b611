"""What the picture does not tell, moved with what it does: zones that no resin has reached yet.

All zones of a part share resin, vacuum and often the batch of cloth; what sets all K seen off the
plan by one factor will not spare the zones that are still dry.

Tested in tests/analysis/infusion/learn/test_fit_plan.py.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from analysis.infusion.learn.knobs import SHARED_SD, Knob, plan_sd
from analysis.infusion.learn.search_values import Fitted
from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.part.grid.canvas import lies_on
from analysis.part.plan.plan import PartPlan, Place
from vision.records import BoolArray, FloatArray, IntArray

FEWEST_IN_ZONE = 6
DEEP_MM, DEEP_CELLS, DEEP_SHARE = 15.0, 3.0, 0.6
"""How far resin must have come into a zone to tell its K: five times what its border may be off as
laid (3 mm, judgement), and so many cells, or this share of what a narrow zone has."""
NOT_REACHED = "no resin has been seen in it yet"
JUST_REACHED = "resin has only just come into it"
LEAST_OWN_SD = 0.15
"""How far K of one zone lies from that of the others at least, as the standard deviation of the
logarithm: two lay-ups of one cloth by the same hands (common practice, no source)."""
WORTH = 3.0
"""What the plan says of that spread counts as so many zones seen (judgement)."""


@dataclass(frozen=True)
class Whole:
    """All knobs with what is known of them.

    Attributes
    ----------
    at : ndarray of shape (N,), float
    cov : ndarray of shape (N, N), float
    """

    at: FloatArray
    cov: FloatArray

    @property
    def sd(self) -> FloatArray:
        """Standard uncertainty of each knob."""
        return np.asarray(np.sqrt(np.diag(self.cov)))


def carry_over(plan: PartPlan, every: Sequence[Knob], fitted: Fitted) -> Whole:
    """Return all knobs: as fitted, and those that the picture does not tell moved with the others.

    Parameters
    ----------
    plan : PartPlan
        As it was.
    every : sequence of Knob
    fitted : Fitted

    Returns
    -------
    Whole

    Notes
    -----
    log K of a zone is taken as the plan's, plus one number that all zones share (prior sd
    `SHARED_SD`), plus one of its own. The spread of the own numbers is that among the zones told,
    with the plan's own interval of K as `WORTH` zones more; the shared number then is the mean of
    the zones told, weighed and shrunk (best linear prediction; Robinson, Statist. Sci. 6, 15-32,
    1991, from memory). Gaps and feeds share nothing: they stay as planned.
    """
    count = len(every)
    at, cov = np.zeros(count), np.zeros((count, count))
    at[fitted.free] = fitted.at
    cov[np.ix_(fitted.free, fitted.free)] = fitted.cov
    told = [place for place, knob in enumerate(fitted.knobs) if knob.kind == "zone"]
    for k in np.setdiff1d(np.arange(count), fitted.free):
        sd = plan_sd(plan, every[k])
        if every[k].kind != "zone":
            cov[k, k] = sd**2
            continue
        weight, own = _weights(fitted, told, sd)
        drawn = np.zeros(count)
        drawn[fitted.free[told]] = weight
        at[k] = float(drawn @ at)
        shared = drawn @ cov
        cov[k, :] += shared
        cov[:, k] += shared
        cov[k, k] = float(drawn @ cov @ drawn) + own
    return Whole(at, cov)


def _weights(fitted: Fitted, told: list[int], sd: float) -> tuple[FloatArray, float]:
    """Return the weights of the zones told in one that is not, and the variance they leave it."""
    if not told:
        return np.zeros(0), sd**2
    values, noise = fitted.at[told], np.diag(fitted.cov)[told]
    spread = max(LEAST_OWN_SD, sd) ** 2 * WORTH
    if len(told) > 1:
        seen = float(np.var(values, ddof=1) - noise.mean())
        spread += (len(told) - 1) * max(seen, 0.0)
    spread /= WORTH + len(told) - 1
    precision = 1.0 / (spread + noise)
    weight = precision / (precision.sum() + 1.0 / SHARED_SD**2)
    # Beside its own number: the others' own numbers, and what shrinking leaves of the shared one.
    own = spread * (1.0 + float(weight @ weight)) + (SHARED_SD * (1.0 - float(weight.sum()))) ** 2
    return weight, own


def cannot_tell(
    plan: PartPlan, knob: Knob, on: SeenOnPlan, stack: IntArray, sought: Collection[int]
) -> str:
    """Return why a number cannot be told from this picture; empty where it may be.

    Parameters
    ----------
    plan : PartPlan
    knob : Knob
    on : SeenOnPlan
    stack : ndarray of shape (cells,), int
        Which stack of the plan each cell has.
    sought : collection of int
        Feeds whose opening is searched for.
    """
    told = on.seen & np.isfinite(on.time_s)
    if knob.kind == "opening":
        return "" if knob.index in sought else "it is not searched for"
    if knob.kind == "zone":
        here = stack == knob.index
        reached, hidden = on.wet & here, on.wet & here & ~on.seen
        if np.count_nonzero(told & here) >= FEWEST_IN_ZONE:
            return "" if _deep_in(on, told & here, stack) else JUST_REACHED
        if np.count_nonzero(hidden) > np.count_nonzero(reached) / 2 > 0:
            return "it was hidden as the resin went through"
        return NOT_REACHED
    if knob.kind == "gap":
        line = plan.gaps[knob.index].line_mm
        return "" if _seen_beside(on, told, Place(line)) else "no resin has been seen beside it yet"
    place = plan.feeds[knob.index].place
    if _seen_beside(on, told, place):
        return ""
    if not _seen_beside(on, on.seen, place):
        return "the cloth that would show it was not seen, as under the feed's own hose"
    return "no resin has been seen to come from it yet"


def _deep_in(on: SeenOnPlan, told: BoolArray, stack: IntArray) -> bool:
    """Return whether cells told lie far enough from the border of their zone to tell its K."""
    zone, grid = int(stack[np.flatnonzero(told)[0]]), on.links.grid
    others = on.links.field((stack != zone).astype(float), 0.0) > 0
    if not others.any():
        return True
    size = (grid.dy_mm, grid.dx_mm)
    away = ndimage.distance_transform_edt(~others, sampling=size)[on.links.number >= 0]
    deep = max(DEEP_MM, DEEP_CELLS * max(size))
    deep = min(deep, DEEP_SHARE * float(away[stack == zone].max()))
    return bool(np.count_nonzero(told & (away >= deep)) >= FEWEST_IN_ZONE)


def _seen_beside(on: SeenOnPlan, told: BoolArray, place: Place) -> bool:
    beside = lies_on(on.links, place)[: on.links.cells]
    return bool(np.count_nonzero(told & beside) >= max(1, 0.2 * np.count_nonzero(beside)))
