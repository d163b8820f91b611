"""Where air is cut off from every vent, how much, and where it ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from analysis.part.grid.cells import IntArray
from analysis.part.grid.network import Links
from vision.records import BoolArray, FloatArray

TRAPPED_SHARE = 1e-3
"""A dry area cut off from every vent is told of when it is larger than this share of the part."""
TRAPPED_CELLS = 4
BRIEF = 2e-3  # an area that closes within this share of the fill time is no trap
TIES = 1e-4  # cells that end within this share of the time since the cut-off end together


@dataclass(frozen=True)
class TrappedAir:
    """A dry area cut off from every open vent.

    Attributes
    ----------
    x_mm, y_mm : float
        Where its air ends: a vent there lets it out.
    ends_mm : tuple of (float, float)
        The same, latest first; more than one where the area falls apart before it closes.
    area_mm2 : float
        When it was cut off.
    impulse : float
        At which it was cut off.
    """

    x_mm: float
    y_mm: float
    ends_mm: tuple[tuple[float, float], ...]
    area_mm2: float
    impulse: float


@dataclass
class _Area:
    """A dry area while it grows, looked at from the end of the filling backwards."""

    basins: list[int]
    ends: list[int]
    vented: bool
    share: float = 0.0  # that it has at least


@dataclass(frozen=True)
class _Cut:
    """An area that was cut off until `impulse`."""

    cells: IntArray
    ends: list[int]
    share: float
    impulse: float


@dataclass(frozen=True)
class _Basins:
    """The cells, each counted to the place where the air goes that leaves it uphill.

    Attributes
    ----------
    order : ndarray of shape (n,), int
        Cells by their basin, and in it from the last that wets to the first.
    rank : ndarray of shape (n,), int
        For each of `order`, its place in the whole part's sequence.
    first : ndarray of shape (B + 1,), int
        Where in `order` each basin begins.
    share : ndarray of shape (n + 1,), float
        Sum of the cells' shares up to each of `order`.
    """

    order: IntArray
    rank: IntArray
    first: IntArray
    share: FloatArray

    def taken(self, basin: int, rank: int) -> tuple[int, int]:
        """Return where in `order` the cells of a basin lie that come before a rank."""
        start, end = int(self.first[basin]), int(self.first[basin + 1])
        return start, start + int(np.searchsorted(self.rank[start:end], rank))

    def share_of(self, basins: Sequence[int], rank: int) -> float:
        """Return the share that some basins have before a rank."""
        spans = (self.taken(basin, rank) for basin in basins)
        return float(sum(self.share[end] - self.share[start] for start, end in spans))

    def cells(self, basins: Sequence[int], rank: int) -> IntArray:
        """Return the cells that some basins have before a rank."""
        spans = [self.taken(basin, rank) for basin in basins]
        return np.concatenate([self.order[start:end] for start, end in spans])


@dataclass
class _Backwards:
    """Goes from the last cell that wets to the first, and joins the dry areas that arise."""

    arrival: FloatArray
    basins: _Basins
    big: float
    owner: list[int]
    areas: dict[int, _Area] = field(default_factory=dict)
    closed: list[_Cut] = field(default_factory=list)

    def take(self, rank: int, cell: int, beside: Sequence[int], vented: bool) -> None:
        """Take a cell at which an area begins, basins meet, or a vent lies."""
        names = sorted({self.owner[basin] for basin in beside})
        if vented or any(self.areas[name].vented for name in names):
            for name in names:
                self._close(name, rank, cell)
        main = max(names, key=lambda name: len(self.areas[name].basins))
        for other in names:
            if other != main:
                self._join(main, other, rank)
        self.areas[main].vented = self.areas[main].vented or vented

    def begin(self, basin: int, cell: int, vented: bool) -> None:
        """Begin an area at the last cell of its neighbourhood."""
        self.areas[basin] = _Area([basin], [cell], vented)

    def _is_big(self, area: _Area, rank: int) -> bool:
        if area.share < self.big:
            area.share = self.basins.share_of(area.basins, rank)
        return area.share >= self.big

    def _close(self, name: int, rank: int, cell: int) -> None:
        """Note an area that had no vent until a cell joined it to one."""
        area = self.areas[name]
        if not area.vented and self._is_big(area, rank):
            self._note(area, rank, float(self.arrival[cell]))

    def _note(self, area: _Area, rank: int, impulse: float) -> None:
        share = self.basins.share_of(area.basins, rank)
        cells = self.basins.cells(area.basins, rank)
        self.closed.append(_Cut(cells, list(area.ends), share, impulse))

    def _join(self, main: int, other: int, rank: int) -> None:
        """Join one area to another; each keeps its own end if it was large by itself."""
        area, small = self.areas[main], self.areas.pop(other)
        ends = [e for one in (area, small) if self._is_big(one, rank) for e in one.ends]
        area.ends = ends or [max(area.ends + small.ends, key=lambda e: self.arrival[e])]
        for basin in small.basins:
            self.owner[basin] = main
        area.basins += small.basins
        area.share += small.share
        area.vented = area.vented or small.vented

    def rest(self, rank: int) -> list[_Cut]:
        """Return the areas without a vent, those that never had one among them."""
        for area in self.areas.values():
            if not area.vented and self._is_big(area, rank):
                self._note(area, rank, 0.0)
        return self.closed


def _gather(links: Links, arrival: FloatArray, on_vent: BoolArray, big: float) -> list[_Cut]:
    """Go through the filling backwards; only where something happens is it looked at by cell."""
    order = np.argsort(-arrival, kind="stable")
    order = order[np.isfinite(arrival[order])]
    count = len(order)
    rank = np.full(links.count, count)
    rank[order] = np.arange(count)
    first, second = links.first, links.second
    both = (rank[first] < count) & (rank[second] < count) & (links.flow_m3 != 0)
    first, second = first[both], second[both]
    early = np.where(rank[first] < rank[second], first, second)
    late = first + second - early
    # Each cell leads to its neighbour that wets last of all, and so on up to a peak.
    best = rank.copy()
    np.minimum.at(best, late, rank[early])
    lead = np.arange(links.count)
    lead[order] = order[best[order]]
    while not np.array_equal(further := lead[lead], lead):
        lead = further
    peaks = order[lead[order] == order]
    number = np.full(links.count, -1)
    number[peaks] = np.arange(len(peaks))
    basin = number[lead]
    # Two basins meet once: at the first cell that has a neighbour in the other.
    cross = basin[early] != basin[late]
    early, late = early[cross], late[cross]
    at = rank[late]
    pair = np.sort(np.column_stack([basin[early], basin[late]]), axis=1)
    sort = np.lexsort((at, pair[:, 1], pair[:, 0]))
    fresh = np.append(True, np.any(np.diff(pair[sort], axis=0) != 0, axis=1))[: len(sort)]
    met = sort[fresh]
    sequence = np.lexsort((rank[order], basin[order]))
    laid = order[sequence]
    basins = _Basins(
        laid,
        rank[laid],
        np.searchsorted(basin[laid], np.arange(len(peaks) + 1)),
        np.concatenate([[0.0], np.cumsum(links.share[laid])]),
    )
    back = _Backwards(arrival, basins, big, list(range(len(peaks))))
    events: dict[int, set[int]] = {}
    for r, b in zip(at[met].tolist(), pair[met].tolist(), strict=True):
        events.setdefault(r, set()).update(b)
    vents = set(rank[on_vent & (rank < count)].tolist())
    for r in sorted({*events, *vents, *rank[peaks].tolist()}):
        cell = int(order[r])
        if number[cell] >= 0:
            back.begin(int(number[cell]), cell, r in vents)
        else:
            back.take(r, cell, sorted({int(basin[cell]), *events.get(r, ())}), r in vents)
    return back.rest(count)


def find_trapped(
    links: Links, arrival: FloatArray, vents: Sequence[BoolArray]
) -> tuple[tuple[TrappedAir, ...], BoolArray]:
    """Find the dry areas that lose their last vent before they are wet.

    Parameters
    ----------
    links : Links
        The part.
    arrival : ndarray of shape (n,)
        When each cell wets; infinity where it never does.
    vents : sequence of ndarray of shape (n,), bool
        Where each vent lies. A vent is open until all of it is wet.

    Returns
    -------
    trapped : tuple of TrappedAir
        The largest first.
    inside : ndarray of shape (n,), bool
        The cells of all of them.

    Notes
    -----
    The dry part at any moment is what wets later. Gone through backwards, from the last cell to
    the first, dry areas appear where air ends, grow, and join; one is cut off from the air until
    it joins an area with a vent (the tree of a map's upper level sets; common practice, no
    source).
    """
    on_vent = np.zeros(links.count, bool)
    for vent in vents:
        on_vent |= vent
    part = float(links.share.sum())
    big = max(TRAPPED_SHARE * part, TRAPPED_CELLS)
    inside = np.zeros(links.count, bool)
    found = []
    brief = BRIEF * float(np.max(arrival, initial=0.0, where=np.isfinite(arrival)))
    for cut in sorted(_gather(links, arrival, on_vent, big), key=lambda cut: -cut.share):
        if max(arrival[end] for end in cut.ends) - cut.impulse <= brief:
            continue
        inside[cut.cells] = True
        spots = _spots(links.centre_mm, arrival, cut)
        area_mm2 = cut.share * links.grid.cell_m2 * 1e6
        found.append(TrappedAir(*spots[0], spots, area_mm2, cut.impulse))
    return tuple(found), inside


def _spots(
    centre_mm: FloatArray, arrival: FloatArray, cut: _Cut
) -> tuple[tuple[float, float], ...]:
    """Return where an area's air ends, latest first; of cells that end together the middle one."""
    ends = sorted(cut.ends, key=lambda cell: -arrival[cell])
    nearest = np.full(len(cut.cells), np.inf)
    whose = np.zeros(len(cut.cells), int)
    for k, end in enumerate(ends):
        away = np.hypot(*(centre_mm[cut.cells] - centre_mm[end]).T)
        whose[away < nearest] = k
        nearest = np.minimum(nearest, away)
    spots = []
    for k, end in enumerate(ends):
        mine = cut.cells[whose == k]
        last = mine[arrival[mine] >= arrival[end] - TIES * (arrival[end] - cut.impulse)]
        off = np.hypot(*(centre_mm[last] - centre_mm[last].mean(axis=0)).T)
        x, y = centre_mm[last[int(np.argmin(off))]]
        spots.append((float(x), float(y)))
    return tuple(spots)
