"""Judging layouts of feeds on one part: what the part has in common is worked out once.

Tested in tests/analysis/part/search/test_search.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import scipy.sparse as sparse

from analysis.part.flow import multigrid
from analysis.part.grid.canvas import Canvas, feed_links, lies_on
from analysis.part.grid.cells import IntArray
from analysis.part.grid.factor import direct
from analysis.part.grid.lines import FeedLinks
from analysis.part.grid.network import laplacian
from analysis.part.plan.plan import PartPlan, Place
from vision.errors import WetlineError
from vision.records import FloatArray

Layout = tuple[Place, ...]
FEW = 160
"""Layouts that touch at most this many cells are solved through the shared factors."""
FACTOR_BELOW = 15_000
"""Up to this many cells a layout of long lines is solved by factoring, which is quicker."""
KEPT_COLUMNS = 4000
KEPT_PLACES = 300
SHARP = 1e-7
"""Residual left, as a share of an average cell's pores; w is as sharp as that at least."""
QUICK = 1e-3  # the same, where layouts are only ranked: w is off by a few parts in a million
NONE = "a feed of the search touches no cell of the part: enlarge its area"


@dataclass(frozen=True)
class Ranked:
    """One layout and how it fills.

    Attributes
    ----------
    layout : tuple of Place
    total : float
        Impulse at which the part is full.
    last_mm : tuple of (float, float)
    vent_lag : float
        How much later the last spot wets than the last vent, as a share of the total, judged by
        w; 0 where a vent is the last spot.
    """

    layout: Layout
    total: float
    last_mm: tuple[float, float]
    vent_lag: float


class Judge:
    """Judges layouts of one part.

    Notes
    -----
    Feeds change only the rows of the cells they touch. With A0 the part without feeds (one cell
    tied down so that it can be factored) a layout is A0 + E D E', and by Woodbury's identity
    w = A0^-1 (pores - E D y) with (I + G D) y = (A0^-1 pores) on the touched cells, G being A0^-1
    there. G is asked for column by column as cells are first touched, and kept. That is how
    point feeds are judged. A long feed line touches hundreds of cells, and then a fresh solve is
    quicker: by factoring, or on large parts by a multigrid cycle made once, of which only the rows
    near the lines are worked out again.
    """

    def __init__(self, plan: PartPlan, canvas: Canvas, sharp: float = SHARP) -> None:
        links = canvas.links
        self.sharp = sharp
        self.canvas, self.pores = canvas, links.pore_m3
        self.bare = laplacian(links)
        self.anchor = int(np.argmax(links.pore_m3))
        self.tie = float(self.bare.diagonal().max())
        ground = np.zeros(links.count)
        ground[self.anchor] = self.tie
        self.grounded = (self.bare + sparse.diags_array(ground)).tocsr()
        self.groups = multigrid.group(self.grounded)
        self.factor: Any = None
        self.still = np.zeros(0)
        self.columns: dict[int, FloatArray] = {}
        self.laid: dict[bytes, FeedLinks] = {}
        self.vents = np.zeros(links.count, bool)
        for vent in plan.vents:
            self.vents |= lies_on(links, vent.place)

    def judge(self, layout: Layout) -> Ranked:
        """Rank one layout."""
        w = self.w(layout)
        last = int(np.argmax(w))
        total = float(w[last])
        at_vents = float(w[self.vents].max()) if self.vents.any() else total
        x, y = self.canvas.links.centre_mm[last]
        return Ranked(layout, total, (float(x), float(y)), 1.0 - at_vents / total)

    def w(self, layout: Layout) -> FloatArray:
        """Solve for w of a layout: its greatest value is the impulse to full.

        Raises
        ------
        WetlineError
            If no feed of the layout touches the part.
        """
        change, lost = self._change(layout)
        coo = change.tocoo()
        cells = np.unique(np.append(coo.row[coo.data != 0], self.anchor))
        if len(cells) <= FEW:
            return self._through_factors(change, lost, cells)
        matrix = (self.bare + change).tocsr()
        load = self.pores - lost
        if len(load) <= FACTOR_BELOW:
            return np.asarray(direct(matrix).solve(load))
        untie = np.zeros(len(load))
        untie[self.anchor] = -self.tie
        cycle = multigrid.changed(self.cycle, (change + sparse.diags_array(untie)).tocsr())
        return multigrid.solve(matrix, load, cycle, tolerance=self.sharp * float(load.mean()))[0]

    @cached_property
    def cycle(self) -> multigrid.Hierarchy:
        """The multigrid cycle of the part without feeds, made when first asked for."""
        every = np.arange(len(self.pores))
        return multigrid.build(self.grounded, self.groups, every, factor_below=0)

    def _through_factors(self, change: Any, lost: FloatArray, cells: IntArray) -> FloatArray:
        if self.factor is None:
            self.factor = direct(self.grounded)
            self.still = self.factor.solve(self.pores)
        small = change[cells][:, cells].toarray()
        place = int(np.searchsorted(cells, self.anchor))
        small[place, place] -= self.tie
        inverse = self._inverse(cells)
        right = self.still[cells] - inverse @ lost[cells]
        y = np.linalg.solve(np.eye(len(cells)) + inverse @ small, right)
        load = self.pores.copy()
        load[cells] -= lost[cells] + small @ y
        return np.asarray(self.factor.solve(load))

    def _inverse(self, cells: IntArray) -> FloatArray:
        """Return A0^-1 between cells, working out the columns not asked for before."""
        if len(self.columns) > KEPT_COLUMNS:
            self.columns.clear()
        fresh = [int(c) for c in cells if int(c) not in self.columns]
        for start in range(0, len(fresh), 16):
            some = fresh[start : start + 16]
            unit = np.zeros((len(self.pores), len(some)))
            unit[some, np.arange(len(some))] = 1.0
            solved = self.factor.solve(unit)
            for column, cell in enumerate(some):
                self.columns[cell] = solved[:, column].copy()
        return np.stack([self.columns[int(c)][cells] for c in cells], axis=1)

    def _feed(self, place: Place) -> FeedLinks:
        name = place.points_mm.tobytes() + str(place.radius_mm).encode()
        if name not in self.laid:
            if len(self.laid) >= KEPT_PLACES:
                self.laid.clear()
            self.laid[name] = feed_links(self.canvas, place)
        return self.laid[name]

    def _change(self, layout: Layout) -> tuple[Any, FloatArray]:
        """Return what a layout adds to the matrix of the bare part, and the pores it takes."""
        links = self.canvas.links
        keep = np.ones(len(links.first))
        feed, lost = np.zeros(links.count), np.zeros(links.count)
        for place in layout:
            laid = self._feed(place)
            feed += laid.feed_m3
            keep *= laid.keep
            lost = np.maximum(lost, laid.lost_m3)
        if not feed.any():
            raise WetlineError(NONE)
        moved = np.flatnonzero(keep != 1.0)
        some = replace(
            links,
            first=links.first[moved],
            second=links.second[moved],
            flow_m3=links.flow_m3[moved] * (keep[moved] - 1.0),
        )
        return (laplacian(some) + sparse.diags_array(feed)).tocsr(), lost
