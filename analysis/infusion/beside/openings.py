"""When later feeds gave resin, told by how the front went on from them.

A front that passes a shut feed wets it too and says nothing of its clamp; resin that comes from the
feed speeds all that lies beyond, and that is seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.infusion.learn.coarse_model import CoarseFillings, CoarseModel
from analysis.infusion.learn.knobs import OWN_SD, Knob, knobs_of
from analysis.infusion.learn.learnt import EARLY, LATE, SHUT, UNSEEN, WORKS, Opening
from analysis.infusion.learn.misfit import Places, places_of
from analysis.infusion.learn.opening_knobs import NEVER
from analysis.infusion.seen.by_hand import as_opened
from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.part.answer.clock import opening_impulses
from analysis.part.grid.canvas import away_mm, lies_on
from analysis.part.plan.part_toml import PartJob
from vision.errors import WetlineError
from vision.records import BoolArray, FloatArray

CELLS, STEPS = 1200, 16
"""Of the grid on which the plan is filled for each time tried."""
TRIED = 10
FEWEST_CELLS = 20
EARLY_SHARE = 0.05
"""Cells wetted before this share of the time watched hang on the first feed's own shape."""
MOVED = 0.08
"""Change of the impulse of arrival, as a logarithm, from which on a cell has a say."""
FAR, USUAL = 0.3, 0.06
"""Cells farther off count as so far off; how far uneven cloth puts one, both as a logarithm."""
SMALL, LARGE = 0.045, 0.08
"""A time must explain what was seen to so much (root mean square); one that leaves more than the
second is no explanation."""
BETTER, THAN_CLOTH = 0.6, 0.8
"""Most that may be left, of what the other time leaves, and of what other cloth beyond the feed or
a feed that resists would."""
SURELY_SHUT, AS_WELL = 0.03, 1.3
"""A feed that seems never to have opened must explain what was seen to so much, and nearly as well
as one that resists."""
ENDS = 0.25
"""The interval goes to where so much of what the stated time leaves is back."""


def find_openings(
    job: PartJob, on: SeenOnPlan, opened_s: Sequence[float | None] | None = None
) -> tuple[Opening, ...]:
    """Find when each feed that opens after another gave resin, by how the front went on.

    Parameters
    ----------
    job : PartJob
    on : SeenOnPlan
        On the plan's own grid.
    opened_s : sequence of (float or None), optional
        When feeds were noted as open, as of `ByHand.opened_s`; None where the plan's word stands.

    Returns
    -------
    tuple of Opening
        Of the feeds that were to be open by the last look, or seem to have been; earliest first.

    Notes
    -----
    The plan is filled on a coarse grid with the feed open from each of `TRIED` times, from when the
    cloth at it was wet to the last look, and never. The pace is that of what wetted before; K of
    each zone then follows what was seen, to first order. The time stated is contradicted where
    another one explains what lies beyond the feed, and the stated one, other cloth beyond the feed
    and a feed that resists do not. It is borne out where the same holds of a feed that never
    opened; else the picture does not tell.
    """
    said: list[float | None] = [None] * len(job.plan.feeds)
    said = said if opened_s is None else list(opened_s)
    noted = [at is not None for at in said]
    found = []
    for k in sorted(range(len(said)), key=lambda k: _said_s(job, said, k)):
        one = _opening(job, on, k, said, noted[k])
        if one is not None:
            found.append(one)
            said[k] = one.taken_s
    return tuple(found)


def _said_s(job: PartJob, said: Sequence[float | None], k: int) -> float:
    at, feed = said[k], job.plan.feeds[k]
    return at if at is not None else np.inf if feed.opens_when_wet else feed.opens_at_s


def _opening(
    job: PartJob, on: SeenOnPlan, k: int, said: Sequence[float | None], noted: bool
) -> Opening | None:
    """Return what is seen of the opening of one feed; None where there is nothing to say."""
    time_s = _beside(job, on, k)
    if len(time_s) < 2:
        return None
    came_s, passed_s = (float(np.sort(time_s)[int(s * (len(time_s) - 1))]) for s in (0.1, 0.9))
    said_s = _said_s(job, said, k)
    said_s = min(said_s, passed_s) if np.isinf(said_s) else said_s
    told = Opening(job.plan.feeds[k].name, k, said_s, noted, passed_s, UNSEEN)
    first = EARLY_SHARE * on.last_s
    if came_s <= first or (said_s > on.last_s and np.isinf(came_s)):
        return None
    if np.isinf(came_s):
        dry = said_s + first < on.last_s
        return _as(told, SHUT, np.inf, on.last_s, np.inf) if dry else None
    try:
        scan = _scan(job, on, k, said, (came_s, said_s))
    except WetlineError:  # a piece of the part that the other feeds do not reach
        scan = None
    found = told if scan is None else scan.judged(told, on.last_s)
    return None if found.state == UNSEEN and said_s > on.last_s else found


