"""Carrying values from the cells of one grid to points, such as the cells of a finer one."""

from __future__ import annotations

from typing import Any

import numpy as np
import scipy.sparse as sparse
from scipy.spatial import cKDTree

from analysis.part.grid.network import Links
from vision.records import FloatArray

POINTS_AT_ONCE = 200_000
"""So many points are worked on together, which bounds the memory."""


def carry(coarse: Links, points_mm: FloatArray) -> Any:
    """Return the matrix that carries values from a grid's cells to points, bilinearly."""
    some = range(0, len(points_mm), POINTS_AT_ONCE)
    parts = [_carry(coarse, points_mm[k : k + POINTS_AT_ONCE]) for k in some]
    return parts[0] if len(parts) == 1 else sparse.vstack(parts, format="csr")


def _carry(coarse: Links, points_mm: FloatArray) -> Any:
    count = len(points_mm)
    place = coarse.grid.cells(points_mm) - 0.5
    base = np.floor(place).astype(int)
    part = place - base
    rows, cols, weights = [], [], []
    for up in (0, 1):
        for right in (0, 1):
            col, row = base[:, 0] + right, base[:, 1] + up
            weight = np.abs(1 - right - part[:, 0]) * np.abs(1 - up - part[:, 1])
            ok = (col >= 0) & (row >= 0) & (col < coarse.grid.nx) & (row < coarse.grid.ny)
            cell = np.full(count, -1, np.int32)
            cell[ok] = coarse.number[row[ok], col[ok]]
            ok = (cell >= 0) & (weight > 0)
            rows.append(np.flatnonzero(ok).astype(np.int32))
            cols.append(cell[ok])
            weights.append(weight[ok])
    row, col, weight = (np.concatenate(x) for x in (rows, cols, weights))
    total = np.bincount(row, weight, count)
    lost = np.flatnonzero(total < 1e-6).astype(np.int32)
    keep = total[row] >= 1e-6
    nearest = cKDTree(coarse.centre_mm).query(points_mm[lost])[1] if lost.size else lost
    data = np.concatenate([weight[keep] / total[row[keep]], np.ones(len(lost))])
    col = np.concatenate([col[keep], nearest.astype(np.int32)])
    index = (np.concatenate([row[keep], lost]), col)
    return sparse.coo_array((data, index), shape=(count, coarse.count)).tocsr()
