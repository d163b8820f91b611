"""Factoring a sparse matrix once, to solve with it directly.

Tested in tests/analysis/part/flow/test_obstacle.py.
"""

from __future__ import annotations

from typing import Any

import scipy.sparse as sparse
from scipy.sparse.linalg import splu

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
