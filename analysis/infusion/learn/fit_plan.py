"""The plan's own filling fitted to what was seen: K of zones, widths of gaps, feeds, and the rest.

The filling is searched for that meets the arrival as seen, cell by cell; what the plan leaves
open and the picture does not narrow is not told. The rest of the filling follows from the
corrected values, made to meet the front as seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from analysis.infusion.learn.coarse_model import SLOPE_CELLS, Anchor, CoarseModel, fill_at
from analysis.infusion.learn.knobs import (
    LEAST_SD,
    Knob,
    drive_power,
    drive_sd,
    knobs_of,
    number_of,
    turned,
    with_stacks,
)
from analysis.infusion.learn.learnt import Learnt, LearntValue
from analysis.infusion.learn.misfit import (
    MODEL_SD,
    Places,
    as_even,
    places_of,
    residuals,
    unlike_places,
)
from analysis.infusion.learn.not_reached import Whole, carry_over
from analysis.infusion.learn.search_values import (
    Fitted,
    how_sure,
    overall_factor,
    search_values,
    slope_of_fill_time,
)
from analysis.infusion.learn.taken_back import (
    taken_back,
    too_unlike,
    turned_taken_back,
    unlike_note,
    wider,
)
from analysis.infusion.seen.by_hand import as_opened
from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.infusion.seen.turned import how_cloth_lies
from analysis.part.answer.clock import clock_of, opening_impulses, times_of
from analysis.part.flow.filling import Filling, fill_plan
from analysis.part.grid.canvas import lay_canvas, lies_on
from analysis.part.plan.part_toml import PartJob
from analysis.part.plan.plan import PartPlan, Place
from vision.errors import WetlineError
from vision.records import BoolArray, FloatArray, IntArray

FEWEST_PLACES = 30
FEWEST_IN_ZONE = 6
TOLD = 0.2
"""A number is told where the picture leaves less than this share of what was open before."""
LATEST = 0.2
"""Share of the time watched over which the front is taken to meet the forecast."""
NEARLY_ALL = 0.995
ANCHORED, MOST_ANCHORS = 0.06, 2
"""How near the filling on the plan's own grid must be to where the search ended, and how often it
is filled anew for that."""
GUESSED = 4.0
"""Degrees of freedom of what the picture does not tell: its spread is little better known."""
NOT_REACHED = "no resin has been seen in it yet"
SHARED = (
    "all values of K together hang on viscosity and vacuum as stated: colder resin, or less "
    "vacuum, looks like a lower K everywhere; their stated doubt is in each interval, but not in "
    "how two zones of this part stand to each other"
)


def fit_plan(
    job: PartJob,
    on: SeenOnPlan,
    planned: Filling | None = None,
    opened_s: Sequence[float | None] | None = None,
    start: Learnt | None = None,
) -> Learnt:
    """Correct the plan by what was seen, and forecast the rest.

    Parameters
    ----------
    job : PartJob
    on : SeenOnPlan
        On the plan's own grid.
    planned : Filling, optional
        The plan's filling, if it is at hand.
    opened_s : sequence of (float or None), optional
        Seconds at which each feed was seen to open; None where the plan's word stands.
    start : Learnt, optional
        What was learnt a moment ago, to start from.

    Returns
    -------
    Learnt

    Raises
    ------
    WetlineError
        If too little was seen to learn from.

    Notes
    -----
    Source: nonlinear least squares in the square root of time, which is linear along the flow,
    with a bounded loss (Huber, Ann. Math. Statist. 35, 73-101, 1964) and a weak prior; intervals
    by clusters (see `covariance`). Sampled places and a coarse grid keep it quick.
    """
    job = as_opened(job, opened_s)
    places = places_of(on)
    if np.count_nonzero(~places.dry) < FEWEST_PLACES:
        raise WetlineError(
            "too little of the part has been seen to wet: nothing can be learnt from it yet"
        )
    every = knobs_of(job.plan)
    stack = lay_canvas(job.plan).stack
    why = [_cannot_tell(job.plan, knob, on, stack) for knob in every]
    anchor = _first_anchor(job, every, planned, start)
    found = _search(job, on, places, every, why, anchor, warm=start is not None)
    fitted, whole, own = found.fitted, found.whole, found.model.arrival_s(found.whole.at)
    arrival_s = _meeting(on, own)
    unlike = unlike_places(on, places, own, fitted.left)
    first = [_value(job, knob, text, fitted, whole) for knob, text in zip(every, why, strict=True)]
    lies = how_cloth_lies(job.plan, on, stack, _anchor_s(job, found.model.anchor))
    values = turned_taken_back(job.plan, taken_back(job.plan, first, unlike, on, stack), lies)
    times = _fill_times(fitted, whole, found, arrival_s, on)
    fill_s, low_s, high_s = wider(*times, unlike, on)
    clock = clock_of(job)
    usual = np.abs(fitted.left[~places.dry] * places.sd[~places.dry] / places.root_s[~places.dry])
    return Learnt(
        values=values,
        plan=_corrected(job.plan, every, whole, values),
        arrival_s=arrival_s,
        fill_time_s=fill_s,
        fill_low_s=low_s,
        fill_high_s=high_s,
        gel_s=clock.gel_s,
        working_s=clock.working_s,
        unlike=unlike,
        misfit=float(2.0 * np.median(usual)),
        notes=(SHARED, *unlike_note(unlike, on)),
        knobs=whole.at,
        anchor=found.model.anchor,
        relied_on=not too_unlike(unlike, on),
    )


def _anchor_s(job: PartJob, anchor: Anchor) -> FloatArray:
    """Return when each cell wets in a filling, in seconds."""
    return times_of(job.impulse, anchor.filling.arrival[: anchor.filling.links.cells])


@dataclass(frozen=True)
class _Found:
    """Where a search ended: the models are anchored near it."""

    fitted: Fitted
    whole: Whole
    model: CoarseModel
    rough: CoarseModel


def _first_anchor(
    job: PartJob, every: list[Knob], planned: Filling | None, start: Learnt | None
) -> Anchor:
    """Return what the search begins from: where the last one ended, or the plan."""
    opens_at = tuple(opening_impulses(job.plan, job.impulse))
    if start is not None and len(start.knobs) == len(every):
        if start.anchor is not None and start.anchor.opens_at == opens_at:
            return start.anchor
        return fill_at(job.plan, every, start.knobs, opens_at)
    filling = planned or fill_plan(job.plan, opens_at)
    return Anchor(np.zeros(len(every)), opens_at, filling)


def _search(
    job: PartJob,
    on: SeenOnPlan,
    places: Places,
    every: list[Knob],
    why: list[str],
    anchor: Anchor,
    warm: bool,
) -> _Found:
    """Search, then once more about a filling on the plan's own grid near where it ended."""
    free = np.flatnonzero([not text for text in why])
    begin = np.where([not text for text in why], anchor.at, 0.0)
    if not warm:
        begin[free] += overall_factor([every[k] for k in free], places, anchor, job)
    most_s = 4.0 * max(on.last_s, 1.0)
    if not warm:
        rough = CoarseModel(job, anchor, every, SLOPE_CELLS)
        begin = search_values(rough, rough, free, places, begin, most_s)
        zones = np.array([knob.kind == "zone" for knob in every])
        told = zones & np.isin(np.arange(len(every)), free)
        begin[zones & ~told] = float(begin[told].mean()) if told.any() else 0.0
        anchor = fill_at(job.plan, every, begin, anchor.opens_at)
    for again in range(MOST_ANCHORS, 0, -1):
        model = CoarseModel(job, anchor, every)
        known = as_even(places, residuals(places, model.arrival_s(begin), most_s))
        rough = CoarseModel(job, anchor, every, SLOPE_CELLS)
        fitted = how_sure(model, rough, free, on, known, begin, most_s)
        whole = carry_over(job.plan, every, fitted)
        if again == 1 or float(np.abs(whole.at - anchor.at).max(initial=0.0)) < ANCHORED:
            break
        anchor, begin = fill_at(job.plan, every, whole.at, anchor.opens_at), whole.at
    return _Found(fitted, whole, model, rough)


