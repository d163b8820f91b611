"""Least squares with residuals that are correlated in time, and mixtures that carry the doubt.

The correlation of the residuals and, between models, the model itself are not known; each is
tried on a grid and the answers are mixed by how well they explain the data. An interval from the
mixture holds what an interval from one best guess leaves out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr

from vision.records import FloatArray

CORRELATIONS = np.array([0.0, 0.2, 0.4, 0.55, 0.68, 0.78, 0.86, 0.92, 0.96, 0.98])
"""Trial correlations between neighbouring frames, one median frame step apart."""

SMALLEST_RESIDUAL = 0.05
"""Residuals smaller than this share of the stated sd are no evidence: it is rounding that fits."""

_STEPS = 25


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
    standard_residual: FloatArray


def whiten(z: FloatArray, rho: FloatArray) -> FloatArray:
    """Remove first-order correlation from rows of `z`.

    Parameters
    ----------
    z : ndarray of shape (N,) or (N, P), float
        Standardised values in time order.
    rho : ndarray of shape (N - 1,), float
        Correlation between each row and the one before.

    Notes
    -----
    Source: the Ornstein-Uhlenbeck process at uneven times has Markov steps with correlation
    exp(-step / tau); Gardiner, Handbook of Stochastic Methods (from memory).
    """
    out = np.array(z, dtype=float)
    r = rho if out.ndim == 1 else rho[:, None]
    out[1:] = (out[1:] - r * out[:-1]) / np.sqrt(1.0 - r**2)
    return out


def fit_model(
    predict: Callable[[FloatArray], tuple[FloatArray, FloatArray]],
    start: FloatArray,
    observed: FloatArray,
    sd: FloatArray,
    time_s: FloatArray,
    extra_parameters: int = 2,
) -> ModelFit | None:
    """Fit by generalised least squares, over a grid of residual correlations.

    Parameters
    ----------
    predict : callable
        From parameters of shape (P,) to the prediction (N,) and its Jacobian (N, P).
    start : ndarray of shape (P,), float
        First guess.
    observed, sd, time_s : ndarray of shape (N,), float
        Readings, their stated standard uncertainty (relative weights), their times.
    extra_parameters : int
        Counted in AICc besides P: size and correlation of the residuals.

    Returns
    -------
    ModelFit or None
        None where the data cannot carry P parameters.

    Notes
    -----
    Source: restricted likelihood of Patterson and Thompson 1971, Biometrika 58, 545; AICc of
    Hurvich and Tsai 1989, Biometrika 76, 297 (both from memory).
    """
    n, p = len(observed), len(start)
    if n < p + 3:
        return None
    steps = np.diff(time_s) / np.median(np.diff(time_s))
    k = p + extra_parameters
    penalty = 2.0 * k + (2.0 * k * (k + 1) / (n - k - 1) if n > k + 1 else np.inf)
    means, covariances, log_weights, rows = [], [], [], []
    parameters = np.array(start, dtype=float)
    for correlation in CORRELATIONS:
        rho = np.minimum(correlation**steps, 0.9999)
        solved = _solve(predict, parameters, observed, sd, rho)
        if solved is None:
            continue
        parameters, square_sum, information, residual = solved
        sign, log_det = np.linalg.slogdet(information)
        if sign <= 0:
            continue
        log_rho = float(np.sum(np.log1p(-(rho**2))))
        variance = square_sum / (n - p)
        means.append(parameters)
        covariances.append(np.linalg.inv(information) * variance)
        log_weights.append(-0.5 * ((n - p) * np.log(square_sum) + log_rho + log_det))
        aicc = n * np.log(square_sum / n) + log_rho + penalty
        rows.append((aicc, correlation, np.sqrt(variance), parameters, residual))
    if not means:
        return None
    weight = np.exp(np.array(log_weights) - max(log_weights))
    mixture = Mixture(
        weight / weight.sum(),
        np.array(means),
        np.array(covariances),
        np.full(len(means), float(n - p)),
    )
    aicc, correlation, scale, parameters, residual = min(rows, key=lambda row: row[0])
    return ModelFit(parameters, mixture, float(aicc), float(correlation), float(scale), residual)


def _solve(
    predict: Callable[[FloatArray], tuple[FloatArray, FloatArray]],
    start: FloatArray,
    observed: FloatArray,
    sd: FloatArray,
    rho: FloatArray,
) -> tuple[FloatArray, float, FloatArray, FloatArray] | None:
    """Gauss-Newton with step halving; parameters, squares, information, standard residuals."""

    def squares(parameters: FloatArray) -> tuple[float, FloatArray, FloatArray, FloatArray]:
        value, jacobian = predict(parameters)
        z = (observed - value) / sd
        r = whiten(z, rho)
        return float(r @ r), r, jacobian, z

    parameters = start
    total, r, jacobian, z = squares(parameters)
    for _ in range(_STEPS):
        j = whiten(jacobian / sd[:, None], rho)
        step, *_ = np.linalg.lstsq(j, r, rcond=1e-12)
        share = 1.0
        trial = squares(parameters + step)
        while not trial[0] <= total * (1 + 1e-12) and share > 1e-3:
            share *= 0.5
            trial = squares(parameters + share * step)
        if not np.isfinite(trial[0]) or share <= 1e-3:
            break
        gain = total - trial[0]
        parameters = parameters + share * step
        total, r, jacobian, z = trial
        if gain <= 1e-10 * total + 1e-18:
            break
    j = whiten(jacobian / sd[:, None], rho)
    floor = len(observed) * SMALLEST_RESIDUAL**2
    total = max(total, floor) if np.isfinite(total) else floor
    return parameters, total, j.T @ j, z


def join(mixtures: list[Mixture], weights: FloatArray) -> Mixture:
    """Join mixtures of the same parameters with the given weights (normalised here)."""
    share = np.asarray(weights, dtype=float) / np.sum(weights)
    return Mixture(
        np.concatenate([w * m.weight for w, m in zip(share, mixtures, strict=True)]),
        np.concatenate([m.mean for m in mixtures]),
        np.concatenate([m.covariance for m in mixtures]),
        np.concatenate([m.freedom for m in mixtures]),
    )


def project(mixture: Mixture, value: FloatArray, gradient: FloatArray) -> Mixture:
    """Carry a mixture to one number with value (M,) and gradient (M, P) at each guess."""
    variance = np.einsum("mi,mij,mj->m", gradient, mixture.covariance, gradient)
    return Mixture(
        mixture.weight, value[:, None], np.maximum(variance, 0.0)[:, None, None], mixture.freedom
    )


def interval(mixture: Mixture, extra_sd: float, level: float = 0.95) -> tuple[float, float]:
    """Central interval of a one-number mixture widened by an independent normal error.

    Each guess becomes a Student distribution of summed variance, with the degrees of freedom of
    Welch 1947, Biometrika 34, 28 and Satterthwaite 1946, Biometrics Bull. 2, 110 (from memory).
    """
    centre = mixture.mean[:, 0]
    statistical = mixture.covariance[:, 0, 0]
    variance = np.maximum(statistical + extra_sd**2, 1e-30)
    share = np.maximum(statistical / variance, 1e-6)
    freedom = np.minimum(mixture.freedom / share**2, 1e6)
    spread = np.sqrt(variance)

    def below(x: float) -> float:
        return float(np.sum(mixture.weight * stdtr(freedom, (x - centre) / spread)))

    tail = (1.0 - level) / 2.0
    return _quantile(below, centre, spread, tail), _quantile(below, centre, spread, 1.0 - tail)


def _quantile(
    below: Callable[[float], float], centre: FloatArray, spread: FloatArray, share: float
) -> float:
    low = float(np.min(centre - 200.0 * spread))
    high = float(np.max(centre + 200.0 * spread))
    for _ in range(100):
        middle = 0.5 * (low + high)
        if below(middle) < share:
            low = middle
        else:
            high = middle
        if high - low <= 1e-9 * max(1.0, abs(middle)):
            break
    return 0.5 * (low + high)
