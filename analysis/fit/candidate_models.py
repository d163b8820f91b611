"""The models tried on a front curve: with or without a fitted start and a feed that resists.

Tested in tests/analysis/fit/test_intervals.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis.fit.frame_selection import Readings
from analysis.fit.front_laws import FrontLaw
from analysis.fit.impulse import Impulse
from analysis.fit.mixture_regression import (
    Mixture,
    ModelFit,
    Prediction,
    Whitener,
    fit_model,
    whiteners,
)
from vision.records import BoolArray, FloatArray

MODELS: dict[str, tuple[bool, bool]] = {
    "plain": (False, False),
    "late start": (True, False),
    "feed resistance": (False, True),
    "feed resistance and late start": (True, True),
}
"""Name: (start is fitted, feed resistance is fitted)."""


def reach_of(readings: Readings) -> float:
    """Farthest front among the frames in use, in metres: the scale of the parameters."""
    return float(np.max(readings.front_m[readings.used]))


def model_front(
    law: FrontLaw, impulse: Impulse, readings: Readings, parameters: FloatArray
) -> FloatArray:
    """Front at every frame from (ln D, c / reach^2, a / reach)."""
    reach = reach_of(readings)
    y = np.exp(parameters[0]) * impulse.at(readings.time_s) + parameters[1] * reach**2
    return law.front(y, max(parameters[2], 0.0) * reach)


def jacobian_rows(
    columns: Sequence[FloatArray | float], steep: FloatArray, begun: BoolArray
) -> FloatArray:
    """Return slopes of the front by each parameter: columns over the law's slope, 0 before it runs.

    Parameters
    ----------
    columns : sequence of P arrays of shape (N,), or numbers
        Slopes of the law's left side by the parameters.
    steep : ndarray of shape (N,), float
        Its slope by the front.
    begun : ndarray of shape (N,), bool
        Whether the front has left the feed.

    Examples
    --------
    >>> jacobian_rows((np.array([2.0, 4.0]), 6.0), np.array([2.0, 2.0]), np.array([False, True]))
    array([[0., 0.],
           [2., 3.]])
    """
    rows = np.empty((len(steep), len(columns)))
    for i, column in enumerate(columns):
        rows[:, i] = column
    rows /= steep[:, None]
    rows[~begun] = 0.0
    return rows


def fit_one(
    law: FrontLaw,
    impulse: Impulse,
    readings: Readings,
    free: tuple[bool, bool],
    trials: list[Whitener] | None = None,
) -> ModelFit | None:
    """Fit one model; the parameters come back as (ln D, c / reach^2, a / reach)."""
    use = readings.used
    trials = trials or whiteners(readings.time_s[use])
    theta, x, reach = impulse.at(readings.time_s[use]), readings.front_m[use], reach_of(readings)
    active = np.array([True, *free])

    def predict(part: FloatArray) -> Prediction:
        full = np.zeros(3)
        full[active] = part
        driven = np.exp(min(full[0], 300.0)) * theta
        a = max(full[2], 0.0) * reach
        y = driven + full[1] * reach**2
        value = law.front(y, a)

        def slopes() -> FloatArray:
            steep = np.maximum(law.slope(value) + 2.0 * a, 1e-9 * reach)
            columns = (driven, reach**2, -2.0 * value * reach)
            return jacobian_rows(columns, steep, value > law.start_m)[:, active]

        return value, slopes

    h = law.h(x)
    if free[1]:
        guess_a = 0.05
        ratio = np.polyfit(theta, h + 2.0 * guess_a * reach * x, 1)[0]
    else:
        guess_a, ratio = 0.0, np.polyfit(theta, h, 1)[0]
    if not ratio > 0:
        ratio = np.median(h / np.maximum(theta, 1e-12))
    start = np.array([np.log(max(ratio, 1e-300)), 0.0, guess_a])[active]
    fit = fit_model(predict, start, x, readings.sd_m[use], trials)
    return None if fit is None else _embed(fit, active)


def _embed(fit: ModelFit, active: BoolArray) -> ModelFit:
    """Put the parameters of a smaller model into the full set of three."""
    m, where = len(fit.mixture.weight), np.flatnonzero(active)
    mean, covariance = np.zeros((m, 3)), np.zeros((m, 3, 3))
    mean[:, where] = fit.mixture.mean
    covariance[np.ix_(np.arange(m), where, where)] = fit.mixture.covariance
    parameters = np.zeros(3)
    parameters[where] = fit.parameters
    mixture = Mixture(fit.mixture.weight, mean, covariance, fit.mixture.freedom)
    return replace(fit, parameters=parameters, mixture=mixture)


def fit_models(
    law: FrontLaw,
    impulse: Impulse,
    readings: Readings,
    loose_start: bool,
    raced: bool = False,
    trials: list[Whitener] | None = None,
) -> dict[str, ModelFit]:
    """Try the models the data can carry; a negative feed length is no model.

    Where an edge raced, resin comes in from the side and the middle speeds up as it would behind
    a feed that resists: the two cannot be told apart, and a feed length is not fitted.
    """
    fits = {}
    trials = trials or whiteners(readings.time_s[readings.used])
    for name, free in MODELS.items():
        if (free[1] and (raced or law.flow == "point")) or (loose_start and not free[0]):
            continue
        fit = fit_one(law, impulse, readings, free, trials)
        if fit is not None and np.isfinite(fit.aicc) and not (free[1] and fit.parameters[2] <= 0):
            fits[name] = fit
    if not fits:
        fit = fit_one(law, impulse, readings, MODELS["late start"], trials)
        fits = {} if fit is None else {"late start": fit}
    return fits
