"""The plan's own filling fitted to what was seen: K of zones, widths of gaps, feeds, and the rest.

The filling is searched for that meets the arrival as seen, cell by cell; what the plan leaves
open and the picture does not narrow is not told. The rest of the filling follows from the
corrected values, made to meet the front as seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.special import stdtrit

from analysis.infusion.learn.coarse_model import SLOPE_CELLS, CoarseModel
from analysis.infusion.learn.knobs import (
    Knob,
    chosen,
    knobs_of,
    number_of,
    plan_sd,
    turned,
    with_stacks,
)
from analysis.infusion.learn.learnt import Learnt, LearntValue
from analysis.infusion.learn.misfit import (
    places_of,
    unlike_places,
)
from analysis.infusion.learn.search_values import Fitted, overall_factor, search_values
from analysis.infusion.learn.taken_back import (
    taken_back,
    turned_notes,
    unlike_note,
    wider,
)
from analysis.infusion.seen.by_hand import as_opened
from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.part.answer.clock import clock_of, opening_impulses
from analysis.part.flow.filling import Filling, fill_plan
from analysis.part.grid.canvas import lay_canvas, lies_on
from analysis.part.plan.part_toml import PartJob
from analysis.part.plan.plan import PartPlan, Place
from vision.errors import WetlineError
from vision.records import BoolArray, FloatArray, IntArray

FEWEST_PLACES = 30
FEWEST_IN_ZONE = 6
TOLD = 0.5
"""A number is told where the picture leaves less than this share of what was open before."""
LATEST = 0.2
"""Share of the time watched over which the front is taken to meet the forecast."""
NEARLY_ALL = 0.995
SHARED = (
    "all values of K together hang on viscosity and vacuum as stated: colder resin, or less "
    "vacuum, looks like a lower K everywhere"
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
    planned = planned or fill_plan(job.plan, opening_impulses(job.plan, job.impulse))
    places = places_of(on)
    if np.count_nonzero(~places.dry) < FEWEST_PLACES:
        raise WetlineError(
            "too little of the part has been seen to wet: nothing can be learnt from it yet"
        )
    every = knobs_of(job.plan)
    stack = lay_canvas(job.plan).stack
    why = [_cannot_tell(job.plan, knob, on, stack) for knob in every]
    knobs = chosen(every, np.array([not text for text in why]))
    opens_at = opening_impulses(job.plan, job.impulse)
    model = CoarseModel(job, planned, knobs, opens_at)
    rough = CoarseModel(job, planned, knobs, opens_at, SLOPE_CELLS)
    begin = _begin(every, knobs, start)
    if start is None:
        begin = begin + overall_factor(knobs, places, model)
    fitted = search_values(model, rough, on, places, begin)
    own = model.arrival_s(fitted.at)
    arrival_s = _meeting(on, own)
    unlike = unlike_places(on, places, own, fitted.left)
    found = [_value(job.plan, knob, text, fitted) for knob, text in zip(every, why, strict=True)]
    values = taken_back(job.plan, found, unlike, on, stack)
    corrected = _corrected(job.plan, knobs, fitted, values)
    times = _fill_times(job.plan, every, fitted, model, arrival_s, on)
    fill_s, low_s, high_s = wider(*times, unlike, on)
    clock = clock_of(job)
    usual = np.abs(fitted.left[~places.dry] * places.sd[~places.dry] / places.root_s[~places.dry])
    return Learnt(
        values=values,
        plan=corrected,
        arrival_s=arrival_s,
        fill_time_s=fill_s,
        fill_low_s=low_s,
        fill_high_s=high_s,
        gel_s=clock.gel_s,
        working_s=clock.working_s,
        unlike=unlike,
        misfit=float(2.0 * np.median(usual)),
        notes=(SHARED, *unlike_note(unlike, on), *turned_notes(job.plan, values)),
        knobs=_every_place(every, fitted),
    )


def _every_place(every: list[Knob], fitted: Fitted) -> FloatArray:
    """Return where the search ended for all knobs, 0 for those that cannot be told."""
    at = np.zeros(len(every))
    at[[every.index(knob) for knob in fitted.knobs]] = fitted.at
    return at


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
        return "no resin has been seen in it yet"
    if knob.kind == "gap":
        line = plan.gaps[knob.index].line_mm
        return "" if _seen_beside(on, told, Place(line)) else "no resin has been seen beside it yet"
    place = plan.feeds[knob.index].place
    return "" if _seen_beside(on, told, place) else "no resin has been seen to come from it yet"


def _seen_beside(on: SeenOnPlan, told: BoolArray, place: Place) -> bool:
    beside = lies_on(on.links, place)[: on.links.cells]
    return bool(np.count_nonzero(told & beside) >= max(1, 0.2 * np.count_nonzero(beside)))


def _begin(every: list[Knob], knobs: list[Knob], start: Learnt | None) -> FloatArray:
    if start is None or len(start.knobs) != len(every):
        return np.zeros(len(knobs))
    return np.asarray(start.knobs[[every.index(knob) for knob in knobs]], float)


def _value(plan: PartPlan, knob: Knob, why: str, fitted: Fitted) -> LearntValue:
    """Return a number of the plan as it was learnt, or why it was not."""
    planned, unit = number_of(plan, knob, 0.0)
    wide = 1.96 * knob.prior_sd
    if not why:
        place = fitted.knobs.index(knob)
        at, sd = float(fitted.at[place]), float(fitted.sd[place])
        if sd < TOLD * knob.prior_sd:
            half = float(stdtrit(fitted.freedom, 0.975)) * sd
            value, low, high = (number_of(plan, knob, v)[0] for v in (at, at - half, at + half))
            return LearntValue(knob.kind, knob.name, planned, value, low, high, unit, True)
        why = _mixed_up(fitted, place)
        wide = 1.96 * sd
    low, high = number_of(plan, knob, -wide)[0], number_of(plan, knob, wide)[0]
    return LearntValue(knob.kind, knob.name, planned, planned, low, high, unit, False, why)


def _mixed_up(fitted: Fitted, place: int) -> str:
    """Return what a number that is not told is mixed up with."""
    share = np.abs(fitted.cov[place]) / (fitted.sd[place] * np.maximum(fitted.sd, 1e-12))
    share[place] = 0.0
    if len(share) > 1 and float(share.max()) > 0.7:
        other = fitted.knobs[int(np.argmax(share))]
        return f"what it does cannot be told from that of {other.name}"
    return "what was seen hangs too little on it"


def _corrected(
    plan: PartPlan, knobs: list[Knob], fitted: Fitted, values: Sequence[LearntValue]
) -> PartPlan:
    """Return the plan with the values that were told."""
    told = {(value.kind, value.name) for value in values if value.told}
    at = np.array(
        [
            v if (knob.kind, knob.name) in told else 0.0
            for knob, v in zip(knobs, fitted.at, strict=True)
        ]
    )
    changed, factors = turned(plan, knobs, at)
    return with_stacks(changed, factors)


def _meeting(on: SeenOnPlan, arrival_s: FloatArray) -> FloatArray:
    """Return arrival as seen where it is wet, and as forecast from the front as seen on."""
    late = on.seen & np.isfinite(on.time_s) & (on.time_s > (1.0 - LATEST) * on.last_s)
    ratio = on.time_s[late] / np.maximum(arrival_s[late], 1e-9)
    pace = float(np.clip(np.median(ratio), 0.5, 2.0)) if late.sum() >= FEWEST_IN_ZONE else 1.0
    dry = np.maximum(arrival_s * pace, np.where(on.seen, on.last_s, 0.0))
    return np.where(on.wet, on.time_s, dry)


def _fill_times(
    plan: PartPlan,
    every: list[Knob],
    fitted: Fitted,
    model: CoarseModel,
    arrival_s: FloatArray,
    on: SeenOnPlan,
) -> tuple[float, float, float]:
    """Return when the part is full, and the ends of the 95 % interval."""
    if on.wet.all():
        # The very last of many readings is late by chance: nearly the last is taken.
        full = float(np.quantile(on.time_s, NEARLY_ALL))
        ends = 2.0 * float(np.hypot(np.median(on.sd_s), on.start_sd_s))
        return full, full - ends, max(full, float(on.time_s.max())) + 2.0 * on.start_sd_s
    ahead = arrival_s[~on.wet & np.isfinite(arrival_s)]
    full = max(model.fill_time_s(fitted.at), on.last_s)
    full = max(float(ahead.max()), on.last_s) if ahead.size else full
    variance = float(fitted.slope @ fitted.cov @ fitted.slope)
    open_yet = _open_yet(plan, every, fitted, model)
    own = float(np.median(np.abs(fitted.left))) * 0.06
    spread = np.sqrt(variance + open_yet + min(own, 0.2) ** 2)
    half = float(stdtrit(fitted.freedom, 0.975)) * float(spread)
    # What is wet already is no forecast: only the time that is left can be wrong.
    rest = full - on.last_s
    low = max(full * float(np.exp(-half)), on.last_s + 0.3 * rest)
    return full, low, full * float(np.exp(half))


def _open_yet(plan: PartPlan, every: list[Knob], fitted: Fitted, model: CoarseModel) -> float:
    """Return what numbers that are not told yet add to the doubt of the fill time, squared."""
    total = 0.0
    for knob in every:
        if knob in fitted.knobs:
            continue
        sd = plan_sd(plan, knob)
        if knob.kind == "zone":
            total += (_share_of_rest(plan, knob, model) * sd) ** 2
        else:
            total += (0.02 * sd) ** 2
    return total


def _share_of_rest(plan: PartPlan, knob: Knob, model: CoarseModel) -> float:
    """Return how much of the fill time hangs on a zone not reached yet: its share of the part."""
    stack = lay_canvas(replace(plan, cells=60)).stack
    return float(min(1.0, 2.0 * np.mean(stack == knob.index)))
