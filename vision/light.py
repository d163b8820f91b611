"""What the light did between frames: gain, white balance, slow gradients, a lamp switched on.

All values are natural logarithms of pixel values, so that a gain is a constant added. The light
is a low polynomial over the panel, one per colour, found by robust regression: what changed
because it wetted, or because a hand came in, is an outlier and does not pull it.
"""

from __future__ import annotations

import numpy as np

from vision.records import FloatArray

LOG_OFFSET = 6.0
"""Added to the 8-bit value before the logarithm, so that noise in the dark stays bounded."""

TUKEY_C = 4.685
"""Tuning constant of Tukey's biweight for 95 % efficiency on normal noise (Holland and Welsch,
Commun. Stat. A6, 1977)."""

LOG_TABLE = np.log(np.arange(256, dtype=np.float32) + LOG_OFFSET).astype(np.float32)


def polynomial_basis(x: FloatArray, y: FloatArray) -> FloatArray:
    """Evaluate the quadratic basis of the light at scaled places.

    Parameters
    ----------
    x, y : ndarray of shape (P,), float
        Place over the panel, each from -1 to 1.

    Returns
    -------
    basis : ndarray of shape (P, 6), float
        1, x, y, x^2, x y, y^2.
    """
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)


def cell_centres(rows: int, cols: int) -> tuple[FloatArray, FloatArray]:
    """Give the scaled centres (x, y) of a grid of cells, flattened row by row."""
    x = (np.arange(cols) + 0.5) / cols * 2 - 1
    y = (np.arange(rows) + 0.5) / rows * 2 - 1
    grid_x, grid_y = np.meshgrid(x, y)
    return grid_x.ravel(), grid_y.ravel()


def robust_scale(values: FloatArray, axis: int = 0) -> FloatArray:
    """Estimate the standard deviation from the median absolute value (zero-centred)."""
    return 1.4826 * np.median(np.abs(values), axis=axis)


def robust_polynomial(
    basis: FloatArray,
    values: FloatArray,
    weights: FloatArray,
    *,
    floor: float = 2e-3,
    rounds: int = 8,
) -> FloatArray:
    """Fit `values` on `basis` with Tukey's biweight, all colours sharing the weights.

    Parameters
    ----------
    basis : ndarray of shape (P, B), float
    values : ndarray of shape (P, C), float
        One column per colour.
    weights : ndarray of shape (P,), float
        Prior weights, 0 to leave a place out.
    floor : float
        Least scale of the residuals, so that a perfect fit does not reject everything.
    rounds : int
        Reweighting rounds.

    Returns
    -------
    coefficients : ndarray of shape (B, C), float
        Zeros when fewer places than twice the basis carry weight; a constant alone when the
        places carry too little for the whole basis.

    Notes
    -----
    Source: iteratively reweighted least squares, Beaton and Tukey, Technometrics 16, 1974. The
    first round starts from the median of each colour.
    """
    use = weights > 0
    coefficients = np.zeros((basis.shape[1], values.shape[1]))
    if np.count_nonzero(use) < 2 * basis.shape[1]:
        return coefficients
    basis, values, prior = basis[use], values[use], weights[use]
    coefficients[0] = np.median(values, axis=0)
    ridge = np.diag(np.r_[0.0, np.full(basis.shape[1] - 1, 1e-3 * prior.sum())])
    for _ in range(rounds):
        residual = np.sqrt(np.mean((values - basis @ coefficients) ** 2, axis=1))
        scale = max(float(robust_scale(residual)), floor)
        ratio = np.minimum(residual / (TUKEY_C * scale), 1.0)
        weight = prior * (1 - ratio**2) ** 2
        if np.count_nonzero(weight) < 2 * basis.shape[1]:
            break
        weighted = basis * weight[:, None]
        coefficients = np.linalg.solve(weighted.T @ basis + ridge, weighted.T @ values)
    return coefficients
