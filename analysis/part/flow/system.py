"""The discrete filling problem: the matrix, the feeds and the pores of each cell.

Tested in tests/analysis/part/flow/test_closed_forms.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import scipy.sparse as sparse

from analysis.part.flow import multigrid
from analysis.part.grid.canvas import Canvas, feed_links
from analysis.part.grid.cells import IntArray
from analysis.part.grid.factor import direct
from analysis.part.grid.network import Links, laplacian, unreached
from analysis.part.plan.plan import PartFeed
from vision.errors import WetlineError
from vision.records import FloatArray

DIRECT_BELOW = 300_000
"""Up to this many cells one solve is done by factoring, which is quicker; above, the factors
would take gigabytes."""


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
    """

    links: Links
    matrix: Any
    feed_m3: FloatArray
    pore_m3: FloatArray

    @cached_property
    def groups(self) -> tuple[IntArray, ...]:
        """Groups of cells for the multigrid cycle, made when first asked for."""
        return multigrid.group(self.matrix)


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
        keep *= laid.keep
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
    return System(links, matrix, feed_m3, pore_m3)


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
    if len(pores) <= DIRECT_BELOW:
        return np.asarray(direct(system.matrix).solve(pores))
    every = np.arange(len(pores))
    tolerance = 1e-10 * float(pores.max(initial=0.0))
    hierarchy = multigrid.build(system.matrix, system.groups, every)
    return multigrid.solve(system.matrix, pores, hierarchy, guess, tolerance)[0]
