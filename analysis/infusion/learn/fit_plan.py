"""The plan's own filling fitted to what was seen: K of zones, widths of gaps, feeds, and the rest.

The filling is searched for that meets the arrival as seen, cell by cell; what the plan leaves
open and the picture does not narrow is not told. The rest of the filling follows from the
corrected values, made to meet the front as seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtrit

from analysis.infusion.learn.coarse_model import (
    SLOPE_CELLS,
    SLOPE_STEPS,
    VALUE_CELLS,
    VALUE_STEPS,
    Anchor,
    CoarseFillings,
    CoarseModel,
    fill_at,
)
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
from analysis.infusion.learn.learnt import Learnt, LearntValue, Opening
from analysis.infusion.learn.misfit import (
    MODEL_SD,
    Places,
    as_even,
    places_of,
    residuals,
    unlike_places,
)
from analysis.infusion.learn.not_reached import (
    FEWEST_IN_ZONE,
    JUST_REACHED,
    NOT_REACHED,
    Whole,
    cannot_tell,
    carry_over,
)
from analysis.infusion.learn.opening_knobs import (
    as_wide,
    fill_ends_s,
    opening_knobs,
    opening_notes,
    searched,
    taken_s,
    when_opened,
)
from analysis.infusion.learn.search_values import (
    Fitted,
    Slopes,
    as_planned,
    how_sure,
    overall_factor,
    search_values,
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
from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.part_toml import PartJob
from analysis.part.plan.plan import PartPlan
from vision.errors import WetlineError
from vision.records import FloatArray

FEWEST_PLACES = 30
TOLD = 0.2
"""A number is told where the picture leaves less than this share of what was open before."""
TOLD_SD = 0.1
"""K of a zone also needs this standard uncertainty of its logarithm: beyond it is of no use."""
LATEST = 0.2
"""Share of the time watched over which the front is taken to meet the forecast."""
NEARLY_ALL = 0.995
ANCHORED, MOST_ANCHORS = 0.06, 2
"""How near the filling on the plan's own grid must be to where the search ended, and how often it
is filled anew for that."""
GUESSED = 4.0
"""Degrees of freedom of what the picture does not tell: its spread is little better known."""
SHARED = (
    "all values of K together hang on viscosity and vacuum as stated: colder resin, or less "
    "vacuum, looks like a lower K everywhere; their stated doubt is in each interval, but not in "
    "how two zones of this part stand to each other"
)


def fit_plan(
    job: PartJob,
    on: SeenOnPlan,
    opened_s: Sequence[float | None] | None = None,
    start: Learnt | None = None,
    openings: Sequence[Opening] = (),
) -> Learnt:
    """Correct the plan by what was seen, and forecast the rest.

    Parameters
    ----------
    job : PartJob
    on : SeenOnPlan
        On the plan's own grid.
    opened_s : sequence of (float or None), optional
        Seconds at which each feed was seen to open; None where the plan's word stands.
    start : Learnt, optional
        What was learnt a moment ago, to start from.
    openings : sequence of Opening, optional
        When feeds were seen to give resin: where that is clearly at another time than stated, that
        time is taken, with its doubt.

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
    job = as_opened(job, taken_s(opened_s, openings, len(job.plan.feeds)))
    places = places_of(on)
    if np.count_nonzero(~places.dry) < FEWEST_PLACES:
        raise WetlineError(
            "too little of the part has been seen to wet: nothing can be learnt from it yet"
        )
    stated = knobs_of(job.plan)
    every = [*stated, *opening_knobs(job, openings)]
    stack = lay_canvas(job.plan).stack
    sought = searched(openings)
    why = [cannot_tell(job.plan, knob, on, stack, sought) for knob in every]
    found = _search((job, on, places), every, why, start)
    fitted, whole, own = found.fitted, found.whole, found.model.arrival_s(found.whole.at)
    arrival_s = _meeting(on, own)
    unlike = unlike_places(on, places, own, fitted.left)
    first = [
        _value(job, knob, text, fitted, whole) for knob, text in zip(stated, why, strict=False)
    ]
    lies = how_cloth_lies(job.plan, on, stack, _anchor_s(job, found.anchor))
    values = turned_taken_back(job.plan, taken_back(job.plan, first, unlike, on, stack), lies)
    times = _fill_times(fitted, whole, found, arrival_s, on)
    full = bool(on.wet.all())  # what is wet all over, no feed can make later
    ends = (np.inf, -np.inf) if full else fill_ends_s(found.model, whole.at, openings, on.last_s)
    fill_s, low_s, high_s = as_wide(wider(*times, unlike, on), ends, on.last_s)
    clock = clock_of(job)
    usual = np.abs(fitted.left[~places.dry] * places.sd[~places.dry] / places.root_s[~places.dry])
    return Learnt(
        values=values,
        plan=_corrected(job.plan, stated, whole, values),
        arrival_s=arrival_s,
        fill_time_s=fill_s,
        fill_low_s=low_s,
        fill_high_s=high_s,
        gel_s=clock.gel_s,
        working_s=clock.working_s,
        unlike=unlike,
        misfit=float(2.0 * np.median(usual)),
        notes=(SHARED, *opening_notes(openings, full), *unlike_note(unlike, on)),
        knobs=whole.at,
        anchor=found.anchor,
        relied_on=not too_unlike(unlike, on),
        openings=when_opened(job, openings, every, whole),
    )


def _anchor_s(job: PartJob, anchor: Anchor) -> FloatArray:
    """Return when each cell wets in a filling, in seconds."""
    return times_of(job.impulse, anchor.filling.arrival[: anchor.filling.links.cells])