def _as(told: Opening, state: str, since_s: float, low_s: float, high_s: float) -> Opening:
    return replace(told, state=state, since_s=since_s, low_s=low_s, high_s=high_s)


def _beside(job: PartJob, on: SeenOnPlan, k: int) -> FloatArray:
    """Return the times at the cloth of a feed, or beside it where its own hose hides it."""
    place, links = job.plan.feeds[k].place, on.links
    here = lies_on(links, place)[: links.cells] & on.seen
    if np.count_nonzero(here) < 2:
        near = 2.5 * max(links.grid.dx_mm, links.grid.dy_mm)
        here = (away_mm(links.centre_mm[: links.cells], place) < near) & on.seen
    return np.asarray(on.time_s[here & ~np.isnan(on.time_s)])


@dataclass(frozen=True)
class _Scan:
    """What the times tried leave over of what was seen; the last but one is the one stated.

    Attributes
    ----------
    time_s, left : ndarray of shape (T,)
        The last time is infinity: never.
    cloth, resists, cloth_never : float
        What is left with the stated time and other cloth beyond the feed, with the stated time and
        a feed that resists, and with a feed that never opens and other cloth beyond it.
    """

    time_s: FloatArray
    left: FloatArray
    cloth: float
    resists: float
    cloth_never: float

    def judged(self, told: Opening, last_s: float) -> Opening:
        """Return what that says of the stated time."""
        best = int(np.argmin(self.left))
        least, stated, never = self.left[best], self.left[-2], self.left[-1]
        wrong = stated > LARGE and least < min(SMALL, BETTER * stated, THAN_CLOTH * self.cloth)
        if wrong and (last_s - self._step < self.time_s[best] or least > 0.9 * never):
            if least < min(SURELY_SHUT, AS_WELL * self.resists):
                return _as(told, SHUT, np.inf, self._low(), np.inf)
        elif wrong and least < THAN_CLOTH * self.resists:
            since, low, high = self._between()
            if high < told.said_s or low > told.said_s:
                return _as(told, EARLY if high < told.said_s else LATE, since, low, high)
        elif stated < SMALL and never > LARGE and stated < BETTER * min(never, self.cloth_never):
            return _as(told, WORKS, told.said_s, np.nan, np.nan)
        return _as(told, UNSEEN, told.said_s, np.nan, np.nan)

    @property
    def _step(self) -> float:
        return float(self.time_s[1] - self.time_s[0])

    def _near(self) -> BoolArray:
        least = float(self.left.min())
        return np.asarray(self.left[:-2] < (1.0 - ENDS) * least + ENDS * self.left[-2])

    def _low(self) -> float:
        """Return the time before which it cannot have opened, where it seems never to have."""
        return float(self.time_s[:-2][self._near()].min(initial=self.time_s[-3]))

    def _between(self) -> tuple[float, float, float]:
        """Return the time that leaves least, between those tried, and the ends of its interval."""
        tried, left = self.time_s[:-2], self.left[:-2]
        k = int(np.clip(np.argmin(left), 1, len(tried) - 2))
        bend = np.polyfit(tried[k - 1 : k + 2], left[k - 1 : k + 2] ** 2, 2)
        least = float(tried[int(np.argmin(left))])
        if bend[0] > 0:
            top = -bend[1] / (2.0 * bend[0])
            least = float(np.clip(top, least - self._step, least + self._step))
        near = np.flatnonzero(self._near())
        low, high = tried[near[0]] - self._step, tried[near[-1]] + self._step
        return max(least, 0.0), max(float(low), 0.0), float(high)


def _scan(
    job: PartJob,
    on: SeenOnPlan,
    k: int,
    said: Sequence[float | None],
    came_and_said_s: tuple[float, float],
) -> _Scan | None:
    """Return what each time tried leaves over; None where too little wetted before or after."""
    came_s, said_s = came_and_said_s
    opened = list(said)
    opened[k] = came_s
    trial = _Trial.of(as_opened(job, opened), on, k, came_s)
    if trial is None:
        return None
    tried = np.linspace(came_s, on.last_s, TRIED, endpoint=False)
    time_s = np.concatenate([tried, [max(said_s, 1e-3 * on.last_s), np.inf]])
    theta = np.array([trial.logs(at) for at in time_s])
    last = float(np.log(job.impulse.at(on.last_s)))
    moved = (np.ptp(theta, axis=0) > MOVED) & (theta.min(axis=0) < last) & trial.after
    if np.count_nonzero(moved) < FEWEST_CELLS:
        return None
    stated, never = theta[-2], theta[-1]
    slopes = trial.zone_slopes(time_s[-2], stated)
    beyond = moved.astype(float)[:, None]
    resists = (trial.logs(time_s[-2], trial.resists, 1.0) - stated)[:, None]

    def left(row: FloatArray, more: FloatArray | None = None) -> float:
        return float(np.sqrt(np.mean(trial.unexplained(row, slopes, more)[moved] ** 2)))

    return _Scan(
        time_s=time_s,
        left=np.array([left(row) for row in theta]),
        cloth=left(stated, beyond),
        resists=left(stated, resists),
        cloth_never=left(never, beyond),
    )