def _cannot_tell(plan: PartPlan, knob: Knob, on: SeenOnPlan, stack: IntArray) -> str:
    """Return why a number cannot be told from this picture; empty where it may be."""
    told = on.seen & np.isfinite(on.time_s)
    if knob.kind == "zone":
        here = stack == knob.index
        reached, hidden = on.wet & here, on.wet & here & ~on.seen
        if np.count_nonzero(told & here) >= FEWEST_IN_ZONE:
            return ""
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


def _seen_beside(on: SeenOnPlan, told: BoolArray, place: Place) -> bool:
    beside = lies_on(on.links, place)[: on.links.cells]
    return bool(np.count_nonzero(told & beside) >= max(1, 0.2 * np.count_nonzero(beside)))


def _value(job: PartJob, knob: Knob, why: str, fitted: Fitted, whole: Whole) -> LearntValue:
    """Return a number of the plan as it was learnt, or why it was not."""
    plan, place = job.plan, knobs_of(job.plan).index(knob)
    planned, unit = number_of(plan, knob, 0.0)
    at, sd = float(whole.at[place]), float(np.hypot(whole.sd[place], LEAST_SD[knob.kind]))
    told = not why and sd < TOLD * knob.prior_sd
    freedom = fitted.freedom if told else min(fitted.freedom, GUESSED)
    half = float(stdtrit(freedom, 0.975)) * sd
    shared = 1.96 * drive_sd(job) * drive_power(knob)
    if not why and not told:
        why = _mixed_up(fitted, fitted.knobs.index(knob))
    ends = [at, at - float(np.hypot(half, shared)), at + float(np.hypot(half, shared))]
    value, low, high = (number_of(plan, knob, v)[0] for v in ends)
    seen_low, seen_high = (number_of(plan, knob, v)[0] for v in (at - half, at + half))
    if knob.kind == "zone" and why == NOT_REACHED:
        why = f"{why}: moved with the others"
    return LearntValue(
        knob.kind, knob.name, planned, value, low, high, unit, told, why, seen_low, seen_high
    )


