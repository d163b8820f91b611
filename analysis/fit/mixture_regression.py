"""Least squares with residuals that are correlated in time, and mixtures that carry the doubt.

The correlation of the residuals and, between models, the model itself are not known; each is
tried on a grid and the answers are mixed by how well they explain the data. An interval from the
mixture holds what an interval from one best guess leaves out.

Tested in tests/analysis/fit/test_intervals.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular
from scipy.optimize import brentq
from scipy.special import stdtr

from vision.records import FloatArray

Z_95 = 1.959964
"""Standard deviations to either side that hold 95 % of a normal distribution (textbook)."""
TRIAL_SPANS = (0.03, 0.06, 0.12, 0.25, 0.5, 1.0, 2.0, 4.0)
"""Trial correlation times of the residuals, as shares of the run. Those longer than the run stand
for uneven cloth, whose errors add up as the front goes on. All weigh the same before the data
speak: with less weight on long ones the intervals held less often than they say
(tests/bench/interval_coverage.py)."""
WHITE_PRIOR = 8.0
"""Prior weight of residuals that are fresh in each frame, against 1 for each of the 32 trials with
a slow part: a fifth of all."""
TRIAL_WHITE = (0.0, 0.25, 0.5, 0.75)
"""Trial shares of the residuals' variance that are fresh in each frame."""
EVIDENCE_SHARE = 0.25
"""Share of the AICc difference that weighs one model against another in the interval: as the
residuals' correlation is not known, AICc differences come out too large. Set with
tests/bench/interval_coverage.py; the model named best is not affected."""
MOST_ROWS = 120
"""More readings than this are averaged in neighbouring groups; they say little more."""
SMALLEST_RESIDUAL = 0.05
"""Residuals smaller than this share of the stated sd are no evidence: it is rounding that fits."""

_STEPS = 25

Prediction = tuple[FloatArray, Callable[[], FloatArray]]
"""Values of shape (N,), and what works out their slopes by the parameters, shape (N, P)."""


@dataclass(frozen=True)
class Mixture:
    """A weighted set of Gaussian-or-Student guesses of the same parameters.

    Attributes
    ----------
    weight : ndarray of shape (M,), float
        Sum to 1.
    mean : ndarray of shape (M, P), float
        Parameters of each guess.
    covariance : ndarray of shape (M, P, P), float
        Their covariance.
    freedom : ndarray of shape (M,), float
        Degrees of freedom.
    """

    weight: FloatArray
    mean: FloatArray
    covariance: FloatArray
    freedom: FloatArray


@dataclass(frozen=True)
class ModelFit:
    """One model fitted over all trial correlations.

    `aicc` is that of the best correlation; `correlation` that correlation; `parameters` its
    parameters; `mixture` all of them; `scale` the residuals' size as a multiple of the stated sd.
    """

    parameters: FloatArray
    mixture: Mixture
    aicc: float
    correlation: float
    scale: float


@dataclass(frozen=True)
class Whitener:
    """One trial correlation of the residuals.

    `matrix` of shape (G, N) turns N standardised residuals into G independent ones; `log_det` is
    the log determinant of their correlation; `lag_one` the correlation of neighbours; `prior` the
    weight it has before the data speak.
    """

    matrix: FloatArray
    log_det: float
    lag_one: float
    prior: float = 1.0


def whiteners(time_s: FloatArray) -> list[Whitener]:
    """Return the trial correlations: a slow part that dies away in time, and a fresh part.

    Parameters
    ----------
    time_s : ndarray of shape (N,), float
        Rising times.

    Notes
    -----
    Source: an Ornstein-Uhlenbeck process (correlation exp(-step / tau)) plus white noise, the
    "nugget" of Matheron's geostatistics (both textbook, from memory). Fabric unevenness and light
    wander slowly; pixels and hands do not. With the fresh part left out the slow part is taken
    for short and intervals come out too narrow.
    """
    n = len(time_s)
    count = min(n, MOST_ROWS)
    groups = np.arange(n) * count // n
    average = (groups[None, :] == np.arange(count)[:, None]).astype(float)
    average /= average.sum(axis=1, keepdims=True)
    t = average @ time_s
    lag = np.abs(t[:, None] - t[None, :]) / max(t[-1] - t[0], 1e-12)
    trials = [Whitener(average, 0.0, 0.0, WHITE_PRIOR)]
    for span in TRIAL_SPANS:
        slow = np.exp(-lag / span)
        for white in TRIAL_WHITE:
            correlation = (1.0 - white) * slow + (white + 1e-9) * np.eye(count)
            root = np.linalg.cholesky(correlation)
            matrix = solve_triangular(root, average, lower=True)
            log_det = 2.0 * float(np.sum(np.log(np.diag(root))))
            neighbour = float(np.median(np.diag(correlation, 1)))
            trials.append(Whitener(matrix, log_det, neighbour))
    return trials


