"""Feed lines on the grid: where they cut the links between cells.

Tested in tests/analysis/part/flow/test_closed_forms.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analysis.part.grid.network import Links
from vision.records import FloatArray

NEAREST = 1e-6  # a feed is never taken as nearer to a cell than this share of a link
AT_CENTRE = 2e-9  # share of a link within which a line goes through a cell's centre
LONGEST_END = 1.5  # link lengths over which a line's loose end is shared out at most


@dataclass(frozen=True)
class FeedLinks:
    """What one feed does to a part's links.

    Attributes
    ----------
    feed_m3 : ndarray of shape (n,)
        Flow from the feed into each cell per unit of impulse difference.
    keep : ndarray of shape (L,)
        What the feed leaves of each link: 0 where a line crosses it, and so severs it.
    lost_m3 : ndarray of shape (n,)
        Pore volume taken away by a round feed's own area.
    """

    feed_m3: FloatArray
    keep: FloatArray
    lost_m3: FloatArray


def _crossings(
    links: Links, e_mm: FloatArray, line_mm: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Find where the step `e_mm` from each cell's centre first meets the line.

    Returns
    -------
    share : ndarray of shape (n,)
        Of the step; infinity where it does not meet the line.
    part : ndarray of shape (n,)
        How much of the link's width the line covers, from 0 to 1: less than 1 only where the
        line ends within that width.
    """
    grid, centre = links.grid, links.centre_mm
    share, part = np.full(links.count, np.inf), np.zeros(links.count)
    size = np.array([grid.dx_mm, grid.dy_mm])
    reach = 2 * np.abs(e_mm) / size + 2
    last = len(line_mm) - 2
    loose = not np.array_equal(line_mm[0], line_mm[-1])
    for k, (a, b) in enumerate(pairwise(line_mm)):
        segment = b - a
        across = float(e_mm[0] * segment[1] - e_mm[1] * segment[0])
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
        wide = min(size.prod() / abs(across), LONGEST_END * np.hypot(*e_mm) / np.hypot(*segment))
        covered = _covered(where, wide, loose and k == 0, loose and k == last)
        hit = (along > -AT_CENTRE / 2) & (along < 1 + AT_CENTRE / 2) & (covered > 1e-9)
        first = hit & (along < share[near])
        share[near[first]] = np.maximum(along[first], 0.0)
        part[near[first]] = covered[first]
    return share, part


def _covered(where: FloatArray, wide: float, from_start: bool, to_end: bool) -> FloatArray:
    """Return how much of a width about `where` a segment from 0 to 1 covers.

    At an end where the line goes on it counts wholly; at a loose end by what lies on the line.
    """
    low = (where + wide / 2) / wide if from_start else (where > -1e-9).astype(float)
    high = (1 - where + wide / 2) / wide if to_end else (where < 1 + 1e-9).astype(float)
    return np.clip(low, 0.0, 1.0) * np.clip(high, 0.0, 1.0)


def lay_line(
    links: Links, line_mm: FloatArray, resistance_mm: float = 0.0, *, rim: bool = False
) -> FeedLinks:
    """Lay a feed line on the part as it is drawn: each link that meets it ends there.

    Parameters
    ----------
    links : Links
        The part.
    line_mm : ndarray of shape (P, 2)
        Two or more points; closed when the last repeats the first.
    resistance_mm : float
        Length of stack that would slow the resin as much as the line does: the `a` of
        x^2 + 2 a x, on each side where both take the same.
    rim : bool
        Whether the line is the rim of a round feed, which feeds outwards only.

    Notes
    -----
    A link that meets the line after a share `s` of its length carries 1/s times as much: the
    second-order symmetric treatment of Gibou, Fedkiw, Cheng, Kang, J. Comput. Phys. 176,
    205-227, 2002 (from memory). A feed on the outline, which no link crosses from cell to cell,
    is met by the links that would lead outside. A link stands for the flow through a strip as
    wide as a cell's area over its length; where the line ends within that strip, it takes its
    share of the link, from farther off, and leaves the rest. A line that resists has one pressure
    beneath it: where one side is full, the other has all of it, and the two sides still flow into
    each other. The star of cell, cell and feed is written as a triangle (Kennelly, 1899).
    """
    grid = links.grid
    feed = np.zeros(links.count)
    keep = np.ones(len(links.first))
    crossed = np.zeros(len(links.first), bool)
    for index, e in enumerate(links.offsets):
        step = np.array(e) * (grid.dx_mm, grid.dy_mm)
        ahead, ahead_part = _crossings(links, step, line_mm)
        back, back_part = _crossings(links, -step, line_mm)
        extra = resistance_mm / float(np.hypot(*step))
        mine = np.flatnonzero(np.all(links.offset == e, axis=1))
        first, second = links.first[mine], links.second[mine]
        away, beyond = _from_line(ahead, ahead_part), _from_line(back, back_part)
        keep[mine] = 1.0 - np.maximum(ahead_part[first], back_part[second])
        both = np.isfinite(away[first]) & np.isfinite(beyond[second]) & (extra > 0) & (not rim)
        pairs = first[both], second[both]
        shared = _shared(away[pairs[0]], beyond[pairs[1]], extra)
        keep[mine[both]] += (1.0 - keep[mine[both]]) * shared[2]
        crossed[mine[both]] = True
        for off, part, cells, tie in (
            (away, ahead_part, pairs[0], shared[0]),
            (beyond, back_part, pairs[1], shared[1]),
        ):
            ties = 1.0 / np.maximum(off + extra, NEAREST)
            ties[cells] = tie
            hit = np.flatnonzero(part > 0)
            feed[hit] += part[hit] * links.strength_m3[index, hit] * ties[hit]
    reopened = np.where(crossed, 1.0, _beside(links, feed, keep))
    return FeedLinks(feed, keep * reopened, np.zeros(links.count))


def _from_line(share: FloatArray, part: FloatArray) -> FloatArray:
    """Return how far each cell is from the line, in parts of a link; infinity where it is not."""
    return np.where(part > 0, share + (1.0 - part) / 2, np.inf)


def _shared(
    away: FloatArray, beyond: FloatArray, extra: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the ties of the two cells of a link to a line that resists, and what the link keeps.

    The line's pull is that of both sides; half of it where the line goes through a cell's centre,
    whose other link has the rest. All in parts of the whole link, lengths in parts of its own.
    """
    pull = np.where(np.minimum(away, beyond) < AT_CENTRE, 1.0, 2.0)
    near, far = np.maximum(away, NEAREST), np.maximum(beyond, NEAREST)
    whole = extra * (near + far) + pull * near * far
    return pull * far / whole, pull * near / whole, extra / whole


def _beside(links: Links, feed_m3: FloatArray, keep: FloatArray) -> FloatArray:
    """Return the factor that reopens links which only the feed line's own edge narrows.

    The outline under a feed is no wall: between two cells that both meet the feed, the flow
    along it is that of whole cells.
    """
    met = feed_m3 > 0
    both = met[links.first] & met[links.second] & (keep > 0)
    factor = np.ones(len(links.first))
    factor[both] = 1.0 / links.open_share[both]
    return factor