def _mixed_up(fitted: Fitted, place: int) -> str:
    """Return what a number that is not told is mixed up with."""
    share = np.abs(fitted.cov[place]) / (fitted.sd[place] * np.maximum(fitted.sd, 1e-12))
    share[place] = 0.0
    if len(share) > 1 and float(share.max()) > 0.7:
        other = fitted.knobs[int(np.argmax(share))]
        return f"what it does cannot be told from that of {other.name}"
    return "what was seen hangs too little on it"


def _corrected(
    plan: PartPlan, every: list[Knob], whole: Whole, values: Sequence[LearntValue]
) -> PartPlan:
    """Return the plan with the values that were told."""
    told = [value.told for value in values]
    changed, factors = turned(plan, every, np.where(told, whole.at, 0.0))
    return with_stacks(changed, factors)


def _meeting(on: SeenOnPlan, arrival_s: FloatArray) -> FloatArray:
    """Return arrival as seen where it is wet, and as forecast from the front as seen on."""
    late = on.seen & np.isfinite(on.time_s) & (on.time_s > (1.0 - LATEST) * on.last_s)
    ratio = on.time_s[late] / np.maximum(arrival_s[late], 1e-9)
    pace = float(np.clip(np.median(ratio), 0.5, 2.0)) if late.sum() >= FEWEST_IN_ZONE else 1.0
    dry = np.maximum(arrival_s * pace, np.where(on.seen, on.last_s, 0.0))
    return np.where(on.wet, on.time_s, dry)


def _fill_times(
    fitted: Fitted, whole: Whole, found: _Found, arrival_s: FloatArray, on: SeenOnPlan
) -> tuple[float, float, float]:
    """Return when the part is full, and the ends of the 95 % interval."""
    if on.wet.all():
        # The very last of many readings is late by chance: nearly the last is taken.
        full = float(np.quantile(on.time_s, NEARLY_ALL))
        ends = 2.0 * float(np.hypot(np.median(on.sd_s), on.start_sd_s))
        return full, full - ends, max(full, float(on.time_s.max())) + 2.0 * on.start_sd_s
    ahead = arrival_s[~on.wet & np.isfinite(arrival_s)]
    full = max(found.model.fill_time_s(whole.at), on.last_s)
    full = max(float(ahead.max()), on.last_s) if ahead.size else full
    slope = slope_of_fill_time(found.rough, whole.at)
    own = float(np.median(np.abs(fitted.left))) * 0.06
    spread = np.sqrt(float(slope @ whole.cov @ slope) + min(own, 0.2) ** 2 + MODEL_SD**2)
    half = float(stdtrit(fitted.freedom, 0.975)) * float(spread)
    # What is wet already is no forecast: only the time that is left can be wrong.
    rest = full - on.last_s
    low = max(full * float(np.exp(-half)), on.last_s + 0.3 * rest)
    return full, low, full * float(np.exp(half))
