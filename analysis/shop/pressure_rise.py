"""Pressure rise after lock-off, parted into a leak and outgassing of whatever shape.

Tested in tests/analysis/shop/test_drawdown.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from analysis.fit.mixture_regression import Mixture, interval, join
from vision.records import FloatArray

SHARES_OF_LOG = tuple(np.geomspace(0.03, 2.0, 24))
"""Trial times in which outgassing dies away, as shares of the log."""
PAIR_SHARES = tuple(np.geomspace(0.03, 2.0, 14))
"""Coarser, for two kinds of gas that die away each in its own time."""
TEMPER = 0.25
"""Factor on AICc in the weights, half of Akaike's: what is left over is not fresh in each reading
(a shop's warmth wanders), so the differences come out too large. Set with
tests/bench/drawdown_coverage.py."""
LEAST_FLOOR_MBAR = 0.01
"""No gauge in a shop reads better."""
STEADY_TO_MBAR = 100.0
"""Below this a leak through narrow ways has slowed by less than 1 % and counts as steady."""
STEADY, OUTGASSING, BOTH = "steady leak", "outgassing", "leak and outgassing"
DYING, DESORBING, DIFFUSING = "dying", "desorbing", "diffusing"


@dataclass(frozen=True)
class Gas:
    """One way in which gas comes out of stack and bag.

    `kind` is "dying" (rate falls exponentially), "desorbing" (rate goes as 1 / (tau + t)) or
    "diffusing" (rate goes as 1 / sqrt(tau + t)); `tau_min` its time.

    Notes
    -----
    Source: outgassing rates that fall exponentially, as 1/t (desorption) or as 1/sqrt(t) (diffusion
    out of a solid) are the textbook cases of vacuum practice (from memory).
    """

    kind: str
    tau_min: float

    def risen(self, minutes: FloatArray | float) -> FloatArray:
        """Pressure given off by then, in units of the amplitude."""
        s = np.asarray(minutes, dtype=float) / self.tau_min
        if self.kind == DYING:
            return -np.expm1(-s)
        return np.log1p(s) if self.kind == DESORBING else np.sqrt(1.0 + s) - 1.0


@dataclass(frozen=True)
class Leak:
    """A leak: steady in time, or slowing as the bag fills (laminar, ``dp/dt = c (pa^2 - p^2)``).

    `minutes` and `passed` tabulate the log: how many minutes of the leak's first rate have come
    through by then. After the log the last rate goes on.
    """

    minutes: FloatArray
    passed: FloatArray

    def risen(self, minutes: FloatArray | float) -> FloatArray:
        """Pressure let in by then, over the leak's first rate."""
        t = np.asarray(minutes, dtype=float)
        end, rate = self.minutes[-1], self._last_rate()
        inside = np.interp(t, self.minutes, self.passed)
        return inside + np.maximum(t - end, 0.0) * rate

    def _last_rate(self) -> float:
        step = self.minutes[-1] - self.minutes[-2]
        return float((self.passed[-1] - self.passed[-2]) / step)


@dataclass(frozen=True)
class RiseFit:
    """All trial shapes of one log with their weights.

    Attributes
    ----------
    leaks, gases : tuple
        Per trial: its leak or None, and its kinds of gas.
    mixture : Mixture
        Per trial: (start pressure, leak rate in mbar/min, amplitude of each of two gases).
    shape : {"steady leak", "outgassing", "leak and outgassing"}
        That of the trial with the least AICc.
    """

    leaks: tuple[Leak | None, ...]
    gases: tuple[tuple[Gas, ...], ...]
    mixture: Mixture
    shape: str

    def part(
        self, minutes: float, with_leak: bool, with_gas: bool, drift_sd: float
    ) -> tuple[float, float, float]:
        """Rise in `minutes` from leak, gas or both: mean, lower and upper 95 % bound, in mbar.

        `drift_sd` is an independent doubt in mbar.
        """
        gradient = np.zeros_like(self.mixture.mean)
        for i, (leak, gases) in enumerate(zip(self.leaks, self.gases, strict=True)):
            if with_leak and leak is not None:
                gradient[i, 1] = leak.risen(minutes)
            if with_gas:
                for j, gas in enumerate(gases):
                    gradient[i, 2 + j] = gas.risen(minutes)
        value = np.sum(self.mixture.mean * gradient, axis=1)
        variance = np.einsum("mi,mij,mj->m", gradient, self.mixture.covariance, gradient)
        one = Mixture(
            self.mixture.weight, value[:, None], variance[:, None, None], self.mixture.freedom
        )
        low, high = interval(one, max(drift_sd, 1e-6))
        return float(self.mixture.weight @ value), low, high

    @property
    def dying_min(self) -> float | None:
        """Time in which the likeliest outgassing dies away; None without one that does."""
        gases = self.gases[int(np.argmax(self.mixture.weight))]
        return gases[0].tau_min if gases and gases[0].kind == DYING else None


def fit_rise(t: FloatArray, p: FloatArray, step_mbar: float, ambient_mbar: float) -> RiseFit:
    """Fit leak, outgassing and both, over every trial shape.

    Parameters
    ----------
    t, p : ndarray of shape (N,), float
        Minutes since lock-off and absolute pressure in mbar, N at least 4.
    step_mbar : float
        Step of the gauge.
    ambient_mbar : float
        Air pressure.

    Notes
    -----
    Source: pressure-rise method (vacuum practice): a leak rises steadily, outgassing bends over.
    Weights by AICc of Hurvich and Tsai 1989, Biometrika 76, 297 (from memory); each of the three
    shapes weighs the same beforehand however many times it is tried with.
    """
    floor = max(step_mbar / np.sqrt(12.0), LEAST_FLOOR_MBAR)
    trials = []
    for name, leak, gases in _shapes(t, p, ambient_mbar):
        columns = [np.ones_like(t)]
        columns += [] if leak is None else [leak.risen(t)]
        columns += [gas.risen(t) for gas in gases]
        found = _least_squares(np.stack(columns, axis=1), p, floor, leak is not None)
        if found is not None:
            trials.append((name, leak, gases, *found))
    count = {name: sum(trial[0] == name for trial in trials) for name in {t[0] for t in trials}}
    score = np.array([trial[4] for trial in trials])
    weight = np.exp(-TEMPER * (score - score.min()))
    weight /= np.array([count[trial[0]] for trial in trials])
    weight /= weight.sum()
    return RiseFit(
        leaks=tuple(trial[1] for trial in trials),
        gases=tuple(trial[2] for trial in trials),
        mixture=join([trial[3] for trial in trials], weight),
        shape=trials[int(np.argmin(score))][0],
    )


def _shapes(
    t: FloatArray, p: FloatArray, ambient_mbar: float
) -> Iterator[tuple[str, Leak | None, tuple[Gas, ...]]]:
    span = float(t[-1])
    leaks = [Leak(t, t)]
    if np.max(p) > STEADY_TO_MBAR:
        leaks.append(_slowing_leak(t, p, ambient_mbar))
    gases: list[tuple[Gas, ...]] = [
        (Gas(kind, share * span),)
        for kind in (DYING, DESORBING, DIFFUSING)
        for share in SHARES_OF_LOG
    ]
    gases += [
        (Gas(DYING, slow * span), Gas(DYING, fast * span))
        for fast, slow in combinations(PAIR_SHARES, 2)
    ]
    for leak in leaks:
        yield STEADY, leak, ()
    for gas in gases:
        yield OUTGASSING, None, gas
        for leak in leaks:
            yield BOTH, leak, gas


def _slowing_leak(t: FloatArray, p: FloatArray, ambient_mbar: float) -> Leak:
    rate = np.maximum(1.0 - (p / ambient_mbar) ** 2, 1e-3)
    rate = rate / rate[0]
    passed = np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(t))])
    return Leak(t, passed)


