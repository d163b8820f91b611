"""Open edge gaps on the grid: channels with nodes of their own, tied to the stack beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise

import numpy as np
from scipy.ndimage import label, minimum

from analysis.part.grid.cells import IntArray
from analysis.part.grid.network import Links, nearest_cells
from analysis.part.plan.outline import line_distance_mm
from analysis.part.plan.plan import Gap, Place
from analysis.part.plan.ports import TOUCH_MM
from vision.records import BoolArray, FloatArray

SAMPLES = 50  # points per node, where feed and gap are held against each other
NEAREST = 0.02  # a feed is never taken as nearer to a gap's node than this share of a cell


@dataclass(frozen=True)
class Channel:
    """A gap on the grid.

    Attributes
    ----------
    gap : Gap
    nodes : ndarray of shape (m,), int
        Their numbers among those of the part, in order along the gap.
    along_mm : ndarray of shape (m,)
        Where each lies along the gap.
    links : ndarray of shape (m - 1,), int
        Numbers of the links from node to node.
    carries_m4 : float
        Permeability times cross-section.
    """

    gap: Gap
    nodes: IntArray
    along_mm: FloatArray
    links: IntArray
    carries_m4: float

    @property
    def length_mm(self) -> float:
        """Length of the gap."""
        return _length_mm(self.gap.line_mm)


def _length_mm(line_mm: FloatArray) -> float:
    return float(np.hypot(*np.diff(line_mm, axis=0).T).sum())


def points_along(line_mm: FloatArray, along_mm: FloatArray) -> FloatArray:
    """Return the points of a line at given lengths from its start, shape (N, 2)."""
    ticks = np.append(0.0, np.cumsum(np.hypot(*np.diff(line_mm, axis=0).T)))
    return np.column_stack([np.interp(along_mm, ticks, line_mm[:, k]) for k in (0, 1)])


def add_gaps(
    links: Links, gaps: Sequence[Gap], tensor_of_cell_m3: FloatArray
) -> tuple[Links, tuple[Channel, ...]]:
    """Lay open channels beside the cells of a part.

    Parameters
    ----------
    links : Links
        The part.
    gaps : sequence of Gap
    tensor_of_cell_m3 : ndarray of shape (n, 2, 2)
        Permeability times thickness of each cell.

    Returns
    -------
    links : Links
        With the channels' nodes after those of the cells.
    channels : tuple of Channel

    Notes
    -----
    A channel has nodes of its own, a cell apart, so that resin races along it before it has
    soaked into the cells beside it. From node to node it carries K A / l, and into the stack at
    its side n K n h over the distance to the cell's centre. Where two gaps touch they are one.
    """
    channels = []
    for gap in gaps:
        links, channel = _with_channel(links, gap, tensor_of_cell_m3)
        channels.append(channel)
    for one, other in combinations(channels, 2):
        links = _where_they_touch(links, one, other)
    return links, tuple(channels)


def _with_channel(links: Links, gap: Gap, tensor_m3: FloatArray) -> tuple[Links, Channel]:
    """Add the nodes of one gap, their links and their pores."""
    length_mm = _length_mm(gap.line_mm)
    step_mm = min(links.grid.dx_mm, links.grid.dy_mm)
    count = max(2, round(length_mm / step_mm))
    along_mm = (np.arange(count) + 0.5) / count * length_mm
    centre = points_along(gap.line_mm, along_mm)
    area_m2 = gap.width_mm * gap.thickness_mm * 1e-6
    nodes = links.count + np.arange(count)
    carries = gap.k_m2 * area_m2
    chain = np.column_stack([nodes[:-1], nodes[1:]])
    flow = np.full(count - 1, carries / (length_mm / count * 1e-3))
    if np.hypot(*(gap.line_mm[0] - gap.line_mm[-1])) < 1e-6 * length_mm:
        chain, flow = np.vstack([chain, [nodes[-1], nodes[0]]]), np.append(flow, flow[0])
    own = np.arange(len(links.first), len(links.first) + len(chain))
    cell, soak = _soak(links, gap, along_mm, length_mm / count, tensor_m3)
    links = replace(
        links,
        pore_m3=np.append(links.pore_m3, np.full(count, area_m2 * length_mm / count * 1e-3)),
        share=np.append(links.share, np.zeros(count)),
        channel_mm=np.concatenate([links.channel_mm, centre]),
    )
    side = np.column_stack([nodes, cell])
    links = joined(links, np.vstack([chain, side]), np.append(flow, soak))
    return links, Channel(gap, nodes, along_mm, own, carries)


def _soak(
    links: Links, gap: Gap, along_mm: FloatArray, step_mm: float, tensor_m3: FloatArray
) -> tuple[IntArray, FloatArray]:
    """Return the cell beside each node, and what flows into it per unit of impulse."""
    centre = points_along(gap.line_mm, along_mm)
    ahead = points_along(gap.line_mm, along_mm + 1e-3 * step_mm)
    behind = points_along(gap.line_mm, along_mm - 1e-3 * step_mm)
    way = (ahead - behind) / np.hypot(*(ahead - behind).T)[:, None]
    normal = np.column_stack([-way[:, 1], way[:, 0]])
    cell = nearest_cells(links, centre)
    away_mm = np.abs(((links.centre_mm[cell] - centre) * normal).sum(axis=1))
    least_mm = 0.25 * min(links.grid.dx_mm, links.grid.dy_mm)
    across_m3 = np.einsum("ki,kij,kj->k", normal, tensor_m3[cell], normal)
    return cell, across_m3 * step_mm / np.maximum(away_mm, least_mm)


def joined(links: Links, pairs: IntArray, flow_m3: FloatArray) -> Links:
    """Return the links with further ones between pairs of nodes, shape (N, 2)."""
    count, pairs = len(pairs), pairs.astype(links.first.dtype)
    return replace(
        links,
        first=np.concatenate([links.first, pairs[:, 0]]),
        second=np.concatenate([links.second, pairs[:, 1]]),
        offset=np.concatenate([links.offset, np.zeros((count, 2), np.int16)]),
        flow_m3=np.concatenate([links.flow_m3, flow_m3]),
        open_share=np.concatenate([links.open_share, np.ones(count)]),
    )


def _where_they_touch(links: Links, one: Channel, other: Channel) -> Links:
    """Join two channels at the nodes that are nearest where their lines touch."""
    reach = TOUCH_MM + max(one.gap.width_mm, other.gap.width_mm)
    mine, theirs = (_sampled(channel) for channel in (one, other))
    gap_mm = line_distance_mm(points_along(one.gap.line_mm, mine), other.gap.line_mm)
    if gap_mm.min() > reach:
        return links
    at = points_along(one.gap.line_mm, mine[[int(np.argmin(gap_mm))]])
    back = theirs[int(np.argmin(np.hypot(*(points_along(other.gap.line_mm, theirs) - at).T)))]
    a = int(np.argmin(np.abs(one.along_mm - mine[int(np.argmin(gap_mm))])))
    b = int(np.argmin(np.abs(other.along_mm - back)))
    ways = [
        max(abs(channel.along_mm[k] - s), NEAREST) * 1e-3 / channel.carries_m4
        for channel, k, s in ((one, a, mine[int(np.argmin(gap_mm))]), (other, b, back))
    ]
    return joined(links, np.array([[one.nodes[a], other.nodes[b]]]), np.array([1.0 / sum(ways)]))


def _sampled(channel: Channel) -> FloatArray:
    """Return lengths along a gap, closer together than its nodes, ends included."""
    return np.linspace(0.0, channel.length_mm, SAMPLES * len(channel.nodes) + 1)


def _touching(channel: Channel, place: Place) -> FloatArray:
    """Return the lengths along a gap at which a feed touches it, where it comes nearest."""
    ticks = _sampled(channel)
    off = line_distance_mm(points_along(channel.gap.line_mm, ticks), place.points_mm)
    off = np.maximum(off - place.radius_mm, 0.0)
    number, count = label(off <= channel.gap.width_mm + TOUCH_MM)
    if not count:
        return ticks[:0]
    nearest = np.append(np.inf, minimum(off, number, np.arange(1, count + 1)))
    hair = (ticks[1] - ticks[0]) / 2
    return ticks[(number > 0) & (off <= nearest[number] + hair)]


def feed_into(
    channel: Channel, place: Place, stack_m3: FloatArray, resistance_mm: float
) -> tuple[FloatArray, BoolArray]:
    """Open a gap into a feed that it touches.

    Parameters
    ----------
    channel : Channel
        The gap.
    place : Place
        The feed.
    stack_m3 : ndarray of shape (2, 2)
        Permeability times thickness of the stack there.
    resistance_mm : float
        Length of that stack that would slow the resin as much as the feed does.

    Returns
    -------
    feed_m3 : ndarray of shape (m,)
        Flow from the feed into each node per unit of impulse difference.
    cut : ndarray of shape (len(links),), bool
        Links from node to node that the feed lies between.
    """
    feed_m3, cut = np.zeros(len(channel.nodes)), np.zeros(len(channel.links), bool)
    touching = _touching(channel, place)
    if not touching.size:
        return feed_m3, cut
    # What the feed resists by is a length of stack; a gap that carries more needs more of it.
    stack = float(np.sqrt(np.linalg.det(stack_m3))) / (channel.gap.thickness_mm * 1e-3)
    more_mm = resistance_mm * channel.gap.k_m2 / stack
    step_mm = channel.length_mm / len(channel.nodes)

    def tie(gap_mm: float) -> float:
        return channel.carries_m4 / (max(gap_mm + more_mm, NEAREST * step_mm) * 1e-3)

    for k, s in enumerate(channel.along_mm):
        before, after = touching[touching <= s], touching[touching > s]
        if before.size and (k == 0 or before[-1] >= channel.along_mm[k - 1]):
            feed_m3[k] += tie(s - before[-1])
        if after.size and (k == len(feed_m3) - 1 or after[0] <= channel.along_mm[k + 1]):
            feed_m3[k] += tie(after[0] - s)
    for k, (low, high) in enumerate(pairwise(channel.along_mm)):
        cut[k] = bool(np.any((touching >= low) & (touching <= high)))
    return feed_m3, cut
