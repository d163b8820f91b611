"""Feeds on the grid: lines that cut links, and round feeds smaller than a cell."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np
import scipy.sparse as sparse

from analysis.part.flow.grid import Grid, IntArray, coverage
from analysis.part.flow.multigrid import direct
from analysis.part.flow.network import Links, Offset, split_tensor
from vision.records import BoolArray, FloatArray

NEAREST = 1e-6  # a feed is never taken as nearer to a cell than this share of a link
HALF_BOX = 16  # cells from the middle to the rim of the endless sheet's stand-in, at least
RESOLVED = 6.0  # a round feed of more cells than this is drawn as its rim


@dataclass(frozen=True)
class FeedLinks:
    """What one feed does to a part's links.

    Attributes
    ----------
    feed_m3 : ndarray of shape (n,)
        Flow from the feed into each cell per unit of impulse difference.
    cut : ndarray of shape (L,), bool
        Links that the feed line crosses, and so severs.
    lost_m3 : ndarray of shape (n,)
        Pore volume taken away by a round feed's own area.
    """

    feed_m3: FloatArray
    cut: BoolArray
    lost_m3: FloatArray


def _crossings(links: Links, e_mm: FloatArray, line_mm: FloatArray) -> FloatArray:
    """Return how far along the step `e_mm` each cell's centre first meets the line, or infinity."""
    grid, centre = links.grid, links.centre_mm
    nearest = np.full(links.count, np.inf)
    size = np.array([grid.dx_mm, grid.dy_mm])
    reach = np.abs(e_mm) / size + 1
    for a, b in pairwise(line_mm):
        segment = b - a
        across = e_mm[0] * segment[1] - e_mm[1] * segment[0]
        if abs(across) < 1e-12 * np.hypot(*e_mm) * np.hypot(*segment):
            continue
        ends = grid.cells(np.stack([a, b]))
        low = np.maximum(np.floor(ends.min(axis=0) - reach), 0).astype(int)
        high = np.maximum(np.ceil(ends.max(axis=0) + reach), 0).astype(int)
        near = links.number[low[1] : high[1], low[0] : high[0]].ravel()
        near = near[near >= 0]
        gap = a - centre[near]
        along = (gap[:, 0] * segment[1] - gap[:, 1] * segment[0]) / across
        where = (gap[:, 0] * e_mm[1] - gap[:, 1] * e_mm[0]) / across
        hit = (along > -1e-9) & (along < 1 + 1e-9) & (where > -1e-9) & (where < 1 + 1e-9)
        nearest[near[hit]] = np.minimum(nearest[near[hit]], np.maximum(along[hit], 0.0))
    return nearest


def line_feed(links: Links, line_mm: FloatArray, resistance_mm: float = 0.0) -> FeedLinks:
    """Lay a feed line on the part: each link that meets it ends there.

    Parameters
    ----------
    links : Links
        The part.
    line_mm : ndarray of shape (P, 2)
        Two or more points; closed when the last repeats the first.
    resistance_mm : float
        Length of stack that would slow the resin as much as the line does: the `a` of
        x^2 + 2 a x.

    Notes
    -----
    A link that meets the line after a share `s` of its length carries 1/s times as much: the
    second-order symmetric treatment of Gibou, Fedkiw, Cheng, Kang, J. Comput. Phys. 176,
    205-227, 2002 (from memory). A feed on the outline, which no link crosses from cell to cell,
    is met by the links that would lead outside.
    """
    grid = links.grid
    feed = np.zeros(links.count)
    cut = np.zeros(len(links.first), bool)
    touched = np.zeros(links.count, bool)
    for index, e in enumerate(links.offsets):
        step = np.array(e) * (grid.dx_mm, grid.dy_mm)
        ahead = _crossings(links, step, line_mm)
        back = _crossings(links, -step, line_mm)
        extra = resistance_mm / float(np.hypot(*step))
        for share in (ahead, back):
            hit = np.isfinite(share)
            feed[hit] += links.strength_m3[index, hit] / np.maximum(share[hit] + extra, NEAREST)
            touched |= hit
        mine = np.all(links.offset == e, axis=1)
        cut[mine] = np.isfinite(ahead[links.first[mine]]) | np.isfinite(back[links.second[mine]])
    return FeedLinks(feed, cut, np.zeros(links.count))


def beside(links: Links, feed: FeedLinks) -> FloatArray:
    """Return the factor that reopens links which only the feed line's own edge narrows.

    The outline under a feed is no wall: between two cells that both meet the feed, the flow
    along it is that of whole cells.
    """
    met = feed.feed_m3 > 0
    both = met[links.first] & met[links.second] & ~feed.cut
    factor = np.ones(len(links.first))
    factor[both] = 1.0 / links.open_share[both]
    return factor


