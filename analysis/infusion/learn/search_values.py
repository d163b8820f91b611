"""The search for the values of a plan that explain what was seen.

Tested in tests/analysis/infusion/learn/test_fit_plan.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import lsq_linear
from scipy.stats import norm

from analysis.infusion.learn.coarse_model import CoarseModel
from analysis.infusion.learn.knobs import Knob, bounds_of, prior_precision
from analysis.infusion.learn.misfit import Places, covariance, residuals, together
from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.part.plan.part_toml import PartJob
from vision.records import FloatArray, IntArray

STEP = 0.1
"""Of each knob, for the slope: a tenth in K is far beyond what the grid rounds."""
NEARBY, ON_THE_WAY = 0.1, 0.5
"""How far a knob may move, in parts of its prior, before the slopes are worked out anew: where they
tell how sure the values are, and on the way there."""
WEAK_SD = 0.08
"""A zone whose K is less sure than this is looked at aside."""
ASIDE, MOST_ASIDE = 0.6, 4.0
"""How far, in the logarithm of K, and by how much its doubt may grow."""
PLANNED_SHARE = 0.5
"""How likely a feed resists as its plan states, before anything is seen (judgement)."""
MOST_ROUNDS = 10
MOST_STEP = 1.0
"""How far a knob may move at once, in parts of its prior."""
HALVINGS = 2
SETTLED, SETTLED_STEP = 0.05, 5e-3
"""The search ends where a step gains less than this of the loss, or is shorter than this, in parts
of the prior."""
ROUGHLY_SETTLED = 1.0
"""The same gain for a search that another one goes on from."""
SOFT = 3.0
"""Standard uncertainties from which on the loss grows no longer as the square."""


@dataclass(frozen=True)
class Fitted:
    """Where the search ended.

    Attributes
    ----------
    knobs : list of Knob
        Those that the picture can tell at all.
    whole : ndarray of shape (N,), float
        Place of all knobs.
    free : ndarray of shape (Q,), int
        Which of them those are.
    cov : ndarray of shape (Q, Q), float
    freedom : float
    left : ndarray of shape (P,), float
        Residuals in standard uncertainties.
    """

    knobs: list[Knob]
    whole: FloatArray
    free: IntArray
    cov: FloatArray
    freedom: float
    left: FloatArray

    @property
    def at(self) -> FloatArray:
        """Place of each knob that the picture can tell."""
        return self.whole[self.free]

    @property
    def sd(self) -> FloatArray:
        """Standard uncertainty of each knob."""
        return np.asarray(np.sqrt(np.diag(self.cov)))


def overall_factor(
    knobs: Sequence[Knob], places: Places, planned: FloatArray, job: PartJob
) -> FloatArray:
    """Return the one factor on K of all stacks that the places usually ask for.

    Parameters
    ----------
    knobs : sequence of Knob
    places : Places
    planned : ndarray of shape (cells,), float
        Impulse of arrival as planned.
    job : PartJob
    """
    wet = ~places.dry
    seen = np.asarray(job.impulse.at(places.root_s[wet] ** 2), float)
    logs = np.log(np.maximum(planned[places.cell[wet]], 1e-300) / np.maximum(seen, 1e-300))
    return np.array([float(np.median(logs)) if knob.kind == "zone" else 0.0 for knob in knobs])


@dataclass
class Slopes:
    """Slopes of the residuals by the knobs, from a rough grid; those of nearby are taken again.

    Parameters
    ----------
    rough : CoarseModel
    free : ndarray of shape (Q,), int
        Which of all knobs are searched for; the others stay where they are put.
    places : Places
    most_s : float
        Later than this is never.
    """

    rough: CoarseModel
    free: IntArray
    places: Places
    most_s: float
    _where: FloatArray = field(init=False)
    _last: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        """Begin far from everywhere."""
        self._where, self._last = np.full(len(self.rough.knobs), np.inf), np.zeros((0, 0))

    @property
    def knobs(self) -> list[Knob]:
        """Those that are searched for."""
        return [self.rough.knobs[k] for k in self.free]

    @property
    def scale(self) -> FloatArray:
        """The prior of each."""
        return np.array([knob.prior_sd for knob in self.knobs])

    def at(self, whole: FloatArray, nearby: float = NEARBY) -> FloatArray:
        """Return the slopes at a place of all knobs, or at one nearby; shape (P, Q)."""
        if self.far(whole, nearby):
            self._work_out(whole)
        return self._last

    def of_fill_time(self, whole: FloatArray) -> FloatArray:
        """Return the change of the logarithm of the fill time with each of all knobs."""
        place = whole if self.far(whole, NEARBY) else self._where
        full = np.log(self.rough.fill_time_s(place))
        steps = [self._stepped(place, k) for k in range(len(place))]
        return np.array(
            [(np.log(self.rough.fill_time_s(moved)) - full) / step for moved, step in steps]
        )

    def far(self, whole: FloatArray, nearby: float) -> bool:
        """Return whether the slopes known are of a place farther off than `nearby`."""
        away = np.abs(whole - self._where)
        scale = np.array([knob.prior_sd for knob in self.rough.knobs])
        return bool((away / scale).max(initial=0.0) > nearby)

    def _stepped(self, whole: FloatArray, k: int) -> tuple[FloatArray, float]:
        """Return the place with one knob moved, and by how much."""
        most = self.rough.knobs[k].most
        step = STEP if whole[k] + STEP < most else -STEP
        moved = np.array(whole, float)
        moved[k] += step
        return moved, step

    def _work_out(self, whole: FloatArray) -> None:
        base = self._left(whole)
        steps = [self._stepped(whole, k) for k in self.free]
        columns = [(self._left(moved) - base) / step for moved, step in steps]
        self._last, self._where = np.stack(columns, axis=1), np.array(whole, float)

    def _left(self, whole: FloatArray) -> FloatArray:
        return residuals(self.places, self.rough.arrival_s(whole), self.most_s)


def search_values(
    model: CoarseModel,
    slopes: Slopes,
    on: SeenOnPlan,
    places: Places,
    begin: FloatArray,
    roughly: bool = False,
) -> Fitted:
    """Search for the values that explain what was seen; how sure they are is told by the slopes.

    Parameters
    ----------
    model : CoarseModel
        For values.
    slopes : Slopes
    on : SeenOnPlan
    places : Places
    begin : ndarray of shape (N,), float
        Of all knobs.
    roughly : bool
        End sooner, with slopes from farther off: a search that another one goes on from.
    """
    problem = replace(_problem(model, slopes, places, begin), roughly=roughly)
    at = problem.descend(begin[slopes.free])
    return _fitted(problem, at, _covariance(problem, at, on))


def how_sure(
    model: CoarseModel, slopes: Slopes, on: SeenOnPlan, places: Places, found: Fitted
) -> Fitted:
    """Return how sure the values found are, where the slopes at one place do not tell it.

    Notes
    -----
    A zone that the front has barely entered is not known by its slope alone: a low K of it is told
    sooner than a high one. So each such zone is looked at aside, the others moved with it, and its
    doubt grows by as much as the loss grows slower there than the slopes say; if the loss is less
    there, the search goes on from there.
    """
    problem = _problem(model, slopes, places, found.whole)
    at, cov = found.at, found.cov.copy()
    for k, knob in enumerate(problem.knobs):
        if knob.kind != "zone" or cov[k, k] < WEAK_SD**2:
            continue
        factor, better = problem.look_aside(at, cov, k)
        if better is not None:
            at = problem.descend(better)
            cov = _covariance(problem, at, on)
            factor, _ = problem.look_aside(at, cov, k)
        cov[k, :] *= factor
        cov[:, k] *= factor
    return _fitted(problem, at, cov)


def as_planned(model: CoarseModel, slopes: Slopes, places: Places, found: Fitted) -> Fitted:
    """Return the values with each feed as planned, as far as what was seen leaves that likely.

    Notes
    -----
    A resistance is never below 0, so noise alone finds some, and K beside it comes out too high.
    The chance that a feed is as planned, `PLANNED_SHARE` before anything is seen, is that after it
    by the ratio of the densities there (Savage and Dickey; Dickey, Ann. Math. Statist. 42, 204-223,
    1971, from memory); values and covariance are the mean over both readings.
    """
    problem = _problem(model, slopes, places, found.whole)
    at, cov = found.at.copy(), found.cov.copy()
    for k, knob in enumerate(found.knobs):
        if knob.kind != "feed":
            continue
        share = _share_as_planned(at[k], float(np.sqrt(cov[k, k])), problem.low[k], knob.prior_sd)
        along = cov[:, k] / cov[k, k]
        more = share * (1.0 - share) * at[k] ** 2 - share * cov[k, k]
        at, cov = at - share * at[k] * along, cov + more * np.outer(along, along)
    return _fitted(problem, np.clip(at, problem.low, problem.high), cov)


def _share_as_planned(at: float, sd: float, low: float, prior_sd: float) -> float:
    """Return the chance that a number is as planned, 0, where it is never below a bound."""
    after = norm.pdf(at / sd) / sd / norm.sf((low - at) / sd)
    before = norm.pdf(0.0) / prior_sd / norm.sf(low / prior_sd)
    odds = PLANNED_SHARE / (1.0 - PLANNED_SHARE) * after / before
    return float(odds / (1.0 + odds))


def _fitted(problem: _Problem, at: FloatArray, cov: FloatArray) -> Fitted:
    freedom = max(int(problem.places.cluster.max()) + 1 - len(at), 2)
    whole, free = problem.whole(at), problem.slopes.free
    return Fitted(problem.knobs, whole, free, cov, float(freedom), problem.left_at(at))


def _covariance(problem: _Problem, at: FloatArray, on: SeenOnPlan) -> FloatArray:
    left, places = problem.left_at(at), problem.places
    calm = _calm(left)
    jacobian = problem.slopes_at(at) * calm[:, None]
    common = together(places, on) * calm[:, None]
    return covariance(jacobian, left * calm, problem.prior, places, common)


def _calm(left: FloatArray) -> FloatArray:
    """Return the square root of the weight of each residual under the bounded loss."""
    return np.asarray((1.0 + (left / SOFT) ** 2) ** -0.25)


@dataclass(frozen=True)
class _Problem:
    """The loss of a search, and ways down it."""

    model: CoarseModel
    knobs: list[Knob]
    places: Places
    slopes: Slopes
    prior: FloatArray
    low: FloatArray
    high: FloatArray
    begin: FloatArray
    roughly: bool = False

    def whole(self, at: FloatArray) -> FloatArray:
        """Return the place of all knobs for one of those searched for."""
        whole = self.begin.copy()
        whole[self.slopes.free] = at
        return whole

    def slopes_at(self, at: FloatArray) -> FloatArray:
        """Return the slopes of the residuals at a place of the knobs."""
        return self.slopes.at(self.whole(at))

    def left_at(self, at: FloatArray) -> FloatArray:
        """Return the residuals at a place of the knobs."""
        arrival_s = self.model.arrival_s(self.whole(at))
        return residuals(self.places, arrival_s, self.slopes.most_s)

    def loss(self, left: FloatArray, at: FloatArray) -> float:
        """Return the bounded loss with what the prior asks for."""
        each = 2.0 * SOFT**2 * (np.sqrt(1.0 + (left / SOFT) ** 2) - 1.0)
        return float(self.places.weight @ each + at @ self.prior @ at)

    def descend(self, begin: FloatArray) -> FloatArray:
        """Return the least of the loss, by Gauss and Newton's steps kept within the bounds.

        Notes
        -----
        Iteratively reweighted least squares, each step a bounded linear problem (Stark and
        Parker, Comput. Stat. 10, 129-141, 1995, as in SciPy's ``lsq_linear``), halved where it
        does not help. Slopes from farther off lead most of the way; the end is with those of there.
        """
        at = np.clip(begin, self.low, self.high)
        left, root = self.left_at(at), np.linalg.cholesky(self.prior).T
        cost, reach = self.loss(left, at), MOST_STEP * self.slopes.scale
        settled, nearby = ROUGHLY_SETTLED if self.roughly else SETTLED, ON_THE_WAY
        for _ in range(MOST_ROUNDS):
            calm = _calm(left) * np.sqrt(self.places.weight)
            slopes = self.slopes.at(self.whole(at), nearby)
            matrix = np.concatenate([slopes * calm[:, None], root])
            right = -np.concatenate([left * calm, root @ at])
            ends = np.maximum(self.low - at, -reach), np.minimum(self.high - at, reach)
            step = np.asarray(lsq_linear(matrix, right, ends, method="bvls").x)
            gain, step, tried = self._halved(step, at, cost)
            if gain > 0:
                at, left, cost = at + step, tried, cost - gain
            short = float((np.abs(step) / self.slopes.scale).max()) < SETTLED_STEP
            if gain < settled or short:
                if self.roughly or not self.slopes.far(self.whole(at), NEARBY):
                    break
                nearby = NEARBY
        return at

    def _halved(
        self, step: FloatArray, at: FloatArray, cost: float
    ) -> tuple[float, FloatArray, FloatArray]:
        """Return what a step gains, halved where it gains nothing; the step; residuals after it."""
        for _ in range(HALVINGS):
            tried = self.left_at(at + step)
            gain = cost - self.loss(tried, at + step)
            if gain > 0:
                break
            step = step / 2.0
        return gain, step, tried

    def look_aside(
        self, at: FloatArray, cov: FloatArray, k: int
    ) -> tuple[float, FloatArray | None]:
        """Return by how much the doubt of a knob is more than its slope says, and a better place.

        The place is None where the search has ended well.
        """
        left = self.left_at(at)
        here, calm = self.loss(left, at), _calm(left)
        jacobian = self.slopes_at(at) * calm[:, None]
        bend = jacobian.T @ (jacobian * self.places.weight[:, None]) + self.prior
        factor = 1.0
        for way in (-ASIDE, ASIDE):
            step = way * cov[:, k] / cov[k, k]
            there = np.clip(at + step, self.low, self.high)
            step = there - at
            rise = self.loss(self.left_at(there), there) - here
            if rise < -SETTLED:
                return 1.0, there
            said = float(step @ bend @ step)
            factor = max(factor, float(np.sqrt(said / max(rise, said / MOST_ASIDE**2))))
        return factor, None


def _problem(model: CoarseModel, slopes: Slopes, places: Places, begin: FloatArray) -> _Problem:
    knobs = slopes.knobs
    low, high = bounds_of(knobs, model.job.plan)
    return _Problem(model, knobs, places, slopes, prior_precision(knobs), low, high, begin.copy())
