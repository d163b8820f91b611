"""Solving the pressure equation on the wet cells: conjugate gradients with a multigrid cycle.

Tested in tests/analysis/part/flow/test_obstacle.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy.sparse as sparse

from analysis.part.grid.cells import IntArray
from analysis.part.grid.factor import Matrix, direct
from vision.records import BoolArray, FloatArray

DIRECT_BELOW = 1200
FACTOR_BELOW = 8_000
COARSEST = 400
LINKS_AT_ONCE = 500_000  # worked on together, which bounds the memory
WEAK = 0.04  # links below this share of the diagonal do not shape a group


@dataclass(frozen=True)
class Level:
    """One level of the cycle: matrix, way up, and the weighted inverse diagonal."""

    matrix: Matrix
    up: Matrix
    weight: FloatArray

    @property
    def down(self) -> Matrix:
        """The way down: that up, transposed; a view."""
        return self.up.T


@dataclass(frozen=True)
class Hierarchy:
    """Levels from fine to coarse, the matrix of the last and its direct solver."""

    levels: tuple[Level, ...]
    coarsest: Matrix
    bottom: Any


def _pair_up(matrix: Matrix) -> IntArray:
    """Pair each cell with its strongest free neighbour; give a label per cell."""
    n = matrix.shape[0]
    coo = matrix.tocoo()
    keep = (coo.row != coo.col) & (coo.data < 0)
    row, col, strength = coo.row[keep], coo.col[keep], -coo.data[keep]
    del coo, keep
    for k in range(0, len(row), LINKS_AT_ONCE):
        some = slice(k, k + LINKS_AT_ONCE)
        strength[some] *= _jitter(row[some], col[some])
    partner = np.full(n, -1)
    for _ in range(4):
        best = np.zeros(n)
        np.maximum.at(best, row, strength)
        choice = np.full(n, -1)
        pick = strength >= best[row]
        choice[row[pick]] = col[pick]
        wants = np.flatnonzero(choice >= 0)
        mutual = wants[choice[choice[wants]] == wants]
        partner[mutual] = choice[mutual]
        free = (partner[row] < 0) & (partner[col] < 0)
        row, col, strength = row[free], col[free], strength[free]
        if not row.size:
            break
    lead = np.where(partner < 0, np.arange(n), np.minimum(np.arange(n), partner))
    number = np.cumsum(np.bincount(lead, minlength=n) > 0, dtype=np.int32) - np.int32(1)
    return np.asarray(number[lead])


def _jitter(row: IntArray, col: IntArray) -> FloatArray:
    """Return a fixed, symmetric factor that tells equal links apart, or all would look one way."""
    low, high = np.minimum(row, col).astype(np.int64), np.maximum(row, col).astype(np.int64)
    return np.asarray(1.0 + 0.05 * ((low * 7919 + high * 104729) % 1009) / 1009.0)


def _plain(labels: IntArray, count: int, inside: BoolArray | None = None) -> Matrix:
    n = len(labels)
    share = np.ones(n) if inside is None else inside.astype(float)
    labels = labels if inside is None else np.where(inside, labels, 0)
    at = np.arange(n + 1, dtype=np.int32)
    return sparse.csr_array((share, labels.astype(np.int32), at), shape=(n, count))


def group(matrix: Matrix) -> tuple[IntArray, ...]:
    """Group the cells of a matrix, level by level, along their strongest links.

    Returns
    -------
    labels : tuple of ndarray of int
        For each level, the group each cell (or group of the level above) belongs to.

    Notes
    -----
    Three rounds of pairing give groups of up to eight, which follow the strong direction of an
    uneven stack by themselves (pairwise aggregation: Notay, Electron. Trans. Numer. Anal. 37,
    123-146, 2010, from memory).
    """
    levels = []
    while matrix.shape[0] > COARSEST:
        total = np.arange(matrix.shape[0], dtype=np.int32)
        coarse = matrix
        for _ in range(3):
            labels = _pair_up(coarse)
            gather = _plain(labels, int(labels.max()) + 1)
            coarse = (gather.T.tocsr() @ (coarse @ gather)).tocsr()
            total = labels[total]
        if coarse.shape[0] > 0.7 * matrix.shape[0]:
            break
        levels.append(total)
        matrix = coarse
    return tuple(levels)


def _strong(matrix: Matrix, diagonal: FloatArray) -> Matrix:
    """Drop the weak links from a matrix and add them to its diagonal."""
    limit = np.repeat(diagonal, np.diff(matrix.indptr))
    limit *= diagonal[matrix.indices]
    np.sqrt(limit, out=limit)
    limit *= WEAK
    weak = np.abs(matrix.data) < limit
    del limit
    if not weak.any():
        return matrix
    kept = sparse.csr_array(
        (np.where(weak, 0.0, matrix.data), matrix.indices.copy(), matrix.indptr.copy()),
        matrix.shape,
    )
    kept.eliminate_zeros()
    lost = np.asarray(matrix.sum(axis=1)).ravel() - np.asarray(kept.sum(axis=1)).ravel()
    return (kept + sparse.diags_array(lost)).tocsr()


def build(
    matrix: Matrix,
    groups: Sequence[IntArray],
    cells: IntArray,
    factor_below: int = FACTOR_BELOW,
    inside: BoolArray | None = None,
) -> Hierarchy:
    """Build the cycle for some of the cells, with groups made once for all of them.

    Parameters
    ----------
    matrix : csr_array of shape (n, n)
        Symmetric positive definite, for the `n` chosen cells.
    groups : sequence of ndarray
        From `group`, for all cells.
    cells : ndarray of shape (n,), int
        Which of all cells the rows of `matrix` are.
    factor_below : int
        Up to this size the matrix is factored directly, which pays where the factors serve more
        than one solve.
    inside : ndarray of shape (n,), bool, optional
        The cells that are meant, where `matrix` has more: the cycle then takes and gives values
        of all, 0 outside, and no rows need be picked out. The groups must be given.

    Notes
    -----
    Smoothed aggregation: Vanek, Mandel, Brezina, Computing 56, 179-196, 1996 (from memory). The
    spectral radius is bounded by the row sums (Gershgorin), so nothing is estimated at random.
    Leaving the dry cells out of each group is the truncation of Kornhuber, Numer. Math. 69,
    167-184, 1994 (from memory).
    """
    levels: list[Level] = []
    for labels in groups if matrix.shape[0] > factor_below else ():
        if matrix.shape[0] <= COARSEST:
            break
        mine = labels[cells]
        used = np.zeros(int(labels.max()) + 1, bool)
        used[mine if inside is None else mine[inside]] = True
        number = np.cumsum(used) - 1
        gather = _plain(number[mine], int(number[-1]) + 1, inside)
        diagonal = matrix.diagonal()
        weight = _smoothing(matrix, diagonal)
        if inside is not None:
            weight[~inside] = 0.0
        smooth = (_strong(matrix, diagonal) @ gather).tocsr()
        smooth.data *= np.repeat(weight, np.diff(smooth.indptr))
        up = (gather - smooth).tocsr()
        del smooth, gather
        if inside is not None:
            up.eliminate_zeros()
            inside = None  # the coarser levels have the cells meant alone
        levels.append(Level(matrix, up, weight))
        matrix = (up.T.tocsr() @ (matrix @ up)).tocsr()
        cells = np.flatnonzero(used)
    return Hierarchy(tuple(levels), matrix, direct(matrix))


def changed(base: Hierarchy, change: Matrix) -> Hierarchy:
    """Return the cycle of a matrix that differs from another one in a few rows.

    Parameters
    ----------
    base : Hierarchy
        Of the other matrix.
    change : csr_array of shape (n, n)
        What is added to it; the sum must be positive definite.

    Notes
    -----
    The ways up stay as they are, so that on each level only the few changed rows are worked out.
    """
    levels = []
    for level in base.levels:
        matrix = (level.matrix + change).tocsr()
        levels.append(Level(matrix, level.up, _smoothing(matrix, matrix.diagonal())))
        rows = np.flatnonzero(np.diff(change.indptr))
        change = (level.up[rows].T.tocsr() @ (change[rows] @ level.up)).tocsr()
    coarsest = base.coarsest + change
    return Hierarchy(tuple(levels), coarsest, direct(coarsest))


def _smoothing(matrix: Matrix, diagonal: FloatArray) -> FloatArray:
    """Return the weighted inverse diagonal of Jacobi's smoothing."""
    rows = np.add.reduceat(np.abs(matrix.data), matrix.indptr[:-1])
    return np.asarray(4.0 / (3.0 * float((rows / diagonal).max())) / diagonal)


