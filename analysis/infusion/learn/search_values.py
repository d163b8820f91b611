"""The search for the values of a plan that explain what was seen.

Tested in tests/analysis/infusion/learn/test_fit_plan.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import lsq_linear

from analysis.infusion.learn.coarse_model import Anchor, CoarseModel
from analysis.infusion.learn.knobs import Knob, bounds_of, prior_precision
from analysis.infusion.learn.misfit import Places, covariance, residuals, together
from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.part.plan.part_toml import PartJob
from vision.records import FloatArray, IntArray

STEP = 0.1
"""Of each knob, for the slope: a tenth in K is far beyond what the grid rounds."""
NEARBY = 0.1
"""How far a knob may move, in parts of its prior, before the slopes are worked out anew."""
WEAK_SD = 0.08
"""A zone whose K is less sure than this is looked at aside."""
ASIDE, MOST_ASIDE = 0.6, 4.0
"""How far, in the logarithm of K, and by how much its doubt may grow."""
MOST_ROUNDS = 10
MOST_STEP = 1.0
"""How far a knob may move at once, in parts of its prior."""
HALVINGS = 2
SETTLED, SETTLED_STEP = 0.05, 5e-3
"""The search ends where a step gains less than this of the loss, or is shorter than this, in parts
of the prior."""
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
    knobs: Sequence[Knob], places: Places, anchor: Anchor, job: PartJob
) -> FloatArray:
    """Return the one factor on K of all stacks that the places usually ask for."""
    wet = ~places.dry
    seen = np.asarray(job.impulse.at(places.root_s[wet] ** 2), float)
    planned = anchor.filling.arrival[places.cell[wet]]
    factor = float(np.median(np.log(np.maximum(planned, 1e-300) / np.maximum(seen, 1e-300))))
    return np.array([factor if knob.kind == "zone" else 0.0 for knob in knobs])


def search_values(
    model: CoarseModel,
    rough: CoarseModel,
    free: IntArray,
    places: Places,
    begin: FloatArray,
    most_s: float,
) -> FloatArray:
    """Search for the values that explain what was seen; slopes come from a rougher grid.

    Parameters
    ----------
    model, rough : CoarseModel
        For values and for slopes, over all knobs.
    free : ndarray of shape (Q,), int
        Which of the knobs are searched for; the others stay where they begin.
    places : Places
    begin : ndarray of shape (N,), float
        Of all knobs.
    most_s : float
        Later than this is never.

    Returns
    -------
    ndarray of shape (N,)
    """
    problem = _problem(model, rough, free, places, begin, most_s)
    return problem.slopes.whole(problem.descend(begin[free]))


def how_sure(
    model: CoarseModel,
    rough: CoarseModel,
    free: IntArray,
    on: SeenOnPlan,
    places: Places,
    begin: FloatArray,
    most_s: float,
) -> Fitted:
    """Search as `search_values`, and return how sure the values are as well.

    Notes
    -----
    The covariance is that of the slopes. A zone that the front has barely entered is not known by
    its slope alone: a low K of it is told sooner than a high one. So each such zone is looked at
    aside, the others moved with it, and its doubt grows by as much as the loss grows slower there
    than the slopes say; if the loss is less there, the search goes on from there.
    """
    problem = _problem(model, rough, free, places, begin, most_s)
    at = problem.descend(begin[free])
    cov = _covariance(problem, at, on)
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
    freedom = max(int(places.cluster.max()) + 1 - len(at), 2)
    whole = problem.slopes.whole(at)
    return Fitted(problem.knobs, whole, free, cov, float(freedom), problem.left_at(at))


def _covariance(problem: _Problem, at: FloatArray, on: SeenOnPlan) -> FloatArray:
    left, places = problem.left_at(at), problem.places
    calm = _calm(left)
    jacobian = problem.slopes(at) * calm[:, None]
    common = together(places, on) * calm[:, None]
    return covariance(jacobian, left * calm, problem.prior, places, common)


def _calm(left: FloatArray) -> FloatArray:
    """Return the square root of the weight of each residual under the bounded loss."""
    return np.asarray((1.0 + (left / SOFT) ** 2) ** -0.25)


@dataclass
class _Slopes:
    """Slopes of the residuals by the knobs; those of nearby are taken again."""

    rough: CoarseModel
    places: Places
    scale: FloatArray
    most_s: float
    high: FloatArray
    begin: FloatArray
    free: IntArray
    _where: FloatArray | None = None
    _last: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))

    def whole(self, at: FloatArray) -> FloatArray:
        """Return the place of all knobs for one of those searched for."""
        whole = self.begin.copy()
        whole[self.free] = at
        return whole

    def __call__(self, at: FloatArray) -> FloatArray:
        """Return the slopes at a place, shape (P, Q)."""
        if self._where is None or (np.abs(at - self._where) / self.scale).max() > NEARBY:
            self._work_out(at)
        return self._last

    def _work_out(self, at: FloatArray) -> None:
        base = self._left(at)
        columns = []
        for k in range(len(at)):
            step = STEP if at[k] + STEP < self.high[k] else -STEP
            moved = at.copy()
            moved[k] += step
            columns.append((self._left(moved) - base) / step)
        self._last = np.stack(columns, axis=1)
        self._where = at.copy()

    def _left(self, at: FloatArray) -> FloatArray:
        return residuals(self.places, self.rough.arrival_s(self.whole(at)), self.most_s)


@dataclass(frozen=True)
class _Problem:
    """The loss of a search, and ways down it."""

    model: CoarseModel
    knobs: list[Knob]
    places: Places
    slopes: _Slopes
    prior: FloatArray
    low: FloatArray
    high: FloatArray

    def left_at(self, at: FloatArray) -> FloatArray:
        """Return the residuals at a place of the knobs."""
        slopes = self.slopes
        return residuals(self.places, self.model.arrival_s(slopes.whole(at)), slopes.most_s)

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
        does not help.
        """
        at = np.clip(begin, self.low, self.high)
        left, root = self.left_at(at), np.linalg.cholesky(self.prior).T
        cost, reach = self.loss(left, at), MOST_STEP * self.slopes.scale
        for _ in range(MOST_ROUNDS):
            calm = _calm(left) * np.sqrt(self.places.weight)
            matrix = np.concatenate([self.slopes(at) * calm[:, None], root])
            right = -np.concatenate([left * calm, root @ at])
            ends = np.maximum(self.low - at, -reach), np.minimum(self.high - at, reach)
            step = np.asarray(lsq_linear(matrix, right, ends, method="bvls").x)
            for _ in range(HALVINGS):
                tried = self.left_at(at + step)
                found = self.loss(tried, at + step)
                if found < cost:
                    break
                step = step / 2.0
            else:
                return at
            gain, at, left, cost = cost - found, at + step, tried, found
            if gain < SETTLED or float((np.abs(step) / self.slopes.scale).max()) < SETTLED_STEP:
                break
        return at

    def look_aside(
        self, at: FloatArray, cov: FloatArray, k: int
    ) -> tuple[float, FloatArray | None]:
        """Return by how much the doubt of a knob is more than its slope says, and a better place.

        The place is None where the search has ended well.
        """
        left = self.left_at(at)
        here, calm = self.loss(left, at), _calm(left)
        jacobian = self.slopes(at) * calm[:, None]
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


def _problem(
    model: CoarseModel,
    rough: CoarseModel,
    free: IntArray,
    places: Places,
    begin: FloatArray,
    most_s: float,
) -> _Problem:
    knobs = [model.knobs[k] for k in free]
    low, high = bounds_of(knobs, model.job.plan)
    scale = np.array([knob.prior_sd for knob in knobs])
    slopes = _Slopes(rough, places, scale, most_s, high, np.array(begin, float), free)
    return _Problem(model, knobs, places, slopes, prior_precision(knobs), low, high)


def slope_of_fill_time(rough: CoarseModel, at: FloatArray) -> FloatArray:
    """Return the change of the logarithm of the fill time with each knob."""
    full = np.log(rough.fill_time_s(at))
    slopes = []
    for k in range(len(at)):
        moved = np.array(at, float)
        moved[k] += STEP
        slopes.append((np.log(rough.fill_time_s(moved)) - full) / STEP)
    return np.array(slopes)
