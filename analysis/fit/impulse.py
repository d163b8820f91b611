"""The driving impulse: all that vacuum and viscosity histories do to a fill."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.panel.records import Log
from vision.records import FloatArray

IndexArray = NDArray[np.integer]

_HALVINGS = 60
MOST_LOG_VISCOSITY = 600.0
"""Past any solid, and as far as numbers reach: a log may go on long after the resin has set."""


@dataclass(frozen=True)
class Impulse:
    """Driving impulse theta(t), the time integral of pressure difference over viscosity.

    Between knots the pressure runs straight and the viscosity exponentially, so the integral is
    exact for a constant, a logged pressure, and an exponential rise alike. After the last knot
    the pressure stays and the viscosity goes on growing at `growth_per_s` of the last piece;
    before the first the first rate holds.

    Attributes
    ----------
    knot_s : ndarray of shape (N,), float
        Rising times since resin start; the first is 0.
    pressure_pa : ndarray of shape (N,), float
        Pressure difference at the knots.
    viscosity_pa_s : ndarray of shape (N,), float
        Viscosity at the knots.
    growth_per_s : ndarray of shape (N,), float
        Rate of exponential growth of viscosity from each knot on.
    theta : ndarray of shape (N,), float
        Impulse at the knots, dimensionless.

    Notes
    -----
    Source: Darcy's law with a sharp front, integrated once in time.
    """

    knot_s: FloatArray
    pressure_pa: FloatArray
    viscosity_pa_s: FloatArray
    growth_per_s: FloatArray
    theta: FloatArray

    def at(self, time_s: ArrayLike) -> FloatArray:
        """Impulse at times of any shape, in seconds since resin start."""
        time = np.asarray(time_s, dtype=float)
        i = np.clip(np.searchsorted(self.knot_s, time, side="right") - 1, 0, None)
        step = time - self.knot_s[i]
        inside: FloatArray = self.theta[i] + self._piece(i, np.maximum(step, 0.0))
        return np.where(step >= 0, inside, step * self._rate0())

    def rate(self, time_s: ArrayLike) -> FloatArray:
        """Pressure over viscosity at times of any shape, per second."""
        time = np.asarray(time_s, dtype=float)
        i = np.clip(np.searchsorted(self.knot_s, time, side="right") - 1, 0, None)
        step = np.maximum(time - self.knot_s[i], 0.0)
        return self._pressure(i, step) / self._viscosity(i, step)

    def time_of(self, theta: ArrayLike) -> FloatArray:
        """Time at which the impulse reaches `theta`; infinity where it never does."""
        wanted = np.asarray(theta, dtype=float)
        i = np.clip(np.searchsorted(self.theta, wanted, side="right") - 1, 0, None)
        rest = wanted - self.theta[i]
        never = rest >= self._end(i)
        rest_safe = np.where(never | (rest < 0), 0.0, rest)
        step = self._step_of(i, rest_safe)
        time = self.knot_s[i] + step
        time = np.where(rest < 0, wanted / self._rate0(), time)
        return np.where(never, np.inf, time)

    def _step_of(self, i: IndexArray, rest: FloatArray) -> FloatArray:
        """Time from knot i at which the piece's impulse is `rest`; closed where pressure holds."""
        growth, slope = self.growth_per_s[i], self._pressure_slope()[i]
        pressure, mu = self.pressure_pa[i], self.viscosity_pa_s[i]
        if not np.any(slope):
            steady = rest * mu / np.maximum(pressure, 1e-300)
            stiff = np.abs(growth * steady) > 1e-9
            rate = np.where(stiff, growth, 1.0)
            shrink = np.maximum(-np.where(stiff, growth, 0.0) * steady, -1.0 + 1e-16)
            return np.where(stiff, -np.log1p(shrink) / rate, steady)
        low = np.zeros_like(rest)
        span = np.append(np.diff(self.knot_s), np.inf)[i]
        high = np.where(np.isfinite(span), span, self._tail_bound(rest))
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            below = self._piece(i, middle) < rest
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return self._polish(i, 0.5 * (low + high), rest)

    @property
    def theta_end(self) -> float:
        """Greatest impulse that is ever reached; infinity unless the resin stiffens."""
        last = np.array([len(self.knot_s) - 1])
        return float(self.theta[-1] + self._end(last)[0])

    def _rate0(self) -> float:
        first = float(self.pressure_pa[0] / self.viscosity_pa_s[0])
        if first > 0 or len(self.knot_s) == 1:
            return first
        return float(self.theta[1] / self.knot_s[1])

    def _pressure(self, i: IndexArray, step: FloatArray) -> FloatArray:
        return self.pressure_pa[i] + self._pressure_slope()[i] * step

    def _pressure_slope(self) -> FloatArray:
        return np.append(np.diff(self.pressure_pa) / np.diff(self.knot_s), 0.0)

    def _viscosity(self, i: IndexArray, step: FloatArray) -> FloatArray:
        return self.viscosity_pa_s[i] * np.exp(np.minimum(self.growth_per_s[i] * step, 700.0))

    def _piece(self, i: IndexArray, step: FloatArray) -> FloatArray:
        return _piece_integral(
            step,
            self.pressure_pa[i],
            self._pressure_slope()[i],
            self.growth_per_s[i],
            self.viscosity_pa_s[i],
        )

    def _end(self, i: IndexArray) -> FloatArray:
        last = i == len(self.knot_s) - 1
        growth = self.growth_per_s[-1]
        rate = self._rate0_of(-1)
        limit = rate / growth if growth > 0 else np.inf if rate > 0 else 0.0
        return np.where(last, limit, np.inf)

    def _rate0_of(self, i: int) -> float:
        return float(self.pressure_pa[i] / self.viscosity_pa_s[i])

    def _tail_bound(self, rest: FloatArray) -> FloatArray:
        rate, growth = max(self._rate0_of(-1), 1e-300), self.growth_per_s[-1]
        if growth > 0:
            return -np.log1p(-np.minimum(rest * growth / rate, 1 - 1e-16)) / growth * 1.001 + 1e-9
        return rest / rate * 1.001 + 1e-9

    def _polish(self, i: IndexArray, step: FloatArray, rest: FloatArray) -> FloatArray:
        slope = self._pressure(i, step) / self._viscosity(i, step)
        return np.maximum(step - (self._piece(i, step) - rest) / np.maximum(slope, 1e-300), 0.0)