@dataclass(frozen=True)
class Masked:
    """A matrix among some of its cells: vectors keep the length of all, 0 outside."""

    matrix: Matrix
    inside: BoolArray

    def __matmul__(self, vector: FloatArray) -> FloatArray:
        """Return the product, 0 outside."""
        product: FloatArray = self.matrix @ vector
        product[~self.inside] = 0.0
        return product


def cycle(hierarchy: Hierarchy, residual: FloatArray, depth: int = 0) -> FloatArray:
    """Apply one symmetric V-cycle to a residual."""
    if depth == len(hierarchy.levels):
        solution: FloatArray = hierarchy.bottom.solve(residual)
        return solution
    level = hierarchy.levels[depth]
    x = level.weight * residual
    x = x + level.weight * (residual - level.matrix @ x)
    coarse = level.down @ (residual - level.matrix @ x)
    x = x + level.up @ cycle(hierarchy, coarse, depth + 1)
    x = x + level.weight * (residual - level.matrix @ x)
    return x + level.weight * (residual - level.matrix @ x)


def inner(first: FloatArray, second: FloatArray) -> float:
    """Return the inner product of two vectors, in one thread and always in the same order.

    For vectors this short the threads of the linear algebra library cost more than they gain,
    and on a busy machine they wait for each other.
    """
    return float(np.einsum("i,i->", first, second))


