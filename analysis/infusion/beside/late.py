"""How much earlier or later than planned each cell wetted, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.fit.mixture_regression import Z_95
from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.part.answer.clock import times_of
from analysis.part.answer.doubts import joined_ends
from analysis.part.answer.part_answer import PartAnswer
from vision.records import BoolArray, FloatArray

SURE_SD = 2.0
"""Standard uncertainties from which on a difference counts: 95 % for a normal error."""
LEAST_SHARE = 0.03
"""Share of the fill time from which on a difference matters (common practice, no source)."""
LEAST_S = 10.0
"""Nor does less than this, however fast the part: photos are rarely closer (common practice, no
source)."""
EARLY_SHARE = 0.05
"""Cells planned before this share of the fill time, or of the time watched where that is shorter,
say nothing of the pace."""
FEWEST_CELLS = 20
PACE_SHARE = 0.3
"""Share of the places that tells the part's pace."""
AGREE, MOST_AGREE = 0.06, 0.6
"""Places agree on a pace where so many of them are so near to it, in the logarithm."""


@dataclass(frozen=True)
class Late:
    """Seconds later than planned, cell by cell of the plan; arrays of shape (cells,).

    Attributes
    ----------
    planned_s : ndarray, float
        Infinity where the plan never wets the cell.
    late_s : ndarray, float
        Seen less planned, negative where early; NaN where the two cannot be compared.
    sd_s : ndarray, float
        Its standard uncertainty: of what was seen, of resin start, of half a cell, and of the plan.
    at_least : ndarray, bool
        Where the cell was still dry when last seen: it is that late or later.
    beyond : ndarray, bool
        Where the difference is greater than twice its uncertainty, and matters.
    rest_s, rest_sd_s : ndarray, float
        The same against the plan at the pace of the part as a whole, without the doubts of the
        plan that move all times together.
    uneven : ndarray, bool
        Where `rest_s` is greater than twice its uncertainty, and matters.
    factor : float
        Driving impulse it took over that planned, as most places have it; 1 where too little was
        seen, or they do not agree.
    plan_low, plan_high : float
        Ends of that factor by the plan's own doubts, 95 %.
    paced : bool
        Whether enough was seen to tell the factor.
    agreed : bool
        Whether most places agree on it.
    matters_s : float
        Seconds from which on a difference matters.
    """

    planned_s: FloatArray
    late_s: FloatArray
    sd_s: FloatArray
    at_least: BoolArray
    beyond: BoolArray
    rest_s: FloatArray
    rest_sd_s: FloatArray
    uneven: BoolArray
    factor: float
    plan_low: float
    plan_high: float
    paced: bool
    agreed: bool
    matters_s: float

    @property
    def compared(self) -> BoolArray:
        """Where planned and seen can be compared."""
        return np.isfinite(self.late_s)


def find_late(answer: PartAnswer, on: SeenOnPlan) -> Late:
    """Compute how late each cell is against the plan.

    Parameters
    ----------
    answer : PartAnswer
        The plan, filled under the vacuum and resin of the part.
    on : SeenOnPlan
        What was seen, on the same cells.

    Returns
    -------
    Late

    Notes
    -----
    The plan's doubts are those of its fill time; they stretch the driving impulse of every cell by
    one factor, so they hide a difference of the whole part but not one between its places.
    Independent uncertainties add in squares (JCGM 100:2008, 5.1.2). Where the plan
    traps air, its times are those with a vent there: what wetted is compared, what is dry is not.
    """
    cells = on.links.cells
    theta = answer.filling.arrival[:cells]
    low, high = joined_ends(1.0, answer.doubts)
    planned, early, latest = (_times(answer, theta * k) for k in (1.0, low, high))
    factor, paced, agreed = _pace(answer, on, theta)
    matters = max(LEAST_SHARE * _fill_s(answer, on), LEAST_S)
    own = np.hypot(np.nan_to_num(on.sd_s), on.start_sd_s)
    own = np.hypot(own, _across_cell(on, planned))
    plan_sd = np.where(np.isfinite(latest), latest - early, np.inf) / (2 * Z_95)
    late, at_least = _difference(answer, on, planned)
    rest, rest_least = _difference(answer, on, _times(answer, theta * factor))
    sd = np.hypot(own, plan_sd)
    return Late(
        planned_s=planned,
        late_s=late,
        sd_s=sd,
        at_least=at_least | rest_least,
        beyond=_counts(late, sd, matters),
        rest_s=rest,
        rest_sd_s=own,
        uneven=_counts(rest, own, matters),
        factor=factor,
        plan_low=low,
        plan_high=high,
        paced=paced,
        agreed=agreed,
        matters_s=matters,
    )


