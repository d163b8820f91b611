"""What the light did between frames: gain, white balance, slow gradients, a lamp switched on.

All values are natural logarithms of pixel values, so that a gain is a constant added. The light
is a low polynomial over the panel, one per colour, found by robust regression: what changed
because it wetted, or because a hand came in, is an outlier and does not pull it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.common.robust import TUKEY_C, biweight, row_medians
from vision.records import FloatArray
from vision.settings.wetting_settings import LightSettings

LOG_OFFSET = 6.0
"""Added to the 8-bit value before the logarithm, so that noise in the dark stays bounded."""


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


SMOOTH_TERMS = 6
"""Terms of the quadratic."""


@dataclass(frozen=True)
class LightBasis:
    """The shapes that the light over a panel may have: a quadratic, and bumps if it is uneven.

    Attributes
    ----------
    reach : (float, float)
        Half the panel's length and width over half the longer of the two.
    bumps_xy : ndarray of shape (B, 2), float
        Centres of the bumps, in halves of the longer side; none where the light is even.
    settings : LightSettings
        Width and stiffness of the bumps.
    """

    reach: tuple[float, float]
    bumps_xy: FloatArray
    settings: LightSettings

    def __call__(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Evaluate the shapes at scaled places; shape (P, 6 + B)."""
        smooth = polynomial_basis(x, y)
        place = np.stack([x * self.reach[0], y * self.reach[1]], axis=-1)
        return np.concatenate([smooth, self._bumps(place)], axis=1)

    def _bumps(self, place: FloatArray) -> FloatArray:
        away = place[:, None, :] - self.bumps_xy
        return np.exp(-np.sum(away**2, axis=2) / (2 * self.settings.bump_width**2))

    @property
    def is_uneven(self) -> bool:
        """Whether there are bumps."""
        return len(self.bumps_xy) > 0

    @property
    def size(self) -> int:
        """Number of shapes."""
        return SMOOTH_TERMS + len(self.bumps_xy)

    @property
    def stiff(self) -> FloatArray:
        """Penalty that keeps the bumps small where little is seen; shape (6 + B, 6 + B)."""
        stiff = np.zeros((self.size, self.size))
        overlap = self._bumps(self.bumps_xy)
        stiff[SMOOTH_TERMS:, SMOOTH_TERMS:] = self.settings.bump_stiffness * overlap
        return stiff


def even_basis(rows: int, cols: int, settings: LightSettings) -> LightBasis:
    """Return the quadratic alone, for a panel of so many cells."""
    longer = max(rows, cols)
    return LightBasis((cols / longer, rows / longer), np.zeros((0, 2)), settings)


def uneven_basis(rows: int, cols: int, settings: LightSettings) -> LightBasis:
    """Return the quadratic and bumps all over the panel and a little beyond."""
    even = even_basis(rows, cols, settings)
    ends = [np.ceil((half + 0.15) / settings.bump_spacing) for half in even.reach]
    x, y = (np.arange(-n, n + 1) * settings.bump_spacing for n in ends)
    grid_x, grid_y = np.meshgrid(x, y)
    return LightBasis(even.reach, np.stack([grid_x.ravel(), grid_y.ravel()], axis=1), settings)


def cell_centres(rows: int, cols: int) -> tuple[FloatArray, FloatArray]:
    """Return the scaled centres (x, y) of a grid of cells, flattened row by row."""
    x = (np.arange(cols) + 0.5) / cols * 2 - 1
    y = (np.arange(rows) + 0.5) / rows * 2 - 1
    grid_x, grid_y = np.meshgrid(x, y)
    return grid_x.ravel(), grid_y.ravel()


