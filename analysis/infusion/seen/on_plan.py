"""What the camera saw of a part, brought to the cells of the plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from analysis.part.grid.network import Links
from vision.records import BoolArray, FloatArray, IntArray

LEAST_SEEN = 0.5
"""Share of a cell's pixels that must have been seen for the cell to be."""


class ArrivalSeen(Protocol):
    """Arrival as seen on its own grid: of a `PartSeen`, or as a run left it."""

    @property
    def x_mm(self) -> FloatArray: ...  # noqa: D102
    @property
    def y_mm(self) -> FloatArray: ...  # noqa: D102
    @property
    def inside(self) -> BoolArray: ...  # noqa: D102
    @property
    def time_s(self) -> FloatArray: ...  # noqa: D102
    @property
    def sd_s(self) -> FloatArray: ...  # noqa: D102
    @property
    def seen(self) -> BoolArray: ...  # noqa: D102
    @property
    def last_s(self) -> float: ...  # noqa: D102
    @property
    def start_sd_s(self) -> float: ...  # noqa: D102


@dataclass(frozen=True)
class SeenOnPlan:
    """Arrival as seen, cell by cell of the plan; arrays of shape (cells,).

    Attributes
    ----------
    links : Links
        The plan's grid; cells are numbered as there, channels left out.
    time_s : ndarray, float
        Seconds since resin start; infinity where dry when last seen; NaN where the picture holds
        nothing of the cell.
    sd_s : ndarray, float
        Standard uncertainty of each time by itself; NaN where the time is not finite.
    seen : ndarray, bool
        False where it was filled from around it, or not in the picture.
    last_s : float
        Until when was watched.
    start_sd_s : float
        Standard uncertainty of resin start, which moves all times together.
    """

    links: Links
    time_s: FloatArray
    sd_s: FloatArray
    seen: BoolArray
    last_s: float
    start_sd_s: float

    @property
    def wet(self) -> BoolArray:
        """Cells that were wet when last seen, filled ones too."""
        return np.isfinite(self.time_s)


def bring_on_plan(seen: ArrivalSeen, links: Links) -> SeenOnPlan:
    """Bring what was seen to the cells of a plan.

    Parameters
    ----------
    seen : ArrivalSeen
        Such as a `vision.part_records.PartSeen`.
    links : Links
        The plan's grid.

    Returns
    -------
    SeenOnPlan
        A cell takes the median of the pixels whose centres lie in it, of those seen if at least
        half of them were; a cell smaller than a pixel takes the pixel at its centre.
    """
    cells = links.cells
    pixel, owner = _pixels_by_cell(seen, links)
    order = np.lexsort((np.nan_to_num(seen.time_s.ravel()[pixel], posinf=np.inf), owner))
    pixel, owner = pixel[order], owner[order]
    total = np.bincount(owner, minlength=cells)
    clear = seen.seen.ravel()[pixel]
    share = np.bincount(owner, clear, cells) / np.maximum(total, 1)
    told = share >= LEAST_SEEN
    kept = clear | ~told[owner]
    middle = _middles(owner[kept], cells)
    time_s, sd_s = np.full(cells, np.nan), np.full(cells, np.nan)
    some = middle >= 0
    chosen = pixel[kept][middle[some]]
    time_s[some], sd_s[some] = seen.time_s.ravel()[chosen], seen.sd_s.ravel()[chosen]
    sd_s[~np.isfinite(time_s)] = np.nan
    return SeenOnPlan(links, time_s, sd_s, told & some, seen.last_s, seen.start_sd_s)


def _pixels_by_cell(seen: ArrivalSeen, links: Links) -> tuple[IntArray, IntArray]:
    """Return pixels of the part and the cell each belongs to; every cell in the picture has one."""
    grid = links.grid
    col = np.floor((seen.x_mm - grid.x0_mm) / grid.dx_mm).astype(int)
    row = np.floor((seen.y_mm - grid.y0_mm) / grid.dy_mm).astype(int)
    on = ((row >= 0) & (row < grid.ny))[:, None] & ((col >= 0) & (col < grid.nx))[None, :]
    on &= seen.inside
    number = links.number[np.clip(row, 0, grid.ny - 1)[:, None], np.clip(col, 0, grid.nx - 1)]
    pixel = np.flatnonzero(on & (number >= 0))
    owner = number.ravel()[pixel]
    empty = np.flatnonzero(np.bincount(owner, minlength=links.cells)[: links.cells] == 0)
    centre = links.centre_mm[empty]
    near_col = _nearest(seen.x_mm, centre[:, 0])
    near_row = _nearest(seen.y_mm, centre[:, 1])
    there = (near_col >= 0) & (near_row >= 0)
    there[there] &= seen.inside[near_row[there], near_col[there]]
    more = near_row[there] * len(seen.x_mm) + near_col[there]
    return np.concatenate([pixel, more]), np.concatenate([owner, empty[there]])


def _nearest(centres: FloatArray, values: FloatArray) -> IntArray:
    """Return the index of the pixel in whose reach each value lies; -1 beyond all of them."""
    size = float(np.abs(np.diff(centres)).mean()) if len(centres) > 1 else 1.0
    sign = 1.0 if len(centres) < 2 or centres[-1] > centres[0] else -1.0
    index = np.rint(sign * (values - centres[0]) / size).astype(int)
    return np.where((index >= 0) & (index < len(centres)), index, -1)


def _middles(owner: IntArray, cells: int) -> IntArray:
    """Return the place of the middle one of each owner's run in a sorted list; -1 where none."""
    count = np.bincount(owner, minlength=cells)[:cells]
    first = np.concatenate([[0], np.cumsum(count)[:-1]])
    return np.where(count > 0, first + (count - 1) // 2, -1)