@dataclass(frozen=True)
class _Found:
    """Where a search ended: the model is anchored near it."""

    fitted: Fitted
    whole: Whole
    model: CoarseModel
    anchor: Anchor
    slopes: Slopes


@dataclass(frozen=True)
class _Search:
    """What all stages of a search share."""

    job: PartJob
    on: SeenOnPlan
    places: Places
    opens_at: tuple[float, ...]
    values: CoarseModel
    slopes: Slopes

    @property
    def every(self) -> Sequence[Knob]:
        """All numbers that may be corrected."""
        return self.values.knobs

    def anchored(self, at: FloatArray) -> Anchor:
        """Return the plan filled on its own grid."""
        near = self.values.fillings.at(at)
        return fill_at(self.job.plan, self.every, at, self.opens_at, near)

    def afresh(self) -> FloatArray:
        """Search on the coarse grids alone, from the plan; return the place of all knobs."""
        rough, free = self.slopes.rough, self.slopes.free
        begin: FloatArray = np.zeros(len(self.every))
        planned = rough.arrival(begin)
        begin[free] += overall_factor(self.slopes.knobs, self.places, planned, self.job)
        first = search_values(rough, self.slopes, self.on, self.places, begin, roughly=True)
        begin = first.whole
        zones = np.array([knob.kind == "zone" for knob in self.every])
        told = zones & np.isin(np.arange(len(self.every)), free)
        begin[zones & ~told] = float(begin[told].mean()) if told.any() else 0.0
        found = search_values(self.values, self.slopes, self.on, self.places, begin)
        return carry_over(self.job.plan, self.every, found).at

    def about(self, anchor: Anchor, begin: FloatArray) -> _Found:
        """Search about a filling on the plan's own grid, made anew near where the search ends."""
        for left in range(MOST_ANCHORS - 1, -1, -1):
            model = replace(self.values, anchor=anchor)
            off = residuals(self.places, model.arrival_s(begin), self.slopes.most_s)
            known = as_even(self.places, off)
            fitted = search_values(model, self.slopes, self.on, known, begin)
            whole = carry_over(self.job.plan, self.every, fitted)
            if not left or _near(whole, anchor):
                fitted = how_sure(model, self.slopes, self.on, known, fitted)
                fitted = as_planned(model, self.slopes, known, fitted)
                whole = carry_over(self.job.plan, self.every, fitted)
            if not left or _near(whole, anchor):
                break
            begin, anchor = whole.at, self.anchored(whole.at)
        return _Found(fitted, whole, model, anchor, self.slopes)


def _near(whole: Whole, anchor: Anchor) -> bool:
    return float(np.abs(whole.at - anchor.at).max(initial=0.0)) < ANCHORED


def _search(
    asked: tuple[PartJob, SeenOnPlan, Places],
    every: Sequence[Knob],
    why: list[str],
    start: Learnt | None,
) -> _Found:
    """Search from the plan on coarse grids, or from the last filling on the plan's own."""
    job, on, places = asked
    opens_at = tuple(opening_impulses(job.plan, job.impulse))
    free = np.array([not text for text in why])
    values, rough = (
        CoarseModel(job, CoarseFillings(job.plan, on.links, every, opens_at, *size))
        for size in ((VALUE_CELLS, VALUE_STEPS), (SLOPE_CELLS, SLOPE_STEPS))
    )
    slopes = Slopes(rough, np.flatnonzero(free), places, 4.0 * max(on.last_s, 1.0))
    search = _Search(job, on, places, opens_at, values, slopes)
    if start is None or len(start.knobs) != len(why):
        begin = search.afresh()
        return search.about(search.anchored(begin), begin)
    anchor = start.anchor
    if anchor is None or anchor.opens_at != opens_at:
        openings = np.array([knob.kind == "opening" for knob in every])
        anchor = search.anchored(np.where(openings, 0.0, start.knobs))
    return search.about(anchor, np.where(free, anchor.at, 0.0))


def _value(job: PartJob, knob: Knob, why: str, fitted: Fitted, whole: Whole) -> LearntValue:
    """Return a number of the plan as it was learnt, or why it was not."""
    plan, place = job.plan, knobs_of(job.plan).index(knob)
    planned, unit = number_of(plan, knob, 0.0)
    at, sd = float(whole.at[place]), float(np.hypot(whole.sd[place], LEAST_SD[knob.kind]))
    told = not why and sd < (TOLD_SD if knob.kind == "zone" else TOLD * knob.prior_sd)
    freedom = fitted.freedom if told else min(fitted.freedom, GUESSED)
    half = float(stdtrit(freedom, 0.975)) * sd
    shared = 1.96 * drive_sd(job) * drive_power(knob)
    if not why and not told:
        why = _mixed_up(fitted, fitted.knobs.index(knob))
    ends = [at, at - float(np.hypot(half, shared)), at + float(np.hypot(half, shared))]
    value, low, high = (number_of(plan, knob, v)[0] for v in ends)
    seen_low, seen_high = (number_of(plan, knob, v)[0] for v in (at - half, at + half))
    if knob.kind == "zone" and why in (NOT_REACHED, JUST_REACHED):
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
    changed, factors = turned(plan, every, np.where(told, whole.at[: len(every)], 0.0))
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
    slope = found.slopes.of_fill_time(whole.at)
    own = float(np.median(np.abs(fitted.left))) * 0.06
    spread = np.sqrt(float(slope @ whole.cov @ slope) + min(own, 0.2) ** 2 + MODEL_SD**2)
    half = float(stdtrit(fitted.freedom, 0.975)) * float(spread)
    # What is wet already is no forecast: only the time that is left can be wrong.
    rest = full - on.last_s
    low = max(full * float(np.exp(-half)), on.last_s + 0.3 * rest)
    return full, low, full * float(np.exp(half))
