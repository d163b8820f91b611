"""Triangles over the outline of a part, and lines across them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

Array = NDArray[np.floating]
Whole = NDArray[np.integer]

SIDE = 4  # parts of a triangle's side: SIDE^2 samples in each
PER_STEP = 6  # points along a line, for each side of a triangle


def inside(points_mm: Array, polygon_mm: Array) -> NDArray[np.bool_]:
    """Even-odd rule: Shimrat 1962, Commun. ACM 5:434 (from memory)."""
    x, y = np.asarray(points_mm, float).T
    odd = np.zeros(len(x), bool)
    corners = np.asarray(polygon_mm, float)
    for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        if y0 == y1:
            continue
        cross = (y0 > y) != (y1 > y)
        odd ^= cross & (x < x0 + (y - y0) * (x1 - x0) / (y1 - y0))
    return odd


@dataclass(frozen=True)
class Spots:
    """Points in triangles: their nodes and the weight of each."""

    point_mm: Array
    triangle: Whole
    nodes: Whole
    weight: Array

    def matrix(self, shape: Array, factor: Array, count: int) -> Any:
        """Sum over the points of factor * shape_i * shape_j."""
        block = shape[:, :, None] * shape[:, None, :] * factor[:, None, None]
        rows, cols = np.repeat(self.nodes, 3, axis=1).ravel(), np.tile(self.nodes, (1, 3)).ravel()
        return sparse.coo_matrix((block.ravel(), (rows, cols)), shape=(count, count)).tocsr()


@dataclass(frozen=True)
class Mesh:
    """Squares of `step_mm`, each cut into two triangles from corner to corner.

    `rising` cuts run along (1, 1), the others along (1, -1): along the steeper of the cloth's ways
    the solution stays free of wiggles.

    `number` are the grid nodes in use, `triangle` (T, 3) counts among those; `place` gives the
    triangle of each square's halves, -1 where none; `gradient` (T, 3, 2) is per metre.
    """

    origin_mm: Array
    step_mm: Array
    rows: int
    cols: int
    triangle: Whole
    number: Whole
    node_mm: Array
    gradient: Array
    samples_mm: Array
    place: Whole
    rising: bool = True

    @property
    def area_m2(self) -> float:
        """Area of each triangle."""
        return float(np.prod(self.step_mm)) * 0.5e-6

    def with_active(self, kept: NDArray[np.bool_]) -> Mesh:
        """Leave out triangles that do not touch the part, but remember the numbering of all."""
        used = np.unique(self.triangle[kept])
        again = np.full(len(self.node_mm), 0)
        again[used] = np.arange(len(used))
        gone = np.where(kept, np.arange(len(kept)), -1)
        return replace(
            self,
            triangle=np.where(kept[:, None], again[self.triangle], 0),
            number=used,
            node_mm=self.node_mm[used],
            place=gone[self.place],
        )

    def locate(self, points_mm: Array) -> Spots:
        """Find the triangle in use that holds each point, or the one beside it."""
        points = np.asarray(points_mm, float)
        found = np.full(len(points), -1)
        share = np.zeros((len(points), 3))
        nudges = [(0, 0), *((r * c, r * s) for r in (0.01, 0.3) for c, s in _RING)]
        for nudge in nudges:
            left = np.flatnonzero(found < 0)
            at = (points[left] - self.origin_mm) / self.step_mm
            moved = at + nudge
            cell = np.clip(np.floor(moved), 0, (self.cols - 1, self.rows - 1)).astype(int)
            u, v = (moved - cell).T
            upper = (v > u if self.rising else u + v > 1).astype(int)
            here = self.place[cell[:, 1], cell[:, 0], upper]
            u, v = (at - cell).T
            low, high = (
                ((1 - u, u - v, v), (1 - v, u, v - u))
                if self.rising
                else ((1 - u - v, u, v), (1 - v, u + v - 1, 1 - u))
            )
            bary = np.where(upper[:, None] == 0, np.column_stack(low), np.column_stack(high))
            found[left], share[left] = here, bary
        if (found < 0).any():
            raise ValueError(f"{points[found < 0][0]} mm lies off the part")
        return Spots(points, found, self.triangle[found], share)

    def along(self, line_mm: Array) -> tuple[Spots, Array, Array]:
        """Points along a line with the metres each stands for and its direction."""
        line = np.asarray(line_mm, float)
        points, long, way = [], [], []
        for a, b in pairwise(line):
            length = float(np.hypot(*(b - a)))
            count = max(2, int(np.ceil(length / self.step_mm.min() * PER_STEP)))
            points.append(a + ((np.arange(count) + 0.5) / count)[:, None] * (b - a))
            long.append(np.full(count, length / count * 1e-3))
            way.append(np.tile((b - a) / length, (count, 1)))
        return self.locate(np.vstack(points)), np.concatenate(long), np.vstack(way)


_RING = [(np.cos(a), np.sin(a)) for a in np.arange(8) * np.pi / 4 + 0.1]


def mesh_part(outline_mm: Array, step_mm: float, rising: bool = True) -> Mesh:
    """Cover the box around an outline."""
    outline = np.asarray(outline_mm, float)
    low, size = outline.min(axis=0), np.ptp(outline, axis=0)
    cols, rows = (int(n) for n in np.maximum(np.rint(size / step_mm), 2))
    step = size / (cols, rows)
    row, col = (m.ravel() for m in np.mgrid[0:rows, 0:cols])
    a, b = row * (cols + 1) + col, row * (cols + 1) + col + 1
    c, d = a + cols + 1, b + cols + 1
    first = np.column_stack([a, b, d if rising else c])
    second = np.column_stack([a, d, c] if rising else [c, b, d])
    triangle = np.stack([first, second], axis=1).reshape(-1, 3)
    node_row, node_col = (m.ravel() for m in np.mgrid[0 : rows + 1, 0 : cols + 1])
    node_mm = low + np.column_stack([node_col, node_row]) * step
    corner = node_mm[triangle] * 1e-3
    edge = np.roll(corner, -1, axis=1) - np.roll(corner, 1, axis=1)  # opposite each corner
    one, two = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    twice = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    gradient = np.stack([edge[..., 1], -edge[..., 0]], axis=-1) / twice[:, None, None]
    share = _sample_shares()
    samples = np.einsum("sa,tai->tsi", share, node_mm[triangle])
    place = np.arange(len(triangle)).reshape(rows, cols, 2)
    number = np.arange(len(node_mm))
    return Mesh(low, step, rows, cols, triangle, number, node_mm, gradient, samples, place, rising)


def _sample_shares() -> Array:
    """Middles of the SIDE^2 small triangles of a triangle, as shares of its corners."""
    out = []
    for i in range(SIDE):
        for j in range(SIDE - i):
            out.append(((i + 1 / 3) / SIDE, (j + 1 / 3) / SIDE))
            if j < SIDE - i - 1:
                out.append(((i + 2 / 3) / SIDE, (j + 2 / 3) / SIDE))
    two = np.array(out)
    return np.column_stack([1 - two.sum(axis=1), two])