def _times(answer: PartAnswer, theta: FloatArray) -> FloatArray:
    return times_of(answer.clock.impulse, theta)


def _across_cell(on: SeenOnPlan, planned_s: FloatArray) -> FloatArray:
    """Return what half a cell is worth in planned time: neither plan nor picture tells it finer.

    Cells beside which the plan has no time get what their neighbours have on the other side.
    """
    field = on.links.field(np.where(np.isfinite(planned_s), planned_s, np.nan))
    inside = on.links.number >= 0
    steps = np.zeros((4, *field.shape))
    for k, (axis, way) in enumerate(((0, 1), (0, -1), (1, 1), (1, -1))):
        beside = np.roll(field, way, axis)
        edge: list[slice | int] = [slice(None), slice(None)]
        edge[axis] = 0 if way == 1 else -1
        beside[tuple(edge)] = np.nan
        steps[k] = np.nan_to_num(np.abs(field - beside))
    return np.asarray(np.hypot(steps[:2].max(axis=0), steps[2:].max(axis=0))[inside] / 2)


def _fill_s(answer: PartAnswer, on: SeenOnPlan) -> float:
    """Return the planned fill time, or how long was watched where the plan never fills."""
    fill = answer.vented_time_s
    return fill if np.isfinite(fill) else max(on.last_s, 1.0)


def _difference(
    answer: PartAnswer, on: SeenOnPlan, planned_s: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Return seconds late, NaN where not known, and where that is the least it can be."""
    known = on.seen & np.isfinite(planned_s)
    trapped = answer.filling.in_trapped[: on.links.cells]
    dry = known & np.isinf(on.time_s) & (planned_s < on.last_s) & ~trapped
    wet = known & np.isfinite(on.time_s)
    late = np.full(len(planned_s), np.nan)
    late[wet] = on.time_s[wet] - planned_s[wet]
    late[dry] = on.last_s - planned_s[dry]
    return late, dry


def _pace(answer: PartAnswer, on: SeenOnPlan, theta: FloatArray) -> tuple[float, bool, bool]:
    """Return the factor on the impulse that most places agree on, whether it is known and held.

    The middle of the narrowest run that holds a fair share of the places; their median would be
    drawn along by a place that is unlike the plan and all that wets behind it. Where the places do
    not agree and the plan's doubts do not allow that factor, the plan's own pace is taken. Dry
    places that should have wetted count with the least it can be, so that a part that has stopped
    is not called on time.
    """
    planned = _times(answer, theta)
    late, _ = _difference(answer, on, planned)
    told = np.isfinite(late) & (planned > EARLY_SHARE * min(on.last_s, _fill_s(answer, on)))
    if told.sum() < FEWEST_CELLS:
        return 1.0, False, False
    seen_s = np.maximum(planned[told] + late[told], 1e-3)
    ratio = np.log(np.maximum(answer.clock.impulse.at(seen_s), 1e-300) / theta[told])
    ratio = np.sort(ratio)
    span = max(int(PACE_SHARE * len(ratio)), 2)
    widths = ratio[span - 1 :] - ratio[: len(ratio) - span + 1]
    first = int(np.argmin(widths))
    middle = float(np.median(ratio[first : first + span]))
    agree = float((np.abs(ratio - middle) < AGREE).mean())
    low, high = joined_ends(1.0, answer.doubts)
    if agree < MOST_AGREE and not low <= np.exp(middle) <= high:
        return 1.0, True, False
    return float(np.exp(middle)), True, agree >= MOST_AGREE


def _counts(late_s: FloatArray, sd_s: FloatArray, matters_s: float) -> BoolArray:
    size = np.abs(np.nan_to_num(late_s))
    return np.asarray((size > SURE_SD * sd_s) & (size > matters_s))
