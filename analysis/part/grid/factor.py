"""Picking cells out of a sparse matrix, and factoring it once to solve with it directly.

Tested in tests/analysis/part/flow/test_obstacle.py.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import scipy.sparse as sparse
from scipy.sparse.linalg import splu

from analysis.part.grid.cells import IntArray
from vision.records import BoolArray

Matrix = Any  # scipy.sparse.csr_array; SciPy's own types are not complete


def direct(matrix: Matrix) -> Any:
    """Return the factors of a symmetric positive definite sparse matrix.

    Parameters
    ----------
    matrix : sparse array of shape (n, n)

    Returns
    -------
    factors
        With a method `solve`, for one right-hand side or for many as columns.
    """
    return splu(
        sparse.csc_array(matrix),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )


def among(matrix: Matrix, inside: BoolArray, cells: IntArray) -> Matrix:
    """Return the rows and columns of some cells, as `matrix[cells][:, cells]` does but sooner.

    Parameters
    ----------
    matrix : csr_array of shape (n, n)
    inside : ndarray of shape (n,), bool
        The cells.
    cells : ndarray of shape (m,), int32
        Their numbers, in order.

    Returns
    -------
    csr_array of shape (m, m)
    """
    begin = matrix.indptr[cells]
    many = matrix.indptr[cells + 1] - begin
    end = np.cumsum(many, dtype=np.int32)
    entry = np.arange(many.sum(), dtype=np.int32) + np.repeat(begin - (end - many), many)
    column = matrix.indices[entry]
    kept = inside[column]
    number = np.cumsum(inside, dtype=np.int32) - np.int32(1)
    upto = np.append(np.int32(0), np.cumsum(kept, dtype=np.int32))
    indptr = upto[np.append(np.int32(0), end)]
    size = len(cells)
    return sparse.csr_array(
        (matrix.data[entry[kept]], number[column[kept]], indptr), shape=(size, size)
    )
