"""A plan's outline, zones and gaps on a grid, before any feed is laid on it.

Tested in tests/analysis/part/flow/test_closed_forms.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from analysis.part.grid.cells import IntArray, clip_share, coverage, lay_grid
from analysis.part.grid.feeds import line_feed, point_feed
from analysis.part.grid.gaps import Channel, add_gaps, feed_into
from analysis.part.grid.lines import FeedLinks
from analysis.part.grid.network import Links, assemble, nearest_cells, permeability_tensor
from analysis.part.plan.outline import line_distance_mm
from analysis.part.plan.plan import PartPlan, PartStack, Place
from vision.errors import WetlineError
from vision.records import BoolArray, FloatArray


@dataclass(frozen=True)
class Canvas:
    """A part on its grid.

    Attributes
    ----------
    links : Links
    stack : ndarray of shape (cells,), int
        Which stack of the plan each cell has.
    tensors_m3 : tuple of ndarray of shape (2, 2)
        Permeability times thickness per stack.
    channels : tuple of Channel
        The edge gaps.
    """

    links: Links
    stack: IntArray
    tensors_m3: tuple[FloatArray, ...]
    channels: tuple[Channel, ...] = ()


def tensor_m3(stack: PartStack, factor: float = 1.0) -> FloatArray:
    """Return permeability times thickness of a stack."""
    tensor = permeability_tensor(stack.k1_m2, stack.k2_m2, stack.angle_deg)
    return np.asarray(tensor * (factor * stack.thickness_mm * 1e-3))


def lay_canvas(plan: PartPlan, cells: int | None = None, factors: Sequence[float] = ()) -> Canvas:
    """Return a plan's outline, zones and gaps on a grid.

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
    shares = clip_share(plan.outline_mm, plan.holes_mm, grid)
    stack = np.zeros(grid.shape, np.int16)
    pore_m = np.full(grid.shape, plan.stack.porosity * plan.stack.thickness_mm * 1e-3)
    for index, zone in enumerate(plan.zones, start=1):
        part = coverage(zone.points_mm, grid)
        own = zone.stack.porosity * zone.stack.thickness_mm * 1e-3
        pore_m = pore_m * (1 - part) + own * part
        stack[part > 0.5 - 1e-9] = index
    factors = tuple(factors) or (1.0,) * len(plan.stacks)
    tensors = tuple(tensor_m3(s, f) for s, f in zip(plan.stacks, factors, strict=True))
    walls = (plan.outline_mm, *plan.holes_mm)
    links = assemble(grid, shares, stack, tensors, pore_m, walls)
    if links.count == 0:
        raise WetlineError("[grid] cells: nothing of the part is left on the grid: use more cells")
    laid = stack[links.number >= 0]
    links, channels = add_gaps(links, plan.gaps, np.stack(tensors)[laid])
    return Canvas(links, laid, tensors, channels)


def feed_links(canvas: Canvas, place: Place, resistance_mm: float = 0.0) -> FeedLinks:
    """Return what one feed does on the grid, with the gaps that open into it."""
    links = canvas.links
    cell = int(nearest_cells(links, place.points_mm)[0])
    tensor = canvas.tensors_m3[int(canvas.stack[cell])]
    if place.is_line:
        laid = line_feed(links, place.points_mm, tensor, resistance_mm)
    else:
        point = (float(place.points_mm[0, 0]), float(place.points_mm[0, 1]))
        laid = point_feed(links, point, place.radius_mm, tensor, resistance_mm)
    for channel in canvas.channels:
        feed_m3, cut = feed_into(channel, place, tensor, resistance_mm)
        if feed_m3.any():
            total, keep = laid.feed_m3.copy(), laid.keep.copy()
            total[channel.nodes] += feed_m3
            keep[channel.links[cut]] = 0.0
            laid = replace(laid, feed_m3=total, keep=keep)
    return laid


def points_on(links: Links, line_mm: FloatArray) -> FloatArray:
    """Return points along a line, a quarter of a cell apart."""
    step = 0.25 * min(links.grid.dx_mm, links.grid.dy_mm)
    points = [line_mm[:1]]
    for a, b in pairwise(line_mm):
        count = max(1, int(np.ceil(np.hypot(*(b - a)) / step)))
        points.append(a + (np.arange(1, count + 1) / count)[:, None] * (b - a))
    return np.concatenate(points)


def lies_on(links: Links, place: Place) -> BoolArray:
    """Find which nodes a vent or feed lies on."""
    hit = np.zeros(links.count, bool)
    points = points_on(links, place.points_mm) if place.is_line else place.points_mm
    hit[nearest_cells(links, points)] = True
    if place.radius_mm:
        hit |= away_mm(links.centre_mm, place) <= 0.0
    return hit


def away_mm(places_mm: FloatArray, place: Place) -> FloatArray:
    """Return how far places, shape (N, 2), are from a vent or feed; below 0 within a point's."""
    if place.is_line:
        return np.asarray(line_distance_mm(places_mm, place.points_mm))
    return np.asarray(np.hypot(*(places_mm - place.points_mm[0]).T) - place.radius_mm)