def fit_model(
    predict: Callable[[FloatArray], Prediction],
    start: FloatArray,
    observed: FloatArray,
    sd: FloatArray,
    trials: list[Whitener],
    extra_parameters: int = 3,
) -> ModelFit | None:
    """Fit by generalised least squares, over a grid of residual correlations.

    Parameters
    ----------
    predict : callable
        From parameters of shape (P,) to the prediction (N,) and a function of no arguments that
        returns its Jacobian (N, P): most trial steps are rejected, and need none.
    start : ndarray of shape (P,), float
        First guess.
    observed, sd : ndarray of shape (N,), float
        Readings and their stated standard uncertainty (relative weights).
    trials : list of Whitener
        Trial correlations of the residuals, from `whiteners`.
    extra_parameters : int
        Counted in AICc besides P: size, span and fresh share of the residuals.

    Returns
    -------
    ModelFit or None
        None where the data cannot carry P parameters.

    Notes
    -----
    Source: restricted likelihood of Patterson and Thompson 1971, Biometrika 58, 545; AICc of
    Hurvich and Tsai 1989, Biometrika 76, 297 (both from memory).
    """
    n, p = len(trials[0].matrix), len(start)
    if n < p + 3:
        return None
    k = p + extra_parameters
    penalty = 2.0 * k + (2.0 * k * (k + 1) / (n - k - 1) if n > k + 1 else np.inf)
    means, covariances, log_weights, rows = [], [], [], []
    parameters = np.array(start, dtype=float)
    for trial in trials:
        parameters, square_sum, information = _solve(predict, parameters, observed, sd, trial)
        sign, log_information = np.linalg.slogdet(information)
        if sign <= 0:
            continue
        variance = square_sum / (n - p)
        means.append(parameters)
        covariances.append(np.linalg.inv(information) * variance)
        likelihood = -0.5 * ((n - p) * np.log(square_sum) + trial.log_det + log_information)
        log_weights.append(likelihood + np.log(trial.prior))
        aicc = n * np.log(square_sum / n) + trial.log_det + penalty
        rows.append((float(aicc), trial.lag_one, float(np.sqrt(variance)), parameters))
    if not means:
        return None
    weight = np.exp(np.array(log_weights) - max(log_weights))
    mixture = Mixture(
        weight / weight.sum(),
        np.array(means),
        np.array(covariances),
        np.full(len(means), float(n - p)),
    )
    aicc, correlation, scale, parameters = min(rows, key=lambda row: row[0])
    return ModelFit(parameters, mixture, aicc, correlation, scale)


def _solve(
    predict: Callable[[FloatArray], Prediction],
    start: FloatArray,
    observed: FloatArray,
    sd: FloatArray,
    trial: Whitener,
) -> tuple[FloatArray, float, FloatArray]:
    """Gauss-Newton with step halving; gives parameters, sum of squares, information."""
    root = trial.matrix / sd

    def squares(parameters: FloatArray) -> tuple[float, FloatArray, Callable[[], FloatArray]]:
        value, slopes = predict(parameters)
        r = root @ (observed - value)
        return float(r @ r), r, slopes

    parameters = start
    total, r, slopes = squares(parameters)
    j = root @ slopes()
    for _ in range(_STEPS):
        step = _newton_step(j, r)
        share = 1.0
        attempt = squares(parameters + step)
        while not attempt[0] <= total * (1 + 1e-9) and share > 1e-3:
            share *= 0.5
            attempt = squares(parameters + share * step)
        if not np.isfinite(attempt[0]) or share <= 1e-3:
            break
        gain = total - attempt[0]
        parameters = parameters + share * step
        total, r, slopes = attempt
        j = root @ slopes()
        if gain <= 1e-7 * total:
            break
    floor = len(r) * SMALLEST_RESIDUAL**2
    return parameters, max(total, floor) if np.isfinite(total) else floor, j.T @ j


