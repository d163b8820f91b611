"""A later feed that seems to have been open before its time, told by how the front went on from it.

A front that passes a shut feed says nothing of its clamp; resin that comes from the feed afterwards
speeds all that lies beyond, and that is seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.part.answer.clock import opening_impulses
from analysis.part.flow.filling import fill_plan
from analysis.part.flow.grid_transfer import carry
from analysis.part.grid.canvas import lies_on
from analysis.part.plan.part_toml import PartJob
from analysis.part.plan.plan import PartFeed
from vision.records import BoolArray, FloatArray

ROUGH_CELLS = 56
"""Along the longest side of the grid on which the plan is filled for each time tried."""
TRIED = 9
FEWEST_CELLS = 20
EARLY_SHARE = 0.05
"""Cells wetted before this share of the time watched hang on the first feed's own shape."""
MOVED = 0.08
"""Change of the impulse of arrival, as a logarithm, from which on a cell has a say."""
FAR = 0.3
"""Cells farther off count as so far off."""
SMALL, LARGE = 0.045, 0.08
"""The time found must explain what was seen to so much (root mean square), the planned one not."""
BETTER, THAN_PACE = 0.35, 0.6
"""Most of the square that may be left, of the planned time's and of another pace's beyond it."""
ENDS = 0.25
"""The interval goes to where so much of what the planned time leaves is back."""


@dataclass(frozen=True)
class OpenedEarly:
    """A feed that seems to have been open before the plan opens it.

    Attributes
    ----------
    name : str
    planned_s : float
        When the plan opens it.
    passed_s : float
        When the front had passed it.
    since_s, low_s, high_s : float
        Since when it seems to have been open, and between what.
    """

    name: str
    planned_s: float
    passed_s: float
    since_s: float
    low_s: float
    high_s: float


def find_opened_early(
    job: PartJob, on: SeenOnPlan, opened_s: Sequence[float | None] | None = None
) -> tuple[OpenedEarly, ...]:
    """Find later feeds that were passed by the front and seem to have been open before their time.

    Parameters
    ----------
    job : PartJob
    on : SeenOnPlan
    opened_s : sequence of (float or None), optional
        When feeds were noted as open: those are believed.

    Notes
    -----
    The plan is filled with the feed open from each of `TRIED` times between the front's coming and
    the planned time, at the pace of what wetted before; the time that explains best what lies
    beyond is told where it leaves much less than the planned time, and than another pace beyond the
    feed would: cloth that is looser there speeds the front in another way.
    """
    noted = [None] * len(job.plan.feeds) if opened_s is None else list(opened_s)
    found = []
    for k, feed in enumerate(job.plan.feeds):
        if noted[k] is None and feed.opens_at_s > 0 and not feed.opens_when_wet:
            one = _tried(job, on, k)
            found += [] if one is None else [one]
    return tuple(found)


def _tried(job: PartJob, on: SeenOnPlan, k: int) -> OpenedEarly | None:
    """Return since when one feed seems to have been open, where that is told."""
    planned_s = job.plan.feeds[k].opens_at_s
    here = lies_on(on.links, job.plan.feeds[k].place)[: on.links.cells] & on.seen
    if np.count_nonzero(here) < 2:
        return None
    came_s, passed_s = (float(np.quantile(on.time_s[here], share)) for share in (0.1, 0.9))
    until_s = min(planned_s, on.last_s)
    if not passed_s < until_s:
        return None
    before = on.seen & (on.time_s < came_s) & (on.time_s > EARLY_SHARE * on.last_s)
    if np.count_nonzero(before) < FEWEST_CELLS:
        return None
    times = np.append(np.linspace(came_s, until_s, TRIED)[:-1], planned_s)
    theta = _fillings(job, on, k, times, before)
    if theta is None:
        return None
    left = _left(job, on, theta, (on.time_s > came_s) & ~before)
    return None if left is None else _best(job.plan.feeds[k], passed_s, times, left)


def _fillings(
    job: PartJob, on: SeenOnPlan, k: int, times: FloatArray, before: BoolArray
) -> FloatArray | None:
    """Return the impulse of arrival at each cell for each time, at the pace seen before."""
    plan = replace(job.plan, cells=min(job.plan.cells, ROUGH_CELLS))
    opens_at = opening_impulses(job.plan, job.impulse)
    centre = on.links.centre_mm[: on.links.cells]

    def filled(opens: list[float]) -> FloatArray:
        filling = fill_plan(plan, opens, 16)
        cells = np.where(np.isfinite(filling.arrival), filling.arrival, filling.total)
        return np.asarray(carry(filling.links, centre) @ cells)

    seen = np.asarray(job.impulse.at(on.time_s[before]), float)
    pace = float(np.median(seen / np.maximum(filled(opens_at)[before], 1e-300)))
    if not (np.isfinite(pace) and pace > 0):
        return None
    out = []
    for at_s in times:
        opens = [at / pace for at in opens_at]
        opens[k] = float(job.impulse.at(at_s)) / pace
        out.append(pace * filled(opens))
    return np.array(out)


def _left(job: PartJob, on: SeenOnPlan, theta: FloatArray, after: BoolArray) -> FloatArray | None:
    """Return the logarithms left over, a row for each time; the last row is the planned one's."""
    logs = np.log(np.maximum(theta, 1e-300))
    last = float(np.log(job.impulse.at(on.last_s)))
    reached = (logs.min(axis=0) < last) & (np.ptp(logs, axis=0) > MOVED)
    told = after & on.seen & reached & ~np.isnan(on.time_s)
    if np.count_nonzero(told) < FEWEST_CELLS:
        return None
    dry = np.isinf(on.time_s[told])
    seen = np.log(np.asarray(job.impulse.at(np.where(dry, on.last_s, on.time_s[told])), float))
    left = seen - logs[:, told]
    return np.clip(np.where(dry, np.maximum(left, 0.0), left), -FAR, FAR)


def _best(
    feed: PartFeed, passed_s: float, times: FloatArray, left: FloatArray
) -> OpenedEarly | None:
    """Return the time that leaves least, where it is told."""
    square = np.mean(left**2, axis=1)
    planned, other_pace = float(square[-1]), float(np.var(left[-1]))
    place = int(np.argmin(square))
    least = float(square[place])
    if np.sqrt(planned) < LARGE or np.sqrt(least) > SMALL:
        return None
    if least > BETTER * planned or least > THAN_PACE * other_pace:
        return None
    root = np.sqrt(square)
    near = np.flatnonzero(root < (1.0 - ENDS) * root[place] + ENDS * root[-1])
    low, high = times[max(near[0] - 1, 0)], times[min(near[-1] + 1, len(times) - 1)]
    if not high < feed.opens_at_s:
        return None
    since = float(times[place])
    return OpenedEarly(feed.name, feed.opens_at_s, passed_s, since, float(low), float(high))
