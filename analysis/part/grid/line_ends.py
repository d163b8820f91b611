"""Where a feed line must end on the grid to act as if it ended where it does.

Tested in tests/analysis/part/flow/test_closed_forms.py.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from analysis.part.grid.cells import Grid, Shares
from analysis.part.grid.factor import direct
from analysis.part.grid.lines import lay_line
from analysis.part.grid.network import Links, assemble, laplacian
from vision.records import BoolArray, FloatArray

HALF_BOX = 14  # cells from a line's end to the rim of the sheet it is tried on
INNER, OUTER = 4.0, 9.0  # cells; ring over which the flow round an end is compared
FARTHEST = 1.5  # cells by which an end may be moved
HALVINGS = 12
CLEAR_CELLS = 2.0  # an end this near to a wall has no flow round it and stays


def with_true_ends(links: Links, line_mm: FloatArray, tensor_m3: FloatArray) -> FloatArray:
    """Return a feed line with its loose ends moved so that the flow round them is right.

    Parameters
    ----------
    links : Links
        The part.
    line_mm : ndarray of shape (P, 2)
    tensor_m3 : ndarray of shape (2, 2)
        Permeability times thickness there.
    """
    line = np.asarray(line_mm, float)
    if np.array_equal(line[0], line[-1]):
        return line
    moved = line.copy()
    for end, before in ((0, 1), (-1, -2)):
        way = (line[end] - line[before]) / np.hypot(*(line[end] - line[before]))
        if _inside(links, line[end], way):
            moved[end] = line[end] + _shift(links, line[end], way, tensor_m3) * way
    return moved


def _inside(links: Links, end_mm: FloatArray, way: FloatArray) -> bool:
    """Return whether the part goes on ahead of a line's end, and on both sides of it."""
    grid = links.grid
    reach = CLEAR_CELLS * np.array([grid.dx_mm, grid.dy_mm])
    side = np.array([-way[1], way[0]])
    around = [end_mm + reach * step for step in (way, side, -side)]
    col, row = np.floor(grid.cells(np.array(around))).astype(int).T
    there = (row >= 0) & (col >= 0) & (row < grid.ny) & (col < grid.nx)
    return bool(there.all() and (links.number[row, col] >= 0).all())


def _shift(links: Links, end_mm: FloatArray, way: FloatArray, tensor_m3: FloatArray) -> float:
    """Return how far to move a line's end along its way, in mm."""
    grid = links.grid
    place = grid.cells(end_mm)
    ratio = np.round(tensor_m3.ravel() / np.trace(tensor_m3), 6)
    spot = np.round(np.append(place - np.floor(place), way), 4)
    return _found_shift(tuple(ratio), (grid.dx_mm, grid.dy_mm), tuple(spot))


@lru_cache(maxsize=512)
def _found_shift(
    ratio: tuple[float, ...], size_mm: tuple[float, float], spot: tuple[float, ...]
) -> float:
    """Find the shift on a sheet of its own, whose rim has the flow round the true end.

    Notes
    -----
    Near the end of a slit in an even sheet the field is Re sqrt(z), z counted from the end in
    coordinates stretched to an even sheet (Laplace's equation round a slit, a textbook result).
    A slit too long or too short by d adds to that -d/2 Re 1/sqrt(z), which is what is measured
    in a ring and brought to nothing by halving.
    """
    tensor = np.array(ratio).reshape(2, 2)
    count = 2 * HALF_BOX + 1
    grid = Grid(-HALF_BOX * size_mm[0], -HALF_BOX * size_mm[1], *size_mm, count, count)
    whole = Shares(
        np.ones((count, count)), np.ones((count, count - 1)), np.ones((count - 1, count))
    )
    ones = np.ones((count, count))
    links = assemble(grid, whole, np.zeros((count, count), int), [tensor], ones)
    end, way = np.array(spot[:2]) * size_mm, np.array(spot[2:])
    z = _stretched(links.centre_mm - end, way, tensor)
    far = np.sqrt(z).real
    rim = _rim(links)
    cell = float(np.sqrt(size_mm[0] * size_mm[1]))
    ring = (np.abs(z) > INNER * cell) & (np.abs(z) < OUTER * cell) & ~rim
    weight = (1 / np.sqrt(z[ring])).real

    def too_short(shift_mm: float) -> bool:
        line = np.stack([end - 4 * count * cell * way, end + shift_mm * way])
        laid = lay_line(links, line)
        matrix = laplacian(links, laid.keep).tolil()
        matrix.setdiag(matrix.diagonal() + laid.feed_m3)
        matrix = matrix.tocsr()
        u = far.copy()
        u[~rim] = direct(matrix[~rim][:, ~rim]).solve(-(matrix[~rim][:, rim] @ far[rim]))
        return bool((u[ring] - far[ring]) @ weight > 0)

    low, high = -FARTHEST * cell, FARTHEST * cell
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if too_short(middle) else (low, middle)
    return (low + high) / 2


def _stretched(points_mm: FloatArray, way: FloatArray, tensor: FloatArray) -> FloatArray:
    """Return points as complex numbers in an even sheet, the line's way being the real axis."""
    metric = np.linalg.inv(tensor) * np.sqrt(np.linalg.det(tensor))
    lower = np.linalg.cholesky(metric)
    turned = points_mm @ lower
    ahead = way @ lower
    return np.asarray((turned[:, 0] + 1j * turned[:, 1]) / complex(*(ahead / np.hypot(*ahead))))


def _rim(links: Links) -> BoolArray:
    """Find the cells at the rim of a sheet, as deep as its links reach."""
    deep = max(max(abs(e[0]), abs(e[1])) for e in links.offsets)
    rim = np.ones(links.grid.shape, bool)
    rim[deep:-deep, deep:-deep] = False
    return rim.ravel()