def _newton_step(j: FloatArray, r: FloatArray) -> FloatArray:
    try:
        step: FloatArray = np.linalg.solve(j.T @ j, j.T @ r)
    except np.linalg.LinAlgError:
        step = np.linalg.lstsq(j, r, rcond=1e-12)[0]
    return step


def join(mixtures: list[Mixture], weights: FloatArray) -> Mixture:
    """Join mixtures of the same parameters with the given weights (normalised here)."""
    share = np.asarray(weights, dtype=float) / np.sum(weights)
    return Mixture(
        np.concatenate([w * m.weight for w, m in zip(share, mixtures, strict=True)]),
        np.concatenate([m.mean for m in mixtures]),
        np.concatenate([m.covariance for m in mixtures]),
        np.concatenate([m.freedom for m in mixtures]),
    )


def evidence_weights(aicc: FloatArray) -> FloatArray:
    """Return the weights of models in a mixture from their AICc; they sum to 1.

    Source: Akaike weights (Burnham and Anderson 2002, from memory), tempered by `EVIDENCE_SHARE`.
    """
    gap = np.zeros(1) if len(aicc) == 1 else aicc - np.min(aicc)
    weight: FloatArray = np.exp(-0.5 * EVIDENCE_SHARE * gap)
    return weight / weight.sum()


def project(mixture: Mixture, value: FloatArray, gradient: FloatArray) -> Mixture:
    """Carry a mixture to one number with value (M,) and gradient (M, P) at each guess."""
    variance = np.einsum("mi,mij,mj->m", gradient, mixture.covariance, gradient)
    return Mixture(
        mixture.weight, value[:, None], np.maximum(variance, 0.0)[:, None, None], mixture.freedom
    )


def share_below(mixture: Mixture, x: float, extra_sd: float) -> float:
    """Share of a one-number mixture below x, widened by an independent normal error."""
    weight, centre, spread, freedom = _widened(mixture, extra_sd)
    return float(np.sum(weight * stdtr(freedom, (x - centre) / spread)))


def interval(mixture: Mixture, extra_sd: float, level: float = 0.95) -> tuple[float, float]:
    """Central interval of a one-number mixture widened by an independent normal error."""
    weight, centre, spread, freedom = _widened(mixture, extra_sd)

    def below(x: float) -> float:
        return float(np.sum(weight * stdtr(freedom, (x - centre) / spread)))

    tail = (1.0 - level) / 2.0
    return _quantile(below, centre, spread, tail), _quantile(below, centre, spread, 1.0 - tail)


def _widened(
    mixture: Mixture, extra_sd: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Weight, centre, spread and freedom of each guess with the error added.

    Each guess becomes a Student distribution of summed variance, with the degrees of freedom of
    Welch 1947, Biometrika 34, 28 and Satterthwaite 1946, Biometrics Bull. 2, 110 (from memory).
    """
    heavy = mixture.weight > 1e-6 * np.max(mixture.weight)
    weight = mixture.weight[heavy] / np.sum(mixture.weight[heavy])
    statistical = mixture.covariance[heavy, 0, 0]
    variance = np.maximum(statistical + extra_sd**2, 1e-30)
    share = np.maximum(statistical / variance, 1e-6)
    freedom = np.minimum(mixture.freedom[heavy] / share**2, 1e6)
    return weight, mixture.mean[heavy, 0], np.sqrt(variance), freedom


def _quantile(
    below: Callable[[float], float], centre: FloatArray, spread: FloatArray, share: float
) -> float:
    wide = 4.0
    middle = float(np.median(centre))
    reach = float(np.max(spread) + np.ptp(centre))
    while below(middle - wide * reach) > share or below(middle + wide * reach) < share:
        wide *= 2.0
        if wide > 1e6:
            break
    low, high = middle - wide * reach, middle + wide * reach
    if below(low) > share or below(high) < share:
        return low if below(low) > share else high
    return float(brentq(lambda x: below(x) - share, low, high, xtol=1e-9 * reach, rtol=1e-12))