def solve(
    matrix: Matrix,
    right: FloatArray,
    hierarchy: Hierarchy | None = None,
    guess: FloatArray | None = None,
    tolerance: float = 1e-9,
    limit: int = 300,
    precondition: Any = None,
) -> tuple[FloatArray, int]:
    """Solve by preconditioned conjugate gradients (Hestenes and Stiefel 1952).

    Parameters
    ----------
    matrix : csr_array of shape (n, n)
        Symmetric positive definite.
    right : ndarray of shape (n,)
        Right-hand side.
    hierarchy : Hierarchy, optional
        Of the same matrix.
    guess : ndarray of shape (n,), optional
        Where to start.
    tolerance : float
        Largest residual left in any cell, as an absolute value in the unit of `right`.
    limit : int
        Most steps.
    precondition : callable, optional
        Takes and gives a vector; by default one cycle of `hierarchy`.

    Returns
    -------
    x : ndarray
    steps : int
        Conjugate gradient steps taken.
    """
    apply = precondition or (lambda r: cycle(hierarchy, r))  # type: ignore[arg-type]
    x = np.zeros_like(right) if guess is None else guess.copy()
    residual = right - matrix @ x
    direction, old = np.zeros_like(right), 1.0
    for step in range(limit):
        if float(np.abs(residual).max(initial=0.0)) <= tolerance:
            return x, step
        z = apply(residual)
        new = inner(residual, z)
        direction = z if step == 0 else z + (new / old) * direction
        product = matrix @ direction
        length = new / inner(direction, product)
        x = x + length * direction
        residual = residual - length * product
        old = new
    return x, limit