def robust_polynomials(
    basis: FloatArray,
    values: FloatArray,
    weights: FloatArray,
    *,
    own: FloatArray | None = None,
    stiff: FloatArray | None = None,
    already: FloatArray | None = None,
    floor: float | tuple[float, ...] = 2e-3,
    rounds: int = 5,
    above: FloatArray | None = None,
) -> FloatArray:
    """Fit each frame's `values` on `basis` with Tukey's biweight, all colours sharing the weights.

    Parameters
    ----------
    basis : ndarray of shape (P, B), float
        The first column must be constant.
    values : ndarray of shape (K, P, C), float
        One column per colour.
    weights : ndarray of shape (K, P), float
        Prior weights, 0 to leave a place out.
    own : ndarray of shape (K, P), float, optional
        One more column that differs from frame to frame.
    stiff : ndarray of shape (B, B), float, optional
        Penalty on the coefficients; columns with one do not count as free.
    already : ndarray of shape (K, B, C), float, optional
        Coefficients that `values` have been freed of and that the penalty counts too.
    floor : float or tuple of float
        Least scale of the residuals, so that a perfect fit does not reject everything; one for
        each round if it differs.
    rounds : int
        Reweighting rounds.
    above : ndarray of shape (P,), float, optional
        How many times as far off a place counts where it lies above the fit: what the bag mirrors
        is added to the light, never taken away.

    Returns
    -------
    coefficients : ndarray of shape (K, B, C), float
        Of shape (K, B + 1, C) with `own`. Zeros for frames in which fewer places than twice the
        basis carry weight.

    Notes
    -----
    Source: iteratively reweighted least squares, Beaton and Tukey, Technometrics 16, 1974. The
    first round starts from the median of each colour.
    """
    frames, places, colours = values.shape
    by_colour = np.ascontiguousarray(values.transpose(0, 2, 1), dtype=float)
    b = basis.shape[1]
    size = b + (own is not None)
    free = size if stiff is None else size - int(np.count_nonzero(np.diag(stiff)))
    use = weights > 0
    enough = np.count_nonzero(use, axis=1) >= 2 * free
    found = np.zeros((frames, colours, size))
    for colour in range(colours):
        found[:, colour, 0] = np.where(enough, row_medians(by_colour[:, colour], use), 0.0)
    ridge = _ridge(weights.sum(axis=1), size, stiff)
    products = (basis[:, :, None] * basis[:, None, :]).reshape(places, -1)
    left, weighted = np.empty_like(by_colour), np.empty_like(by_colour)
    for least in np.broadcast_to(np.asarray(floor, float), rounds):
        np.subtract(by_colour, _evaluate(basis, own, found, left), out=left)
        residual = np.sqrt(np.einsum("kcp,kcp->kp", left, left) / colours)
        scale = np.maximum(1.4826 * row_medians(residual, use), least)
        if above is not None:
            residual = np.where(left.mean(axis=1) > 0, above * residual, residual)
        weight = weights * biweight(residual / (TUKEY_C * scale[:, None]))
        enough &= np.count_nonzero(weight, axis=1) >= 2 * free
        normal, right = ridge.copy(), np.zeros((frames, colours, size))
        np.multiply(weight[:, None, :], by_colour, out=weighted)
        normal[:, :b, :b] += (weight @ products).reshape(frames, b, b)
        right[:, :, :b] = (weighted.reshape(-1, places) @ basis).reshape(frames, colours, b)
        if own is not None:
            cross = (weight * own) @ basis
            normal[:, b, :b] += cross
            normal[:, :b, b] += cross
            normal[:, b, b] += np.einsum("kp,kp->k", weight, own**2)
            right[:, :, b] = np.einsum("kp,kcp->kc", own, weighted)
        if stiff is not None and already is not None:
            right[:, :, : len(stiff)] -= np.matmul(stiff, already).transpose(0, 2, 1)
        solved = np.linalg.solve(normal, right.transpose(0, 2, 1)).transpose(0, 2, 1)
        found = np.where(enough[:, None, None], solved, found)
    return found.transpose(0, 2, 1)


def _ridge(prior: FloatArray, size: int, stiff: FloatArray | None) -> FloatArray:
    """Return what is added to each frame's normal equations; shape (K, size, size).

    `prior` is each frame's sum of weights: all but the constant are drawn to 0 a little.
    """
    ridge = np.zeros((len(prior), size, size))
    ridge[:, range(1, size), range(1, size)] = 1e-3 * prior[:, None]
    ridge[:, 0, 0] = 1e-9
    ridge += 1e-12 * np.eye(size)
    if stiff is not None:
        ridge[:, : len(stiff), : len(stiff)] += stiff
    return ridge


def _evaluate(
    basis: FloatArray, own: FloatArray | None, found: FloatArray, out: FloatArray
) -> FloatArray:
    """Evaluate coefficients of shape (K, C, B or B + 1) at all places, into `out` (K, C, P)."""
    places, b = basis.shape
    shapes = np.ascontiguousarray(found[:, :, :b]).reshape(-1, b)
    np.matmul(shapes, basis.T, out=out.reshape(-1, places))
    if own is not None:
        out += found[:, :, b, None] * own[:, None, :]
    return out
