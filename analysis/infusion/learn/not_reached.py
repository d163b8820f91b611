"""What the picture does not tell, moved with what it does: zones that no resin has reached yet.

All zones of a part share resin, vacuum and often the batch of cloth; what sets all K seen off the
plan by one factor will not spare the zones that are still dry.

Tested in tests/analysis/infusion/learn/test_fit_plan.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.infusion.learn.knobs import SHARED_SD, Knob, plan_sd
from analysis.infusion.learn.search_values import Fitted
from analysis.part.plan.plan import PartPlan
from vision.records import FloatArray

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
