"""From a gridded part to links between cells: the flow operator, positive at any angle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import scipy.sparse as sparse
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from analysis.part.grid.cells import Grid, IntArray, Shares
from analysis.part.plan.outline import inside
from vision.records import BoolArray, FloatArray

Offset = tuple[int, int]
LEAST_SHARE = 1e-4  # a cell with less of the part in it takes no part


@dataclass(frozen=True)
class Links:
    """Links between cells, and what each cell holds.

    Attributes
    ----------
    grid : Grid
    number : ndarray of shape (ny, nx), int
        Number of the cell among those of the part; -1 outside.
    pore_m3 : ndarray of shape (n,)
        Pore volume of each cell.
    first, second : ndarray of int
        The two cells of each link, `second` lying at `offset` (cols, rows) from `first`.
    offset : ndarray of shape (L, 2), int
    flow_m3 : ndarray of shape (L,)
        Permeability times cross-section over length: K h w / l.
    open_share : ndarray of shape (L,)
        Open share of each link, where walls cut it.
    offsets : tuple of (int, int)
        Every direction in use, one of each pair.
    strength_m3 : ndarray of shape (D, cells)
        What a whole link from each cell along each of `offsets` would carry in its own stack.
    share : ndarray of shape (n,)
        Share of each cell inside the part; 0 for a channel's nodes.
    channel_mm : ndarray of shape (m, 2)
        Where the nodes of open channels lie; they are numbered after all cells.
    """

    grid: Grid
    number: IntArray
    pore_m3: FloatArray
    first: IntArray
    second: IntArray
    offset: IntArray
    flow_m3: FloatArray
    open_share: FloatArray
    offsets: tuple[Offset, ...]
    strength_m3: FloatArray
    share: FloatArray
    channel_mm: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))

    @property
    def count(self) -> int:
        """Nodes: the cells of the part, then those of open channels."""
        return len(self.pore_m3)

    @property
    def cells(self) -> int:
        """Cells of the part alone."""
        return self.count - len(self.channel_mm)

    @property
    def centre_mm(self) -> FloatArray:
        """Centre of each node, shape (n, 2)."""
        row, col = np.nonzero(self.number >= 0)
        centre = np.column_stack([self.grid.x_mm[col], self.grid.y_mm[row]])
        return np.concatenate([centre, self.channel_mm])

    def field(self, values: FloatArray, empty: float = np.nan) -> FloatArray:
        """Return values per node laid out as (ny, nx), with `empty` outside the part."""
        out = np.full(self.grid.shape, empty, dtype=float)
        out[self.number >= 0] = values[: self.cells]
        return out


def permeability_tensor(k1_m2: float, k2_m2: float, angle_deg: float) -> FloatArray:
    """Return the 2 x 2 tensor with principal values k1, k2 and k1 at an angle from x towards y.

    Examples
    --------
    >>> permeability_tensor(2.0, 1.0, 90.0).round(12)
    array([[1., 0.],
           [0., 2.]])
    """
    turn = np.deg2rad(angle_deg)
    c, s = np.cos(turn), np.sin(turn)
    rotation = np.array([[c, -s], [s, c]])
    return np.asarray(rotation @ np.diag([k1_m2, k2_m2]) @ rotation.T)


def split_tensor(tensor: FloatArray) -> list[tuple[Offset, float]]:
    """Write a tensor as a sum of at most three links with positive weights.

    Parameters
    ----------
    tensor : ndarray of shape (2, 2)
        Symmetric, positive definite, in units of cells.

    Returns
    -------
    links : list of ((cols, rows), weight)
        ``tensor = sum(weight * outer(e, e))`` with whole-number e.

    Notes
    -----
    Selling's reduction to an obtuse superbase (Selling, J. reine angew. Math. 77, 143-229, 1874),
    used for anisotropic diffusion by Fehrenbach and Mirebeau, J. Math. Imaging Vis. 49, 123-147,
    2014 (both from memory). Positive weights make the operator monotone at any angle and ratio:
    no pressure above the feed's or below the front's can arise.

    Examples
    --------
    >>> split_tensor(np.diag([2.0, 1.0]))
    [((1, 0), 2.0), ((0, 1), 1.0)]
    """
    base = [np.array([1, 0]), np.array([0, 1]), np.array([-1, -1])]
    tiny = 1e-10 * float(np.trace(tensor))
    for _ in range(200):
        for i, j in ((0, 1), (0, 2), (1, 2)):
            if base[i] @ tensor @ base[j] > tiny:
                base = [-base[i], base[j], base[i] - base[j]]
                break
        else:
            break
    links = []
    for i, j, k in ((1, 2, 0), (0, 2, 1), (0, 1, 2)):
        weight = -float(base[i] @ tensor @ base[j])
        if weight > tiny:
            e = np.array([-base[k][1], base[k][0]])
            e = -e if (e[0], e[1]) < (0, 0) else e
            links.append(((int(e[0]), int(e[1])), weight))
    return sorted(links, key=lambda link: (abs(link[0][0]) + abs(link[0][1]), -link[0][0]))


def assemble(
    grid: Grid,
    shares: Shares,
    stack: IntArray,
    tensors_m3: Sequence[FloatArray],
    pore_m: FloatArray,
    walls_mm: Sequence[FloatArray] = (),
) -> Links:
    """Return the links of a part.

    Parameters
    ----------
    grid : Grid
        The grid.
    shares : Shares
        What of it lies inside the part.
    stack : ndarray of shape (ny, nx), int
        Which of `tensors_m3` holds in each cell.
    tensors_m3 : sequence of ndarray of shape (2, 2)
        Permeability times thickness of each stack.
    pore_m : ndarray of shape (ny, nx), porosity times thickness.
    walls_mm : sequence of ndarray of shape (N, 2)
        The outline, then the holes; used where slanting links meet a wall.
    """
    scale = np.diag([1e3 / grid.dx_mm, 1e3 / grid.dy_mm])
    scaled = [scale @ tensor @ scale * grid.cell_m2 for tensor in tensors_m3]
    splits = [split_tensor(tensor) for tensor in scaled]
    used = {(1, 0), (0, 1), *(e for split in splits for e, _ in split)}
    offsets = tuple(sorted(used, key=lambda e: (sum(map(abs, e)), e)))
    table = np.array([[dict(split).get(e, 0.0) for split in splits] for e in offsets])
    present = np.asarray(shares.cell > LEAST_SHARE)
    count = np.cumsum(present, dtype=np.int32).reshape(grid.shape) - np.int32(1)
    number = np.where(present, count, np.int32(-1))
    more = _beside_walls(shares, number, offsets, table, np.stack(scaled), stack)
    columns = [
        _links_along(grid, shares, number, e, laid[stack] + more.get(e, 0.0), walls_mm)
        for e, laid in zip(offsets, table, strict=True)
    ]
    first, second, offset, flow, opening = (
        np.concatenate(column) for column in zip(*columns, strict=True)
    )
    links = Links(
        grid,
        number,
        pore_m3=(shares.cell * pore_m)[present] * grid.cell_m2,
        first=first,
        second=second,
        offset=offset,
        flow_m3=flow,
        open_share=opening,
        offsets=offsets,
        strength_m3=table[:, stack[present]],
        share=shares.cell[present],
    )
    return _with_corners(links, stack, scaled, shares)


def _links_along(
    grid: Grid,
    shares: Shares,
    number: IntArray,
    e: Offset,
    strength: FloatArray,
    walls_mm: Sequence[FloatArray],
) -> list[Any]:
    """Return both ends, offset, flow and open share of the links along one offset."""
    here, there = _shifted(grid.shape, e)
    both = (number[here] >= 0) & (number[there] >= 0)
    opening = _opening(grid, shares, e, both, walls_mm)
    flow = _joined(strength[here][both], strength[there][both]) * opening
    keep = (flow > 0) & (opening > 1e-9)
    along = np.tile(np.array(e, np.int16), (int(keep.sum()), 1))
    ends = number[here][both][keep], number[there][both][keep]
    return [*ends, along, flow[keep], opening[keep]]


def _beside_walls(
    shares: Shares,
    number: IntArray,
    offsets: Sequence[Offset],
    table: FloatArray,
    tensors: FloatArray,
    stack: IntArray,
) -> dict[Offset, FloatArray]:
    """Return what links along a wall carry for the slanting links that the wall leaves out.

    Beside a wall along t without flow through it, the gradient runs as K^-1 t. A slanting link
    that would lead through the wall leaves its half of the flow's energy,
    strength / 2 (e K^-1 t)^2 / (t K^-1 t)^2, to the links along the wall.
    """
    more: dict[Offset, FloatArray] = {e: np.zeros(number.shape) for e in ((1, 0), (0, 1))}
    inside = np.pad(number >= 0, (reach := max(max(map(abs, e)) for e in offsets)))
    inverse = np.linalg.inv(tensors)
    rows, cols = number.shape

    def there(col: int, row: int) -> BoolArray:
        return inside[reach + row : reach + row + rows, reach + col : reach + col + cols]

    whole = shares.cell > 1 - 1e-9
    for e, strong in zip(offsets, table, strict=True):
        if e in more:
            continue
        for col, row in (e, (-e[0], -e[1])):
            lost = whole & ~there(col, row)
            for t, across in (((1, 0), (0, row)), ((0, 1), (col, 0))):
                axis = t.index(1)
                beside = (col, 0) if axis == 0 else (0, row)
                wall = lost & there(*beside) & ~there(*across)
                slope = (inverse[..., axis] @ e) / inverse[..., axis, axis]
                more[t] += np.where(wall, (strong / 2 * slope**2)[stack], 0.0)
    return more


def _joined(one: FloatArray, two: FloatArray) -> FloatArray:
    """Return what a link carries between cells of different stacks: each half in its own."""
    both = one + two
    return np.where((one > 0) & (two > 0), 2 * one * two / np.maximum(both, 1e-300), both / 2)


def _with_corners(
    links: Links,
    stack: IntArray,
    scaled: Sequence[FloatArray],
    shares: Shares,
) -> Links:
    """Tie in cells that no link reaches, as long slanting links leave some in corners.

    Such a cell is joined to its neighbours with what the stack carries between walls,
    1 / (e K^-1 e), the least it can.
    """
    count, label = connected_components(laplacian(links), directed=False)
    if count == 1:
        return links
    lone = label != np.argmax(np.bincount(label))
    parts: list[tuple[Any, ...]] = []
    for axis, (e, opening) in enumerate((((1, 0), shares.open_x), ((0, 1), shares.open_y))):
        here, there = _shifted(links.grid.shape, e)
        one, two = links.number[here], links.number[there]
        both = (one >= 0) & (two >= 0) & (opening > 1e-9)
        both[both] = lone[one[both]] | lone[two[both]]
        least = np.array([1.0 / np.linalg.inv(tensor)[axis, axis] for tensor in scaled])
        along = np.tile(np.array(e, np.int16), (int(both.sum()), 1))
        flow = np.minimum(least[stack[here]], least[stack[there]])[both] * opening[both]
        parts.append((one[both], two[both], along, flow, opening[both]))
    first, second, offset, flow, share = (np.concatenate(x) for x in zip(*parts, strict=True))
    return replace(
        links,
        first=np.concatenate([links.first, first]),
        second=np.concatenate([links.second, second]),
        offset=np.concatenate([links.offset, offset]),
        flow_m3=np.concatenate([links.flow_m3, flow]),
        open_share=np.concatenate([links.open_share, share]),
    )


def _shifted(shape: tuple[int, int], e: Offset) -> tuple[Any, Any]:
    """Return the two slices that pair every cell with the one at `e` = (cols, rows) from it."""
    slices = []
    for count, step in zip(shape, (e[1], e[0]), strict=True):
        low, high = max(0, -step), min(count, count - step)
        high = max(low, high)
        slices.append((slice(low, high), slice(low + step, max(low, high) + step)))
    return tuple(s[0] for s in slices), tuple(s[1] for s in slices)


def _opening(
    grid: Grid,
    shares: Shares,
    e: Offset,
    both: BoolArray,
    walls_mm: Sequence[FloatArray],
) -> FloatArray:
    """Return the open share of the links along `e` between cells that are both present."""
    if e == (1, 0):
        return np.asarray(shares.open_x[both])
    if e == (0, 1):
        return np.asarray(shares.open_y[both])
    opening = np.ones(int(both.sum()))
    whole = _whole_box(shares.cell, e)[both]
    doubtful = np.flatnonzero(~whole)
    if doubtful.size and walls_mm:
        here, _ = _shifted(grid.shape, e)
        row, col = np.nonzero(both)
        row, col = row + here[0].start, col + here[1].start
        start = np.column_stack([grid.x_mm[col], grid.y_mm[row]])[doubtful]
        opening[doubtful] = _sampled(grid, start, e, walls_mm)
    return opening


def _whole_box(share: FloatArray, e: Offset) -> BoolArray:
    """Find where every cell in the box spanned by a link lies wholly inside the part."""
    rows, cols = abs(e[1]) + 1, abs(e[0]) + 1
    full = (share > 1 - 1e-9).astype(int)
    total = np.pad(np.cumsum(np.cumsum(full, axis=0), axis=1), ((1, 0), (1, 0)))
    count = (
        total[rows:, cols:] - total[:-rows, cols:] - total[rows:, :-cols] + total[:-rows, :-cols]
    )
    return np.asarray(count == rows * cols)


def _sampled(
    grid: Grid, start_mm: FloatArray, e: Offset, walls_mm: Sequence[FloatArray]
) -> FloatArray:
    """Measure the open share of slanting links at nine points across, a quarter apart along."""
    along = np.array(e) * (grid.dx_mm, grid.dy_mm)
    across = np.array([-along[1], along[0]]) * (grid.dx_mm * grid.dy_mm / float(along @ along))
    least = np.ones(len(start_mm))
    for part in (0.25, 0.5, 0.75):
        total = np.zeros(len(start_mm))
        for side in (np.arange(9) - 4) / 9.0:
            point = start_mm + part * along + side * across
            hit = inside(point, walls_mm[0])
            for hole in walls_mm[1:]:
                hit &= ~inside(point, hole)
            total += hit
        least = np.minimum(least, total / 9.0)
    return least


def laplacian(links: Links, keep: FloatArray | None = None) -> Any:
    """Return the symmetric matrix of the links alone: row sums are zero.

    Parameters
    ----------
    links : Links
        The part's links.
    keep : ndarray of shape (L,), optional
        Factor on each link, e.g. 0 where a feed cuts it.
    """
    flow = links.flow_m3 if keep is None else links.flow_m3 * keep
    n = links.count
    row = np.concatenate([links.first, links.second])
    col = np.concatenate([links.second, links.first])
    off = sparse.coo_array((np.concatenate([-flow, -flow]), (row, col)), shape=(n, n)).tocsr()
    off.eliminate_zeros()
    diagonal = -np.asarray(off.sum(axis=1)).ravel()
    return (off + sparse.diags_array(diagonal)).tocsr()


def unreached(matrix: Any, feed_m3: FloatArray) -> BoolArray:
    """Find which cells no feed can ever reach, because no link leads there."""
    count, label = connected_components(matrix, directed=False)
    fed = np.zeros(count, bool)
    fed[label[feed_m3 > 0]] = True
    return np.asarray(~fed[label])


def nearest_cells(links: Links, points_mm: FloatArray) -> IntArray:
    """Return the number of the cell nearest to each point, of those at least half in the part."""
    pores = links.pore_m3[: links.cells]
    cells = np.flatnonzero(pores > 0.5 * np.median(pores))
    centre = links.centre_mm[cells]
    if len(points_mm) == 1:
        return cells[[int(np.argmin(((centre - points_mm[0]) ** 2).sum(axis=1)))]]
    return np.asarray(cells[cKDTree(centre).query(points_mm)[1]])
