"""A regular grid laid over a part's outline, with the exact share of each cell inside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.records import FloatArray

IntArray = NDArray[np.integer]


@dataclass(frozen=True)
class Grid:
    """Equal rectangular cells, as near to square as fits whole cells on both sides.

    Cell (row, col) is centred at x = x0 + (col + 0.5) dx, y = y0 + (row + 0.5) dy.

    Attributes
    ----------
    x0_mm, y0_mm : float
        Lower left corner.
    dx_mm, dy_mm : float
        Size of a cell.
    nx, ny : int
        Cells along x and along y.
    """

    x0_mm: float
    y0_mm: float
    dx_mm: float
    dy_mm: float
    nx: int
    ny: int

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.ny, self.nx

    @property
    def x_mm(self) -> FloatArray:
        """Centres of the columns."""
        return self.x0_mm + (np.arange(self.nx) + 0.5) * self.dx_mm

    @property
    def y_mm(self) -> FloatArray:
        """Centres of the rows."""
        return self.y0_mm + (np.arange(self.ny) + 0.5) * self.dy_mm

    @property
    def cell_m2(self) -> float:
        """Area of a whole cell."""
        return self.dx_mm * self.dy_mm * 1e-6

    def cells(self, points_mm: FloatArray) -> FloatArray:
        """Turn (x, y) in mm into (x, y) in cells from the lower left corner."""
        origin, size = (self.x0_mm, self.y0_mm), (self.dx_mm, self.dy_mm)
        return (np.asarray(points_mm, float) - origin) / size


def lay_grid(outline_mm: FloatArray, cells: int) -> Grid:
    """Lay a grid over the box round an outline.

    Parameters
    ----------
    outline_mm : ndarray of shape (N, 2)
        Corners of the outline.
    cells : int
        Cells along the longest side of the box.

    Examples
    --------
    >>> lay_grid(np.array([[0, 0], [300, 0], [300, 100], [0, 100]]), 30).shape
    (10, 30)
    """
    low, high = outline_mm.min(axis=0), outline_mm.max(axis=0)
    size = high - low
    step = size.max() / cells
    nx, ny = (max(1, round(float(side / step))) for side in size)
    return Grid(float(low[0]), float(low[1]), float(size[0] / nx), float(size[1] / ny), nx, ny)


def _pieces(polygon: FloatArray, shape: tuple[int, int]) -> tuple[FloatArray, FloatArray]:
    """Cut the edges of a closed polygon (in cells) where they cross the grid lines."""
    ny, nx = shape
    starts, ends = [], []
    for a, b in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        cuts = [np.array([0.0, 1.0])]
        for axis, count in ((0, nx), (1, ny)):
            low, high = sorted((a[axis], b[axis]))
            first, last = max(0, int(np.ceil(low))), min(count, int(np.floor(high)))
            if high > low and last >= first:
                cuts.append((np.arange(first, last + 1) - a[axis]) / (b[axis] - a[axis]))
        t = np.unique(np.clip(np.concatenate(cuts), 0.0, 1.0))
        points = a + t[:, None] * (b - a)
        starts.append(points[:-1])
        ends.append(points[1:])
    return np.concatenate(starts), np.concatenate(ends)


def coverage(polygon_mm: FloatArray, grid: Grid) -> FloatArray:
    """Return the share of each cell that lies inside a polygon, exactly.

    Parameters
    ----------
    polygon_mm : ndarray of shape (N, 2)
        Corners in order, either way round, not repeated at the end.
    grid : Grid
        The grid.

    Returns
    -------
    share : ndarray of shape (ny, nx), from 0 to 1

    Notes
    -----
    The area to the right of each piece of edge is added up along the rows (the way fonts are
    filled, common practice, no source).

    Examples
    --------
    >>> grid = Grid(0, 0, 1, 1, 3, 1)
    >>> coverage(np.array([[0.5, 0], [3, 0], [3, 1], [0.5, 1]]), grid)
    array([[0.5, 1. , 1. ]])
    """
    ny, nx = grid.shape
    start, end = _pieces(grid.cells(polygon_mm), grid.shape)
    middle = (start + end) / 2
    keep = (middle[:, 1] > 0) & (middle[:, 1] < ny) & (middle[:, 0] < nx)
    start, end, middle = start[keep], end[keep], middle[keep]
    row = np.clip(np.floor(middle[:, 1]).astype(int), 0, ny - 1)
    x = np.maximum(middle[:, 0], 0.0)
    col = np.clip(np.floor(x).astype(int), 0, nx - 1)
    rise = end[:, 1] - start[:, 1]
    own, rest = np.zeros((ny, nx)), np.zeros((ny, nx + 1))
    np.add.at(own, (row, col), rise * (col + 1 - x))
    np.add.at(rest, (row, col + 1), rise)
    total = own + np.cumsum(rest, axis=1)[:, :nx]
    return np.clip(np.abs(total), 0.0, 1.0)


def openings_x(polygon_mm: FloatArray, grid: Grid) -> FloatArray:
    """Return the open share of the face between each cell and its right neighbour.

    Returns
    -------
    share : ndarray of shape (ny, nx - 1), from 0 to 1

    Notes
    -----
    A wall that runs along a face counts as lying left of it, so the face belongs to what is
    on its right; where nothing is there, there is no neighbour either.
    """
    ny, nx = grid.shape
    points = grid.cells(polygon_mm)
    total, steps = np.zeros((ny + 1, nx - 1)), np.zeros((ny + 1, nx - 1), np.int32)
    for a, b in zip(points, np.roll(points, -1, axis=0), strict=True):
        low, high = sorted((a[0], b[0]))
        lines = np.arange(max(1, int(np.ceil(low))), min(nx - 1, int(np.ceil(high)) - 1) + 1)
        if not lines.size:
            continue
        sign = np.sign(b[0] - a[0])
        y = a[1] + (lines - a[0]) * (b[1] - a[1]) / (b[0] - a[0])
        y = np.clip(y, 0.0, ny)
        row = np.minimum(np.floor(y).astype(int), ny - 1)
        np.add.at(total, (row, lines - 1), sign * (row + 1 - y))
        np.add.at(steps, (row + 1, lines - 1), int(sign))
    total += np.cumsum(steps, axis=0, dtype=np.int32)
    return np.clip(np.abs(total[:ny]), 0.0, 1.0)


def transpose(grid: Grid) -> Grid:
    """Swap the two axes of a grid."""
    return Grid(grid.y0_mm, grid.x0_mm, grid.dy_mm, grid.dx_mm, grid.ny, grid.nx)


def openings_y(polygon_mm: FloatArray, grid: Grid) -> FloatArray:
    """Return the open share of the face between each cell and the one in the next row."""
    return openings_x(np.asarray(polygon_mm)[:, ::-1], transpose(grid)).T


@dataclass(frozen=True)
class Shares:
    """What of the cells and their faces lies inside a part, from 0 to 1.

    Attributes
    ----------
    cell : ndarray of shape (ny, nx)
    open_x : ndarray of shape (ny, nx - 1)
        Open share of the face between each cell and its right neighbour.
    open_y : ndarray of shape (ny - 1, nx)
        The same towards the next row.
    """

    cell: FloatArray
    open_x: FloatArray
    open_y: FloatArray


def clip_share(outline_mm: FloatArray, holes_mm: Sequence[FloatArray], grid: Grid) -> Shares:
    """Return the share of each cell inside the part, and the open share of the inner faces."""
    found = []
    for measure in (coverage, openings_x, openings_y):
        laid = measure(outline_mm, grid)
        for hole in holes_mm:
            laid = laid - measure(hole, grid)
        found.append(np.clip(laid, 0.0, 1.0))
    return Shares(*found)
