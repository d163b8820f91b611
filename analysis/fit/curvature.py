"""Does the front bend away from its law? A test with a stated rate of false alarms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.fit.candidate_models import jacobian_rows, reach_of
from analysis.fit.frame_selection import Readings
from analysis.fit.front_laws import FrontLaw
from analysis.fit.impulse import Impulse
from analysis.fit.mixture_regression import (
    Mixture,
    ModelFit,
    Prediction,
    Whitener,
    evidence_weights,
    fit_model,
    join,
    share_below,
    whiteners,
)
from vision.records import FloatArray

FALSE_ALARMS = 0.01
"""Share of sound panels that the test may call bent."""
P_LIMIT = 0.05
"""A bend is clear below this p-value. Because long correlations are among the trials the p-value is
on the careful side: at this limit fewer than `FALSE_ALARMS` of sound panels are called bent
(tests/bench/bend_power.py)."""
CLOTH_SD = 0.07
"""Bend, as ln of early over late speed, that uneven cloth alone may bring to an edge-fed front (no
published figure; set with tests/bench/bend_power.py, whose cloth has waves, laps and hills)."""
RING_SD = 0.10
"""The same to a point-fed front, on top: it begins as a small ring, so a little cloth around the
hole, and the hole's own shape, say how it starts (common practice, no source)."""


@dataclass(frozen=True)
class Bend:
    """How far the front slows beyond its law.

    Attributes
    ----------
    late_speed : float
        Speed in h(x) at the end of the frames used over that at the beginning; 1 follows the law.
    p_value : float
        How likely so strong a bend is on a sound panel.
    """

    late_speed: float
    p_value: float

    @property
    def clear(self) -> bool:
        """Whether the bend is beyond what a sound panel shows."""
        return self.p_value < P_LIMIT


def find_bend(
    law: FrontLaw,
    impulse: Impulse,
    readings: Readings,
    feed_may_resist: bool,
    trials: list[Whitener] | None = None,
) -> Bend | None:
    """Test whether the front slows beyond what its law and the stated histories explain.

    Parameters
    ----------
    law, impulse
        Of the panel, with all that is stated of pressure and viscosity.
    readings : Readings
        With the frames the fit uses.
    feed_may_resist : bool
        Whether a feed that resists, which bends the front the other way, is one of the models.
    trials : list of Whitener, optional
        Those of the frames used, where they are at hand.

    Returns
    -------
    Bend or None
        None where the frames are too few to tell.

    Notes
    -----
    The law's D theta is replaced by ``D theta_end (1 - exp(-b theta / theta_end)) / b``, whose
    speed dies away from 1 to exp(-b); b = 0 is the law. Resin that thickens, a vacuum that sags and
    a front that stalls all have b > 0; a feed that resists bends the other way and is fitted beside
    it. The p-value is the share of the mixture of all fits with b <= 0, over trial correlations of
    the residuals, with the doubt that uneven cloth adds.

    Source: a test of one added parameter (Student's t), carried over a mixture of models; the form
    is that of a viscosity that rises exponentially.
    """
    trials = trials or whiteners(readings.time_s[readings.used])
    choices = (False, True) if feed_may_resist else (False,)
    found = [_fit(law, impulse, readings, feed, trials) for feed in choices]
    fits = [f for f in found if f is not None and np.isfinite(f.aicc) and f.parameters[3] >= 0]
    if not fits:
        return None
    weights = evidence_weights(np.array([f.aicc for f in fits]))
    bends = [_bend_alone(f.mixture) for f in fits]
    best = fits[int(np.argmax(weights))]
    doubt = CLOTH_SD if law.flow == "edge" else float(np.hypot(CLOTH_SD, RING_SD))
    p_value = share_below(join(bends, weights), 0.0, doubt)
    return Bend(float(np.exp(-best.parameters[2])), p_value)


def _bend_alone(mixture: Mixture) -> Mixture:
    """Mixture of the bend b out of (ln D, c, b, a)."""
    return Mixture(
        mixture.weight, mixture.mean[:, 2:3], mixture.covariance[:, 2:3, 2:3], mixture.freedom
    )


def _fit(
    law: FrontLaw, impulse: Impulse, readings: Readings, feed: bool, trials: list[Whitener]
) -> ModelFit | None:
    """Fit (ln D, c / reach^2, b, a / reach), the last only where the feed may resist."""
    use = readings.used
    theta, x, reach = impulse.at(readings.time_s[use]), readings.front_m[use], reach_of(readings)
    end = float(np.max(theta))
    if not end > 0:
        return None
    active = np.array([True, True, True, feed])

    share = theta / end

    def predict(part: FloatArray) -> Prediction:
        full = np.zeros(4)
        full[active] = part
        bend = float(np.clip(full[2], -30.0, 30.0))
        driven = _driven(share, bend)
        scale = np.exp(min(full[0], 300.0)) * end
        a = max(full[3], 0.0) * reach
        value = law.front(scale * driven + full[1] * reach**2, a)

        def slopes() -> FloatArray:
            steep = np.maximum(law.slope(value) + 2.0 * a, 1e-9 * reach)
            by_bend = scale * _driven_by_bend(share, bend)
            columns = (scale * driven, reach**2, by_bend, -2.0 * value * reach)
            return jacobian_rows(columns, steep, value > law.start_m)[:, active]

        return value, slopes

    guess_a = 0.05 if feed else 0.0
    ratio = np.polyfit(theta, law.h(x) + 2.0 * guess_a * reach * x, 1)[0]
    if not ratio > 0:
        return None
    start = np.array([np.log(ratio), 0.0, 0.0, guess_a])[active]
    fit = fit_model(predict, start, x, readings.sd_m[use], trials)
    if fit is None:
        return None
    parameters = np.zeros(4)
    parameters[active] = fit.parameters
    return ModelFit(parameters, fit.mixture, fit.aicc, fit.correlation, fit.scale)


def _driven(s: FloatArray, b: float) -> FloatArray:
    """Return ``(1 - exp(-b s)) / b``, for s from 0 to 1."""
    z = b * s
    small = np.abs(z) < 1e-3
    safe = np.where(small, 1.0, z)
    return s * np.where(small, 1.0 - z / 2.0 + z**2 / 6.0, -np.expm1(-safe) / safe)


def _driven_by_bend(s: FloatArray, b: float) -> FloatArray:
    """Return the derivative of `_driven` by b."""
    z = b * s
    small = np.abs(z) < 1e-3
    safe = np.where(small, 1.0, z)
    exact = (np.exp(-safe) * (1.0 + safe) - 1.0) / safe**2
    return s**2 * np.where(small, -0.5 + z / 3.0, exact)
