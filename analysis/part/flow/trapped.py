"""Where air is cut off from every vent, how much, and where it ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from analysis.part.grid.network import Links, laplacian
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

    cells: list[int]
    ends: list[int]
    vented: bool
    share: float = 0.0


@dataclass
class _Backwards:
    """Takes the cells from the last that wets to the first, and joins the dry areas they make."""

    arrival: FloatArray
    share: FloatArray
    vents: BoolArray
    big: float
    owner: list[int] = field(init=False)
    areas: dict[int, _Area] = field(default_factory=dict)
    closed: list[tuple[_Area, float]] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Start with a part that is wet all over."""
        self.owner = [-1] * len(self.arrival)

    def take(self, cell: int, neighbours: Sequence[int]) -> None:
        """Take the next cell, which was dry until now, with all that were dry longer."""
        beside = {self.owner[n] for n in neighbours if self.owner[n] >= 0}
        vented = bool(self.vents[cell])
        if not beside:
            self.areas[cell] = _Area([cell], [cell], vented, float(self.share[cell]))
            self.owner[cell] = cell
            return
        if vented or any(self.areas[k].vented for k in beside):
            self._close([k for k in beside if not self.areas[k].vented], cell)
        main = max(beside, key=lambda k: len(self.areas[k].cells))
        for other in beside - {main}:
            self._join(main, other)
        area = self.areas[main]
        area.cells.append(cell)
        area.share += float(self.share[cell])
        area.vented = area.vented or vented
        self.owner[cell] = main

    def _close(self, names: list[int], cell: int) -> None:
        """Note the areas that had no vent until this cell joined them to one."""
        for name in names:
            area = self.areas[name]
            if area.share >= self.big:
                kept = _Area(list(area.cells), list(area.ends), False, area.share)
                self.closed.append((kept, float(self.arrival[cell])))

    def _join(self, main: int, other: int) -> None:
        """Join one area to another; each keeps its own end if it was large by itself."""
        area, small = self.areas[main], self.areas.pop(other)
        ends = [e for one in (area, small) if one.share >= self.big for e in one.ends]
        area.ends = ends or [max(area.ends + small.ends, key=lambda e: self.arrival[e])]
        area.cells += small.cells
        area.share += small.share
        area.vented = area.vented or small.vented
        for cell in small.cells:
            self.owner[cell] = main

    def rest(self) -> list[tuple[_Area, float]]:
        """Return the areas without a vent, those that never had one among them."""
        never = [(a, 0.0) for a in self.areas.values() if not a.vented and a.share >= self.big]
        return [*self.closed, *never]


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
    back = _Backwards(arrival, links.share, on_vent, big)
    order = np.argsort(-arrival, kind="stable")
    matrix = laplacian(links)
    indptr, indices = matrix.indptr, matrix.indices
    for cell in order[np.isfinite(arrival[order])].tolist():
        back.take(cell, indices[indptr[cell] : indptr[cell + 1]].tolist())
    inside = np.zeros(links.count, bool)
    found = []
    brief = BRIEF * float(np.max(arrival, initial=0.0, where=np.isfinite(arrival)))
    for area, impulse in sorted(back.rest(), key=lambda pair: -pair[0].share):
        if max(arrival[end] for end in area.ends) - impulse <= brief:
            continue
        inside[area.cells] = True
        spots = _spots(links.centre_mm, arrival, area, impulse)
        area_mm2 = area.share * links.grid.cell_m2 * 1e6
        found.append(TrappedAir(*spots[0], spots, area_mm2, impulse))
    return tuple(found), inside


def _spots(
    centre_mm: FloatArray, arrival: FloatArray, area: _Area, impulse: float
) -> tuple[tuple[float, float], ...]:
    """Return where an area's air ends, latest first; of cells that end together the middle one."""
    ends = sorted(area.ends, key=lambda cell: -arrival[cell])
    cells = np.array(area.cells)
    away = np.hypot(*(centre_mm[cells][:, None] - centre_mm[ends][None]).transpose(2, 0, 1))
    spots = []
    for k, end in enumerate(ends):
        mine = cells[away.argmin(axis=1) == k]
        last = mine[arrival[mine] >= arrival[end] - TIES * (arrival[end] - impulse)]
        off = np.hypot(*(centre_mm[last] - centre_mm[last].mean(axis=0)).T)
        x, y = centre_mm[last[int(np.argmin(off))]]
        spots.append((float(x), float(y)))
    return tuple(spots)