@dataclass(frozen=True)
class _Trial:
    """The plan filled with one feed opened at a time, beside what was seen; arrays (P,).

    Attributes
    ----------
    job : PartJob
        With the feed open from when the cloth at it was wet: the base of its knob, the last one.
    model : CoarseModel
    places : Places
    at : ndarray of shape (N,)
        Place of the knobs at the pace of what wetted before.
    seen : ndarray
        Logarithm of the impulse at which each place wetted.
    after : ndarray, bool
        Whether a place wetted later than the cloth at the feed, or not yet.
    resists : int
        The knob of the feed's resistance.
    """

    job: PartJob
    model: CoarseModel
    places: Places
    at: FloatArray
    base: float
    seen: FloatArray
    use: BoolArray
    after: BoolArray
    resists: int

    @classmethod
    def of(cls, job: PartJob, on: SeenOnPlan, k: int, came_s: float) -> _Trial | None:
        """Return it, or None where too little wetted before."""
        knobs = [*knobs_of(job.plan), Knob("opening", k, "", 1.0)]
        opens_at = opening_impulses(job.plan, job.impulse)
        fillings = CoarseFillings(job.plan, on.links, knobs, opens_at, CELLS, STEPS)
        places = places_of(on)
        time_s = np.where(places.dry, np.inf, places.root_s**2)
        use = time_s > EARLY_SHARE * on.last_s
        before = use & (time_s < came_s)
        if np.count_nonzero(before) < FEWEST_CELLS:
            return None
        seen = np.log(np.asarray(job.impulse.at(places.root_s**2), float))
        resists = next(n for n, one in enumerate(knobs) if (one.kind, one.index) == ("feed", k))
        base, model = float(job.impulse.at(came_s)), CoarseModel(job, fillings)
        planned = cls(
            job, model, places, np.zeros(len(knobs)), base, seen, use, ~before & use, resists
        )
        pace = float(np.median((seen - planned.logs(np.inf))[before]))
        zones = np.array([knob.kind == "zone" for knob in knobs])
        at = np.where(zones, -pace, 0.0)
        return cls(job, model, places, at, base, seen, use, ~before & use, resists)

    def logs(self, time_s: float, knob: int = -1, step: float = 0.0) -> FloatArray:
        """Return the logarithm of the impulse of arrival at each place, one knob moved."""
        at = self.at.copy()
        at[knob] += step
        ever = np.isfinite(time_s)
        at[-1] = np.log(float(self.job.impulse.at(time_s)) / self.base) if ever else NEVER
        return np.asarray(np.log(np.maximum(self.model.arrival(at)[self.places.cell], 1e-300)))

    def zone_slopes(self, time_s: float, there: FloatArray) -> FloatArray:
        """Return the change of the logarithms with K of each zone, shape (P, Z)."""
        zones = [k for k, knob in enumerate(self.model.knobs) if knob.kind == "zone"]
        return np.stack([(self.logs(time_s, k, 0.1) - there) / 0.1 for k in zones], axis=1)

    def unexplained(
        self, logs: FloatArray, slopes: FloatArray, more: FloatArray | None = None
    ) -> FloatArray:
        """Return what a filling leaves over once K of zones follows, shape (P,).

        Parameters
        ----------
        logs : ndarray of shape (P,)
        slopes : ndarray of shape (P, Z)
        more : ndarray of shape (P, 1), optional
            Slope of another number, that nothing holds.
        """
        zones = slopes.shape[1]
        slopes = slopes if more is None else np.concatenate([slopes, more], axis=1)
        held = np.diag([OWN_SD**-2.0] * zones + [1e-3] * (slopes.shape[1] - zones))
        step = np.zeros(slopes.shape[1])
        weight = self.places.weight * self.use / USUAL**2
        for _ in range(4):
            left = self._left(logs + slopes @ step)
            calm = weight * np.minimum(1.0, FAR / np.maximum(np.abs(left), 1e-9)) * (left != 0)
            bent = slopes * calm[:, None]
            step = step + np.linalg.solve(slopes.T @ bent + held, bent.T @ left - held @ step)
        return np.clip(self._left(logs + slopes @ step), -FAR, FAR)

    def _left(self, logs: FloatArray) -> FloatArray:
        """Return how much later than a filling each place wetted; dry ones only if later."""
        left = self.seen - logs
        return np.where(self.places.dry, np.maximum(left, 0.0), left)
