"""The search for the values of a plan that explain what was seen.

Tested in tests/analysis/infusion/learn/test_fit_plan.py.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import least_squares

from analysis.infusion.learn.coarse_model import CoarseModel
from analysis.infusion.learn.knobs import Knob, bounds_of, prior_precision
from analysis.infusion.learn.misfit import Places, covariance, residuals, together
from analysis.infusion.seen.on_plan import SeenOnPlan
from vision.records import FloatArray

STEP = 0.1
"""Of each knob, for the slope: a tenth in K is far beyond what the grid rounds."""
NEARBY = 0.25
"""How far a knob may move, in parts of its prior, before the slopes are worked out anew."""
MOST_ROUNDS = 7
LEAST_SD = 0.01
"""Relative uncertainty of K that grid and scale leave in any case (common practice, no source)."""
GAP_SD = 0.04
"""The same of a gap's width: a channel of a plan is only like the channel in the bag."""


@dataclass(frozen=True)
class Fitted:
    """Where the search ended.

    Attributes
    ----------
    knobs : list of Knob
        Those that the picture can tell at all.
    at, sd : ndarray of shape (Q,), float
    cov : ndarray of shape (Q, Q), float
    freedom : float
    left : ndarray of shape (P,), float
        Residuals in standard uncertainties.
    slope : ndarray of shape (Q,), float
        Change of the logarithm of the fill time with each knob.
    """

    knobs: list[Knob]
    at: FloatArray
    cov: FloatArray
    freedom: float
    left: FloatArray
    slope: FloatArray

    @property
    def sd(self) -> FloatArray:
        """Standard uncertainty of each knob."""
        return np.asarray(np.sqrt(np.diag(self.cov)))


def overall_factor(knobs: list[Knob], places: Places, model: CoarseModel) -> FloatArray:
    """Return the one factor on K of all stacks that the places usually ask for."""
    wet = ~places.dry
    impulse = model.job.impulse
    seen = np.asarray(impulse.at(places.root_s[wet] ** 2), float)
    planned = model.fine.arrival[places.cell[wet]]
    factor = float(np.median(np.log(np.maximum(planned, 1e-300) / np.maximum(seen, 1e-300))))
    return np.array([factor if knob.kind == "zone" else 0.0 for knob in knobs])


def search_values(
    model: CoarseModel, rough: CoarseModel, on: SeenOnPlan, places: Places, begin: FloatArray
) -> Fitted:
    """Search for the values that explain what was seen; slopes come from a rougher grid."""
    knobs = list(model.knobs)
    low, high = bounds_of(knobs, model.job.plan)
    prior = prior_precision(knobs)
    most_s = 4.0 * max(on.last_s, 1.0)
    slopes = _Slopes(rough, places, prior, most_s, high)

    def all_of(at: FloatArray) -> FloatArray:
        left = residuals(places, model.arrival_s(at), most_s)
        return np.concatenate([left, np.sqrt(prior) * at])

    found = least_squares(
        all_of,
        np.clip(begin, low + 1e-9, high - 1e-9),
        slopes,
        bounds=(low, high),
        loss="soft_l1",
        f_scale=3.0,
        xtol=2e-3,
        ftol=3e-3,
        max_nfev=MOST_ROUNDS,
    )
    at = np.asarray(found.x)
    left = all_of(at)[: len(places.cell)]
    calm = np.sqrt(1.0 / np.sqrt(1.0 + (left / 3.0) ** 2))
    jacobian = slopes(at)[: len(places.cell)] * calm[:, None]
    common = together(places, on) * calm[:, None]
    cov = covariance(jacobian, left * calm, prior, places.cluster, common)
    cov = cov + np.diag([GAP_SD**2 if knob.kind == "gap" else LEAST_SD**2 for knob in knobs])
    freedom = max(int(places.cluster.max()) + 1 - len(at), 2)
    return Fitted(knobs, at, cov, float(freedom), left, slopes.of_fill_time)


@dataclass
class _Slopes:
    """Slopes of the residuals by the knobs; those of nearby are taken again."""

    rough: CoarseModel
    places: Places
    prior: FloatArray
    most_s: float
    high: FloatArray
    of_fill_time: FloatArray = field(default_factory=lambda: np.zeros(0))
    _where: FloatArray | None = None
    _last: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))

    def __call__(self, at: FloatArray) -> FloatArray:
        """Return the slopes at a place, shape (P + Q, Q)."""
        if self._far(at):
            self._work_out(at)
        return self._last

    def _far(self, at: FloatArray) -> bool:
        return self._where is None or bool(
            (np.abs(at - self._where) * np.sqrt(self.prior)).max() > NEARBY
        )

    def _work_out(self, at: FloatArray) -> None:
        base, full = self._left(at), np.log(self.rough.fill_time_s(at))
        columns, of_time = [], []
        for k in range(len(at)):
            step = STEP if at[k] + STEP < self.high[k] else -STEP
            moved = at.copy()
            moved[k] += step
            columns.append((self._left(moved) - base) / step)
            of_time.append((np.log(self.rough.fill_time_s(moved)) - full) / step)
        prior = np.diag(np.sqrt(self.prior))
        self._last = np.concatenate([np.stack(columns, axis=1), prior])
        self._where, self.of_fill_time = at.copy(), np.array(of_time)

    def _left(self, at: FloatArray) -> FloatArray:
        return residuals(self.places, self.rough.arrival_s(at), self.most_s)