def _piece_integral(
    step: FloatArray, p0: FloatArray, slope: FloatArray, growth: FloatArray, mu0: FloatArray
) -> FloatArray:
    """Integral of (p0 + slope s) exp(-growth s) / mu0 over s from 0 to `step`."""
    z = growth * step
    small = np.abs(z) < 1e-4
    safe = np.where(small, 1.0, z)
    e1 = np.where(small, 1 - z / 2 + z**2 / 6, -np.expm1(-safe) / safe)
    e2 = np.where(small, 0.5 - z / 3 + z**2 / 8, (1 - np.exp(-safe) * (1 + safe)) / safe**2)
    return step * (p0 * e1 + slope * step * e2) / mu0


def constant_impulse(
    pressure_pa: float, viscosity_pa_s: float, growth_per_s: float = 0.0
) -> Impulse:
    """Impulse of a steady vacuum and a viscosity mu0 exp(growth t).

    Examples
    --------
    >>> float(constant_impulse(95_000.0, 0.2).at(10.0))
    4750000.0
    """
    return Impulse(
        np.zeros(1),
        np.array([float(pressure_pa)]),
        np.array([float(viscosity_pa_s)]),
        np.array([float(growth_per_s)]),
        np.zeros(1),
    )


def logged_impulse(
    pressure: Log | float, viscosity: Log | float, growth_per_s: float = 0.0
) -> Impulse:
    """Impulse from logs or single values of pressure (Pa) and viscosity (Pa s).

    Parameters
    ----------
    pressure, viscosity : Log or float
        Times since resin start; the first reading also holds before its time, the last pressure
        after it. After the last viscosity reading its last rise goes on.
    growth_per_s : float
        Exponential rise from resin start, used where `viscosity` is a single value.
    """
    if not isinstance(pressure, Log) and not isinstance(viscosity, Log):
        return constant_impulse(pressure, viscosity, growth_per_s)
    times = [np.zeros(1)] + [x.time_s for x in (pressure, viscosity) if isinstance(x, Log)]
    knots = np.unique(np.concatenate(times))
    knots = knots[knots >= 0]
    drive = (
        np.interp(knots, pressure.time_s, pressure.value)
        if isinstance(pressure, Log)
        else np.full(knots.shape, float(pressure))
    )
    if isinstance(viscosity, Log):
        log_mu = np.interp(knots, viscosity.time_s, np.log(viscosity.value))
        growth = np.append(np.diff(log_mu) / np.diff(knots), 0.0)
        if len(viscosity.value) > 1:
            last = np.diff(np.log(viscosity.value[-2:])) / np.diff(viscosity.time_s[-2:])
            growth[knots >= viscosity.time_s[-1]] = max(float(last[0]), 0.0)
            log_mu = log_mu + growth[-1] * np.maximum(knots - viscosity.time_s[-1], 0.0)
    else:
        log_mu = np.log(viscosity) + growth_per_s * knots
        growth = np.full(knots.shape, growth_per_s)
    mu = np.exp(np.minimum(log_mu, MOST_LOG_VISCOSITY))
    slope = np.append(np.diff(drive) / np.diff(knots), 0.0)
    pieces = _piece_integral(np.diff(knots), drive[:-1], slope[:-1], growth[:-1], mu[:-1])
    theta = np.concatenate([np.zeros(1), np.cumsum(pieces)])
    return Impulse(knots, drive, mu, growth, theta)
