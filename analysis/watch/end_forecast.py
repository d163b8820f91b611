"""When the front of the run that goes on will be at the end, with its band."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.fit.mixture_regression import Mixture, interval, project
from analysis.fit.permeability import PermeabilityFit
from analysis.forecast.fill_time import forecast_sd
from vision.records import FloatArray, FrontCurve

LEAST_REACH = 0.12
"""No forecast before this share of the way: a line through a few near points says nothing."""

SETTLED = 2
"""Latest frames left out of numbers: what one or two frames show may be a hand or a flash."""

AHEAD_SD = 0.04
"""Relative sd of the permeability of the cloth that the front has not reached yet against that
behind it: half of what one lay-up differs from the next (common practice, no source)."""

_STEPS = 16


@dataclass(frozen=True)
class EndForecast:
    """Forecast of the run that goes on; times in seconds since resin start.

    Attributes
    ----------
    length_mm : float
        Distance to the end.
    end_s, low_s, high_s : float
        When the front is there and the 95 % interval; infinity where the resin stiffens before.
    front_mm, early_s, middle_s, late_s : ndarray of shape (K,)
        The band: when the front is at each distance.
    slowing : bool
        Whether the front has slowed beyond what the fit explains: the end may come later than
        the band says.
    """

    length_mm: float
    end_s: float
    low_s: float
    high_s: float
    front_mm: FloatArray
    early_s: FloatArray
    middle_s: FloatArray
    late_s: FloatArray
    slowing: bool = False


def without_last(curve: FrontCurve, count: int) -> FrontCurve:
    """Leave out the last frames of a curve."""
    if count <= 0:
        return curve
    keep = slice(0, max(0, len(curve.time_s) - count))
    arrays: dict[str, Any] = {
        name: value[keep]
        for name, value in vars(curve).items()
        if isinstance(value, np.ndarray | tuple)
    }
    return replace(curve, **arrays)


def forecast_end(fit: PermeabilityFit, length_m: float, from_m: float = 0.0) -> EndForecast:
    """Forecast when this run's front is at `length_m` from the fit of its own past.

    Parameters
    ----------
    fit : PermeabilityFit
        Of the settled part of the run.
    length_m : float
        Distance from the feed to the end (point feed: radius).
    from_m : float
        Where the front is now; the band begins there.

    Notes
    -----
    Source: the fitted law solved for the time, ``theta = (h(x) + 2 a x - c) / D``; the interval
    from the mixture of fits. Doubts that are the same behind and ahead of the front (viscosity,
    pressure, porosity) cancel; those of the edge's place and of race-tracking stay, and the cloth
    ahead may differ from that behind, which counts for the share of the impulse still to come.
    """
    start = min(max(0.1 * length_m, fit.law.start_m * 1.01, from_m), 0.99 * length_m)
    places = np.linspace(start, length_m, _STEPS)
    extra = forecast_sd(fit, 0.0)
    early, middle, late = (np.empty(_STEPS) for _ in range(3))
    for k, x in enumerate(places):
        to_come = 1.0 - min(start / x, 1.0) ** 2 if from_m > 0 else 1.0
        doubt = float(np.hypot(extra, AHEAD_SD * to_come))
        low, high = interval(_log_theta(fit, float(x)), doubt)
        best = _best_theta(fit, float(x))
        times = fit.impulse.time_of(
            np.array([np.exp(min(low, 600.0)), best, np.exp(min(high, 600.0))])
        )
        early[k], middle[k], late[k] = times
    return EndForecast(
        length_mm=length_m * 1000.0,
        end_s=float(middle[-1]),
        low_s=float(min(early[-1], middle[-1])),
        high_s=float(max(late[-1], middle[-1])),
        front_mm=places * 1000.0,
        early_s=early,
        middle_s=middle,
        late_s=late,
        slowing=fit.slows,
    )


def _log_theta(fit: PermeabilityFit, x_m: float) -> Mixture:
    mean, reach = fit.mixture.mean, fit.reach_m
    a = np.maximum(mean[:, 2], 0.0) * reach
    y = float(fit.law.h(np.array(x_m))) + 2.0 * a * x_m - mean[:, 1] * reach**2
    y = np.maximum(y, 1e-9)
    gradient = np.zeros_like(mean)
    gradient[:, 0] = -1.0
    gradient[:, 1] = -(reach**2) / y
    gradient[:, 2] = 2.0 * reach * x_m / y
    return project(fit.mixture, np.log(y) - mean[:, 0], gradient)


def _best_theta(fit: PermeabilityFit, x_m: float) -> float:
    start = float(fit.impulse.at(fit.start_s))
    y = float(fit.law.h(np.array(x_m))) + 2.0 * fit.feed_length_m * x_m
    return max(y / fit.slope + start, 1e-12)


def speed_mm_min(time_s: FloatArray, front_mm: FloatArray, points: int = 6) -> float | None:
    """Front speed over the last few readings, by a straight line through them.

    Examples
    --------
    >>> speed_mm_min(np.array([0.0, 60.0, 120.0]), np.array([0.0, 10.0, 20.0]))
    10.0
    """
    t, x = time_s[-points:], front_mm[-points:]
    if len(t) < 3 or np.ptp(t) <= 0:
        return None
    return round(float(np.polyfit(t - t[0], x, 1)[0]) * 60.0, 6)
