"""Feeds on the grid: lines whose ends keep their place, and round feeds smaller than a cell."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import scipy.sparse as sparse

from analysis.part.grid.cells import Grid, IntArray, coverage
from analysis.part.grid.factor import direct
from analysis.part.grid.line_ends import with_true_ends
from analysis.part.grid.lines import FeedLinks, lay_line
from analysis.part.grid.network import Links, Offset, split_tensor
from vision.records import FloatArray

HALF_BOX = 16  # cells from the middle to the rim of the endless sheet's stand-in, at least
RESOLVED = 4.0  # a round feed of more cells than this is drawn as its rim


def line_feed(
    links: Links, line_mm: FloatArray, tensor_m3: FloatArray, resistance_mm: float = 0.0
) -> FeedLinks:
    """Lay a feed line on the part, so that it acts with its true length.

    Parameters
    ----------
    links : Links
        The part.
    line_mm : ndarray of shape (P, 2)
        Two or more points; closed when the last repeats the first.
    tensor_m3 : ndarray of shape (2, 2)
        Permeability times thickness there.
    resistance_mm : float
        As for `lay_line`.
    """
    return lay_line(links, with_true_ends(links, line_mm, tensor_m3), resistance_mm)


def _circle(centre_mm: tuple[float, float], radius_mm: float) -> FloatArray:
    """Return a circle as a polygon of the same area."""
    step = 2 * np.pi / 64
    angle = (np.arange(64) + 0.5) * step
    grown = radius_mm * np.sqrt(step / np.sin(step))
    return np.asarray(centre_mm) + grown * np.column_stack([np.cos(angle), np.sin(angle)])


def equal_radius_mm(radius_mm: float, k1: float, k2: float) -> float:
    """Return the radius that a round feed acts with in an uneven stack.

    In coordinates stretched to an even stack the circle is an ellipse with the half axes r0 / q
    and r0 q, q = (K1 / K2)^(1/4), and far from an ellipse the flow is that of a circle with the
    mean of its half axes (conformal map of the ellipse's outside, Joukowski).

    Examples
    --------
    >>> equal_radius_mm(5.0, 1e-10, 1e-10), equal_radius_mm(4.0, 16e-10, 1e-10)
    (5.0, 5.0)
    """
    q = (k1 / k2) ** 0.25
    return float(radius_mm * (q + 1 / q) / 2)


def point_feed(
    links: Links,
    centre_mm: tuple[float, float],
    radius_mm: float,
    tensor_m3: FloatArray,
    resistance_mm: float = 0.0,
) -> FeedLinks:
    """Lay a round feed on the part, of any size against a cell.

    Parameters
    ----------
    links : Links
        The part.
    centre_mm : tuple of (float, float)
        Middle of the feed.
    radius_mm : float
        Its own radius; in an uneven stack it acts with `equal_radius_mm`.
    tensor_m3 : ndarray of shape (2, 2)
        Permeability times thickness at the feed.
    resistance_mm : float
        As for a line, counted at the feed's rim.

    Notes
    -----
    The cells under the feed are tied to it by links whose size is found, on an endless sheet of
    the same stack, such that the flow far away is that of the radius asked for (after
    Peaceman, SPE J. 18, 183-194, 1978, from memory).
    """
    grid = links.grid
    rim = _circle(centre_mm, radius_mm)
    if radius_mm > RESOLVED * max(grid.dx_mm, grid.dy_mm):
        wide = lay_line(links, np.vstack([rim, rim[:1]]), resistance_mm, rim=True)
        return replace(wide, lost_m3=_lost(links, rim))
    feed = _tied(links, centre_mm, radius_mm, tensor_m3)
    if resistance_mm > 0 and feed.any():
        k_e = float(np.sqrt(np.linalg.det(tensor_m3)))
        more = resistance_mm / (2 * np.pi * radius_mm * k_e)
        feed /= 1.0 + more * feed.sum()
    return FeedLinks(feed, np.ones(len(links.first)), _lost(links, rim))


def _tied(
    links: Links, centre_mm: tuple[float, float], radius_mm: float, tensor_m3: FloatArray
) -> FloatArray:
    """Return the flow from a small round feed into each cell per unit of impulse difference."""
    grid, scale = links.grid, float(np.trace(tensor_m3))
    place = grid.cells(np.array(centre_mm))
    corner = np.floor(place)
    ratio = tuple(np.round(np.append(tensor_m3.ravel() / scale, place - corner), 6))
    local, tie = _calibrated(ratio, (grid.dx_mm, grid.dy_mm), radius_mm)
    rows, cols = links.number.shape
    feed = np.zeros(links.count)
    for (col, row), weight in zip(local, tie, strict=True):
        r, c = int(corner[1]) + row, int(corner[0]) + col
        if 0 <= r < rows and 0 <= c < cols and links.number[r, c] >= 0:
            feed[links.number[r, c]] += scale * weight
    return feed


def _lost(links: Links, rim_mm: FloatArray) -> FloatArray:
    """Return the pore volume of each cell that a feed's own area takes away."""
    own = np.zeros(links.count)
    own[: links.cells] = coverage(rim_mm, links.grid)[links.number >= 0]
    return np.minimum(own, 0.98) * links.pore_m3


@lru_cache(maxsize=64)
def _calibrated(
    ratio: tuple[float, ...], size_mm: tuple[float, float], radius_mm: float
) -> tuple[tuple[Offset, ...], tuple[float, ...]]:
    """Find the ties of a round feed on an endless sheet whose tensor has trace 1."""
    tensor = np.array(ratio[:4]).reshape(2, 2)
    place = np.array(ratio[4:])
    centre = (float(place[0] * size_mm[0]), float(place[1] * size_mm[1]))
    k2, k1 = np.linalg.eigvalsh(tensor)
    k_e = float(np.sqrt(k1 * k2))
    reach = radius_mm + 0.5 * min(size_mm)
    stretch = float((k1 / k2) ** 0.25)
    half = max(HALF_BOX, int(np.ceil(2.5 * reach * stretch / min(size_mm))))
    count = 2 * half + 1
    grid = Grid(-half * size_mm[0], -half * size_mm[1], *size_mm, count, count)
    disc = coverage(_circle(centre, reach), grid)
    row, col = np.nonzero(disc > 1e-6)
    cells, far = row * count + col, _log_radius(grid, centre, tensor)
    inner, pull = _sheet_inverse(tensor, size_mm, count, cells, far)
    target = np.log(equal_radius_mm(radius_mm, k1, k2))
    tie = _tie_for(disc[row, col], inner, pull, k_e, target)
    ties = tie * disc[row, col]
    spots = tuple((int(c) - half, int(r) - half) for r, c in zip(row, col, strict=True))
    return spots, tuple(float(tie) for tie in ties)


def _log_radius(grid: Grid, centre_mm: tuple[float, float], tensor: FloatArray) -> FloatArray:
    """Return ln of the distance from a point, in coordinates stretched to an even stack."""
    x, y = np.meshgrid(grid.x_mm - centre_mm[0], grid.y_mm - centre_mm[1])
    metric = np.linalg.inv(tensor) * np.sqrt(np.linalg.det(tensor))
    square = metric[0, 0] * x * x + 2 * metric[0, 1] * x * y + metric[1, 1] * y * y
    return np.asarray(0.5 * np.log(square + 1e-9)).ravel()


def _tie_for(
    share: FloatArray, inner: FloatArray, pull: FloatArray, k_e: float, target: float
) -> float:
    """Find the tie per covered cell with which the feed acts with the log radius `target`."""

    def log_radius(tie: float) -> float:
        # Unknown inflow q_i = tie share_i (0 - u_i) with u = pull + inner q; u is 0 on the feed
        # and ln(rho) - c far off, where c is the log of the radius this feed acts as.
        ties = tie * share
        system = np.eye(len(ties)) + ties[:, None] * inner
        flow = np.linalg.solve(system, -ties * pull)
        ones = np.linalg.solve(system, -ties)
        return float((-flow.sum() - 2 * np.pi * k_e) / -ones.sum())

    low, high = np.log(1e-6 * k_e), np.log(1e6 * k_e)
    for _ in range(45):
        mid = (low + high) / 2
        low, high = (mid, high) if log_radius(np.exp(mid)) < target else (low, mid)
    return float(np.exp((low + high) / 2))


def _sheet_inverse(
    tensor: FloatArray,
    size_mm: tuple[float, float],
    count: int,
    cells: IntArray,
    far: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Solve a square sheet with given values round its rim.

    Returns
    -------
    inner : ndarray of shape (m, m)
        Value at each of `cells` for unit inflow at each of them, rim at zero.
    pull : ndarray of shape (m,)
        Value at each of `cells` with the rim at `far` and no inflow.
    """
    scale = np.diag(1.0 / np.array(size_mm))
    area = size_mm[0] * size_mm[1]
    index = np.arange(count * count).reshape(count, count)
    matrix = sparse.csr_array((count * count, count * count))
    width = 1
    for e, weight in split_tensor(scale @ tensor @ scale):
        width = max(width, abs(e[0]), abs(e[1]))
        here = index[max(0, -e[1]) : count - max(0, e[1]), max(0, -e[0]) : count - max(0, e[0])]
        there = here + e[1] * count + e[0]
        i, j = here.ravel(), there.ravel()
        value = np.full(len(i), weight * area)
        pair = (np.concatenate([i, j, i, j]), np.concatenate([i, j, j, i]))
        data = np.concatenate([value, value, -value, -value])
        matrix = matrix + sparse.coo_array((data, pair), shape=matrix.shape).tocsr()
    width = min(width, count // 4)
    free = np.zeros((count, count), bool)
    free[width:-width, width:-width] = True
    loose = free.ravel()
    place = np.cumsum(loose) - 1
    core = matrix[loose][:, loose]
    factor = direct(core)
    source = np.zeros((int(loose.sum()), len(cells)))
    source[place[cells], np.arange(len(cells))] = 1.0
    inner = factor.solve(source)[place[cells]]
    rim = -(matrix[loose][:, ~loose] @ far[~loose])
    return inner, factor.solve(rim)[place[cells]]