def _circle(centre_mm: tuple[float, float], a_mm: float, b_mm: float, turn: float) -> FloatArray:
    angle = (np.arange(64) + 0.5) * (2 * np.pi / 64)
    grow = np.sqrt((2 * np.pi / 64) / np.sin(2 * np.pi / 64))
    x, y = grow * a_mm * np.cos(angle), grow * b_mm * np.sin(angle)
    c, s = np.cos(turn), np.sin(turn)
    return np.column_stack([centre_mm[0] + c * x - s * y, centre_mm[1] + s * x + c * y])


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
        Equivalent radius: in an uneven stack the feed is taken as the ellipse of the same area
        whose axes go as sqrt(K1/K2), for which the ellipse law of the front is exact.
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
    values, vectors = np.linalg.eigh(tensor_m3)
    stretch = float((values[1] / values[0]) ** 0.25)
    turn = float(np.arctan2(vectors[1, 1], vectors[0, 1]))
    shape = (radius_mm * stretch, radius_mm / stretch, turn)
    if radius_mm / stretch > RESOLVED * max(grid.dx_mm, grid.dy_mm):
        rim = _circle(centre_mm, *shape)
        wide = line_feed(links, np.vstack([rim, rim[:1]]), resistance_mm)
        return replace(wide, lost_m3=_lost(links, rim))
    place = grid.cells(np.array(centre_mm))
    corner = np.floor(place)
    ratio = tuple(np.round(np.append(tensor_m3.ravel() / np.trace(tensor_m3), place - corner), 6))
    size = (grid.dx_mm, grid.dy_mm)
    local, tie = _calibrated(ratio, size, radius_mm)
    scale = float(np.trace(tensor_m3))
    middle = links.number.shape
    feed = np.zeros(links.count)
    for (col, row), weight in zip(local, tie, strict=True):
        r, c = int(corner[1]) + row, int(corner[0]) + col
        if 0 <= r < middle[0] and 0 <= c < middle[1] and links.number[r, c] >= 0:
            feed[links.number[r, c]] += scale * weight
    if resistance_mm > 0 and feed.any():
        k_e = float(np.sqrt(values[0] * values[1]))
        more = resistance_mm / (2 * np.pi * radius_mm * k_e)
        feed /= 1.0 + more * feed.sum()
    lost = _lost(links, _circle(centre_mm, *shape))
    return FeedLinks(feed, np.zeros(len(links.first), bool), lost)


def _lost(links: Links, rim_mm: FloatArray) -> FloatArray:
    """Return the pore volume of each cell that a feed's own area takes away."""
    own = coverage(rim_mm, links.grid)[links.number >= 0]
    return np.minimum(own, 0.98) * links.pore_m3


@lru_cache(maxsize=64)
def _calibrated(
    ratio: tuple[float, ...], size_mm: tuple[float, float], radius_mm: float
) -> tuple[tuple[Offset, ...], tuple[float, ...]]:
    """Find the ties of a round feed on an endless sheet whose tensor has trace 1."""
    tensor = np.array(ratio[:4]).reshape(2, 2)
    place = np.array(ratio[4:])
    centre = (float(place[0] * size_mm[0]), float(place[1] * size_mm[1]))
    values, vectors = np.linalg.eigh(tensor)
    k_e = float(np.sqrt(values[0] * values[1]))
    stretch = float((values[1] / values[0]) ** 0.25)
    turn = float(np.arctan2(vectors[1, 1], vectors[0, 1]))
    reach = radius_mm + 0.5 * min(size_mm)
    half = max(HALF_BOX, int(np.ceil(2.5 * reach * stretch / min(size_mm))))
    count = 2 * half + 1
    grid = Grid(-half * size_mm[0], -half * size_mm[1], *size_mm, count, count)
    disc = coverage(_circle(centre, reach * stretch, reach / stretch, turn), grid)
    x, y = np.meshgrid(grid.x_mm - centre[0], grid.y_mm - centre[1])
    metric = np.linalg.inv(tensor) * k_e
    log_r = 0.5 * np.log(
        metric[0, 0] * x * x + 2 * metric[0, 1] * x * y + metric[1, 1] * y * y + 1e-9
    )
    row, col = np.nonzero(disc > 1e-6)
    share = disc[row, col]
    inner, pull = _sheet_inverse(tensor, size_mm, count, row * count + col, log_r.ravel())
    target = np.log(radius_mm)

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
    ties = np.exp((low + high) / 2) * share
    spots = tuple((int(c) - half, int(r) - half) for r, c in zip(row, col, strict=True))
    return spots, tuple(float(tie) for tie in ties)


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
