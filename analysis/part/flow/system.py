"""A plan put on a grid: the matrix, the feeds and the pores of each cell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import scipy.sparse as sparse
from scipy.spatial import cKDTree

from analysis.part.flow import multigrid
from analysis.part.flow.feeds_on_grid import FeedLinks, beside, line_feed, point_feed
from analysis.part.flow.grid import IntArray, clip_share, coverage, lay_grid
from analysis.part.flow.network import (
    Links,
    assemble,
    laplacian,
    permeability_tensor,
    unreached,
)
from analysis.part.plan.plan import Gap, PartFeed, PartPlan, PartStack, Place
from vision.errors import WetlineError
from vision.records import BoolArray, FloatArray


@dataclass(frozen=True)
class Canvas:
    """A part on its grid, before any feed is laid on it.

    Attributes
    ----------
    links : Links
    stack : ndarray of shape (n,), int
        Which stack of the plan each cell has.
    tensors_m3 : tuple of ndarray of shape (2, 2)
        Permeability times thickness per stack.
    """

    links: Links
    stack: IntArray
    tensors_m3: tuple[FloatArray, ...]


@dataclass(frozen=True)
class System:
    """The discrete filling problem for one set of open feeds.

    Attributes
    ----------
    matrix : csr_array of shape (n, n)
        Symmetric, positive definite, no positive entry off the diagonal; its row sums are
        `feed_m3`.
    feed_m3 : ndarray of shape (n,)
        Flow from the feeds into each cell per unit of impulse.
    pore_m3 : ndarray of shape (n,)
        Pore volume of each cell.
    groups : tuple of ndarray
        Groups of cells for the multigrid cycle.
    """

    links: Links
    matrix: Any
    feed_m3: FloatArray
    pore_m3: FloatArray
    groups: tuple[IntArray, ...]


def tensor_m3(stack: PartStack, factor: float = 1.0) -> FloatArray:
    """Return permeability times thickness of a stack."""
    tensor = permeability_tensor(stack.k1_m2, stack.k2_m2, stack.angle_deg)
    return np.asarray(tensor * (factor * stack.thickness_mm * 1e-3))


def lay_canvas(plan: PartPlan, cells: int | None = None, factors: Sequence[float] = ()) -> Canvas:
    """Put a plan's outline, zones and gaps on a grid.

    Parameters
    ----------
    plan : PartPlan
        The part.
    cells : int, optional
        Along the longest side; by default the plan's own.
    factors : sequence of float
        Factor on the permeability of each of ``plan.stacks``; by default 1.

    Raises
    ------
    WetlineError
        If nothing of the part is left on so coarse a grid.
    """
    grid = lay_grid(plan.outline_mm, cells or plan.cells)
    share, open_x, open_y = clip_share(plan.outline_mm, plan.holes_mm, grid)
    stack = np.zeros(grid.shape, int)
    pore_m = np.full(grid.shape, plan.stack.porosity * plan.stack.thickness_mm * 1e-3)
    for index, zone in enumerate(plan.zones, start=1):
        part = coverage(zone.points_mm, grid)
        own = zone.stack.porosity * zone.stack.thickness_mm * 1e-3
        pore_m = pore_m * (1 - part) + own * part
        stack[part > 0.5 - 1e-9] = index
    factors = tuple(factors) or (1.0,) * len(plan.stacks)
    tensors = tuple(tensor_m3(s, f) for s, f in zip(plan.stacks, factors, strict=True))
    walls = (plan.outline_mm, *plan.holes_mm)
    links = assemble(grid, share, open_x, open_y, stack, tensors, pore_m, walls)
    if links.count == 0:
        raise WetlineError("[grid] cells: nothing of the part is left on the grid: use more cells")
    for gap in plan.gaps:
        links = _with_gap(links, gap)
    return Canvas(links, stack[links.number >= 0], tensors)


def _with_gap(links: Links, gap: Gap) -> Links:
    """Add a channel along a line: quick links from cell to cell, and its own pores."""
    chain, length_m = trace(links, gap.line_mm)
    first, second = chain[:-1], chain[1:]
    area_m2 = gap.width_mm * gap.thickness_mm * 1e-6
    count = len(first)
    if count == 0:
        return links
    flow = np.full(count, gap.k_m2 * area_m2 * count / length_m)
    pore = links.pore_m3.copy()
    np.add.at(pore, chain, area_m2 * length_m / len(chain))
    return replace(
        links,
        pore_m3=pore,
        first=np.concatenate([links.first, first]),
        second=np.concatenate([links.second, second]),
        offset=np.concatenate([links.offset, np.zeros((count, 2), int)]),
        flow_m3=np.concatenate([links.flow_m3, flow]),
        open_share=np.concatenate([links.open_share, np.ones(count)]),
    )


def trace(links: Links, line_mm: FloatArray) -> tuple[IntArray, float]:
    """List the cells along a line in order, and its length in metres.

    Each point of the line goes to the nearest cell of the part.
    """
    cells = nearest_cells(links, along(links, line_mm))
    change = np.flatnonzero(np.diff(cells, prepend=-1))
    length_m = float(np.hypot(*np.diff(line_mm, axis=0).T).sum()) * 1e-3
    return cells[change], length_m


def along(links: Links, line_mm: FloatArray) -> FloatArray:
    """Return points along a line, a quarter of a cell apart."""
    step = 0.25 * min(links.grid.dx_mm, links.grid.dy_mm)
    points = [line_mm[:1]]
    for a, b in pairwise(line_mm):
        count = max(1, int(np.ceil(np.hypot(*(b - a)) / step)))
        points.append(a + (np.arange(1, count + 1) / count)[:, None] * (b - a))
    return np.concatenate(points)


def nearest_cells(links: Links, points_mm: FloatArray) -> IntArray:
    """Return the number of the cell nearest to each point, of those at least half in the part."""
    whole = links.pore_m3 > 0.5 * np.median(links.pore_m3)
    cells = np.flatnonzero(whole)
    if len(points_mm) == 1:
        away = links.centre_mm[cells] - points_mm[0]
        return cells[[int(np.argmin((away**2).sum(axis=1)))]]
    return np.asarray(cells[cKDTree(links.centre_mm[cells]).query(points_mm)[1]])


def feed_links(canvas: Canvas, place: Place, resistance_mm: float = 0.0) -> FeedLinks:
    """Lay one feed on the grid."""
    if place.is_line:
        return line_feed(canvas.links, place.points_mm, resistance_mm)
    cell = int(nearest_cells(canvas.links, place.points_mm)[0])
    tensor = canvas.tensors_m3[int(canvas.stack[cell])]
    point = (float(place.points_mm[0, 0]), float(place.points_mm[0, 1]))
    return point_feed(canvas.links, point, place.radius_mm, tensor, resistance_mm)


def open_feeds(canvas: Canvas, feeds: Sequence[PartFeed]) -> System:
    """Make the filling problem for feeds that are open together.

    Raises
    ------
    WetlineError
        If no feed touches the part, or a piece of the part is beyond the reach of all.
    """
    links = canvas.links
    total = np.zeros(links.count)
    keep = np.ones(len(links.first))
    lost = np.zeros(links.count)
    for feed in feeds:
        laid = feed_links(canvas, feed.place, feed.resistance_mm)
        if not laid.feed_m3.any():
            raise WetlineError(
                f"[[feed]] {feed.name}: touches no cell of the part: move it onto the part"
            )
        total += laid.feed_m3
        if laid.cut.any() or feed.place.is_line:
            keep *= np.where(laid.cut, 0.0, beside(links, laid))
        lost = np.maximum(lost, laid.lost_m3)
    return make_system(links, total, keep, links.pore_m3 - lost)


def make_system(links: Links, feed_m3: FloatArray, keep: FloatArray, pore_m3: FloatArray) -> System:
    """Join links, feeds and pores; cells that nothing reaches are left out of the filling."""
    matrix = laplacian(links, keep)
    lonely = unreached(matrix, feed_m3)
    if lonely.any():
        volume = float(pore_m3[lonely].sum() / pore_m3.sum())
        if volume > 0.01:
            raise WetlineError(
                f"[outline] {100 * volume:.0f} % of the part cannot be reached from any feed: "
                "it is cut off by holes or necks narrower than a cell: mend the outline or raise "
                "[grid] cells"
            )
        feed_m3 = np.where(lonely, feed_m3.max(), feed_m3)
        pore_m3 = np.where(lonely, 0.0, pore_m3)
    matrix = (matrix + sparse.diags_array(feed_m3)).tocsr()
    return System(links, matrix, feed_m3, pore_m3, multigrid.group(matrix))


def fill_impulse(
    system: System, pore_m3: FloatArray | None = None, guess: FloatArray | None = None
) -> FloatArray:
    """Solve for w, whose greatest value is the impulse at which the part is just full.

    Parameters
    ----------
    system : System
        The filling problem.
    pore_m3 : ndarray of shape (n,), optional
        Pores still to fill; by default all.
    guess : ndarray of shape (n,), optional
        Where to start.

    Returns
    -------
    w : ndarray of shape (n,)
        -div(K h grad w) = porosity h, w = 0 on the feeds, no flow through walls.

    Notes
    -----
    u = theta - w is nowhere negative once theta reaches max w, and then solves the obstacle
    problem (Elliott and Janovsky, Proc. R. Soc. Edinburgh A 88, 93-107, 1981), so the part is
    full at theta = max w and the last spot is where w is greatest. It holds for any outline,
    permeability and porosity, for feeds that are open together.
    """
    pores = system.pore_m3 if pore_m3 is None else pore_m3
    every = np.arange(len(pores))
    tolerance = 1e-10 * float(pores.max(initial=0.0))
    if len(pores) <= multigrid.DIRECT_BELOW:
        return np.asarray(multigrid.direct(system.matrix).solve(pores))
    hierarchy = multigrid.build(system.matrix, system.groups, every)
    return multigrid.solve(system.matrix, pores, hierarchy, guess, tolerance)[0]


def near(links: Links, place: Place) -> BoolArray:
    """Find which cells a vent or feed lies on."""
    hit = np.zeros(links.count, bool)
    hit[
        trace(links, place.points_mm)[0] if place.is_line else nearest_cells(links, place.points_mm)
    ] = True
    if place.radius_mm:
        away = np.hypot(*(links.centre_mm - place.points_mm[0]).T)
        hit |= away <= place.radius_mm
    return hit