def _least_squares(
    design: FloatArray, p: FloatArray, floor: float, leaks: bool
) -> tuple[Mixture, float] | None:
    """Fit one shape; None where it has too few readings or is surely negative somewhere."""
    n, k = design.shape
    if n - k < 1:
        return None
    solution = np.linalg.lstsq(design, p, rcond=None)[0]
    residual = p - design @ solution
    square = max(float(residual @ residual), n * floor**2)
    covariance = np.linalg.pinv(design.T @ design) * max(square / (n - k), floor**2)
    if k > 2 and np.any((solution + 2.0 * np.sqrt(np.diag(covariance)))[1:] < 0):
        return None  # surely less than nothing: no such shape
    # The times of the gases are averaged over, not fitted, so they do not count.
    count = k + 1
    spare = n - count - 1
    penalty = 2.0 * count * (count + 1) / spare if spare > 0 else 50.0 * (1 - spare)
    score = n * np.log(square / n) + 2.0 * count + penalty
    where = [0, *([1] if leaks else []), *range(2, 2 + k - 1 - leaks)]
    mean, full = np.zeros(4), np.zeros((4, 4))
    mean[where] = solution
    full[np.ix_(where, where)] = covariance
    return Mixture(np.ones(1), mean[None], full[None], np.array([float(n - k)])), float(score)
