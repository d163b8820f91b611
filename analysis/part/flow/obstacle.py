"""The fill state at one impulse: an obstacle problem, solved by growing the wet set."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.part.flow import multigrid
from analysis.part.flow.system import System
from analysis.part.grid.cells import IntArray
from analysis.part.grid.factor import among, direct
from vision.errors import WetlineError
from vision.records import BoolArray, FloatArray

EXACT = 1e-7  # residual left in a wet cell, as a share of an average cell's pores
ROUNDS = 400
WIDE_FROM, WIDE_SHARE = 200_000, 0.5
"""From so many cells and such a share on the rows of the wet cells are not picked out: copies of
the matrix would fill the memory."""


@dataclass(frozen=True)
class State:
    """The part at one impulse.

    Attributes
    ----------
    impulse : float
    u : ndarray of shape (n,)
        Impulse integral of the pressure share; above 0 exactly where the cell is full.
    wet : ndarray of shape (n,), bool
    fill : ndarray of shape (n,)
        Filled share of each cell's pores; between 0 and 1 only in the cells of the front.
    solves : int
        Linear solves it took.
    """

    impulse: float
    u: FloatArray
    wet: BoolArray
    fill: FloatArray
    solves: int = 0


@dataclass
class _Inner:
    """The linear solver for one drive on a changing set; rebuilt when the set has drifted."""

    system: System
    inside: BoolArray | None = None
    wide: bool = False
    hierarchy: Any = None
    factored: tuple[BoolArray, FloatArray] | None = None  # the set last factored, and its u

    def solve(self, inside: BoolArray, drive: FloatArray, guess: FloatArray, tol: float) -> Any:
        """Solve on some cells; what is found is 0 in all others."""
        if self.factored is not None and np.array_equal(self.factored[0], inside):
            return self.factored[1]  # factoring leaves nothing that a closer tolerance would mend
        cells, every = np.flatnonzero(inside).astype(np.int32), self.system.matrix
        wide = len(cells) > max(WIDE_FROM, WIDE_SHARE * len(inside))
        if wide:
            matrix: Any = multigrid.Masked(every, inside)
            right, guess = np.where(inside, drive, 0.0), np.where(inside, guess, 0.0)
        else:
            matrix = among(every, inside, cells) if len(cells) < len(inside) else every
            right, guess = drive[cells], guess[cells]
        if len(cells) <= multigrid.DIRECT_BELOW:
            found = direct(matrix).solve(right) if len(cells) else right
            self.factored = inside, _spread(found, inside)
            return self.factored[1]
        if self._serves(inside, wide):
            borrowed = self._borrow(inside, cells)
            found = multigrid.solve(
                matrix, right, guess=guess, tolerance=tol, precondition=borrowed
            )[0]
        else:
            self.inside, self.wide = inside, wide
            self.hierarchy = None  # two at a time would take twice the memory
            self.hierarchy = self._built(matrix, cells)
            found = multigrid.solve(matrix, right, self.hierarchy, guess, tol)[0]
        return found if wide else _spread(found, inside)

    def _built(self, matrix: Any, cells: IntArray) -> Any:
        groups, every = self.system.groups, self.system.matrix
        if not self.wide:
            return multigrid.build(matrix, groups, cells)
        return multigrid.build(every, groups, np.arange(every.shape[0]), 0, self.inside)

    def _serves(self, inside: BoolArray, wide: bool) -> bool:
        """Return whether the cycle built for another set still serves this one."""
        if self.inside is None or wide != self.wide:
            return False
        return int((self.inside ^ inside).sum()) <= 0.02 * int(inside.sum()) + 8

    def _borrow(self, inside: BoolArray, cells: IntArray) -> Any:
        """Use the cycle of the older set on the cells both have, and Jacobi on the rest."""
        assert self.inside is not None
        diagonal = self.system.matrix.diagonal()
        if self.wide:
            common, inverse = self.inside & inside, np.where(inside, 1.0 / diagonal, 0.0)
            back: Any = common
            size = len(inside)
        else:
            place = np.cumsum(self.inside, dtype=np.int32) - np.int32(1)
            common, inverse = self.inside[cells], 1.0 / diagonal[cells]
            back = place[cells[common]]
            size = int(place[-1]) + 1

        def apply(residual: FloatArray) -> FloatArray:
            full = np.zeros(size)
            full[back] = residual[common]
            z = np.asarray(inverse * residual)
            z[common] = multigrid.cycle(self.hierarchy, full)[back]
            return z

        return apply


def _spread(values: FloatArray, inside: BoolArray) -> FloatArray:
    out = np.zeros(len(inside))
    out[inside] = values
    return out


def fill_state(
    system: System,
    impulse: float,
    pore_m3: FloatArray,
    wet_guess: BoolArray,
    u_guess: FloatArray,
    forced: BoolArray | None = None,
) -> State:
    """Find which cells are full once the feeds have given an impulse.

    Parameters
    ----------
    system : System
        The filling problem.
    impulse : float
        Since these feeds opened.
    pore_m3 : ndarray of shape (n,)
        Pores still to fill when they opened.
    wet_guess, u_guess : ndarray of shape (n,)
        Where to start; any guess leads to the same answer, a near one sooner.
    forced : ndarray of shape (n,), bool
        Cells known to be full, such as those of the step before.

    Returns
    -------
    State

    Raises
    ------
    WetlineError
        If the search for the wet set does not settle.

    Notes
    -----
    u >= 0, A u + pores - impulse * feed >= 0, and one of the two is 0 in each cell (Elliott and
    Janovsky 1981). Primal-dual active sets: Hintermueller, Ito, Kunisch, SIAM J. Optim. 13,
    865-888, 2003 (from memory); for a matrix with no positive entry off the diagonal they settle
    after finitely many rounds from any start.
    """
    held = np.zeros(system.links.count, bool) if forced is None else forced
    unit = float(system.pore_m3.mean())
    drive = impulse * system.feed_m3 - pore_m3
    wet = wet_guess | held | (drive > 0)
    u = np.where(wet, np.maximum(u_guess, 0.0), 0.0)
    inner = _Inner(system)
    tolerance = 1e-3 * unit
    for count in range(1, ROUNDS):
        u = inner.solve(wet, drive, u, tolerance)
        short = np.asarray(system.matrix @ u) - drive
        slack = max(EXACT * unit, 2 * tolerance if tolerance > EXACT * unit else 0.0)
        grow = ~wet & (short < -slack)
        shrink = wet & (u < 0) & ~held
        if not grow.any() and not shrink.any():
            if tolerance <= EXACT * unit:
                return _settled(system, impulse, pore_m3, u, wet, short, count)
            tolerance = EXACT * unit
            continue
        if grow.sum() + shrink.sum() <= 2:
            tolerance = EXACT * unit
        wet = (wet | grow) & ~shrink
    raise WetlineError("the fill state did not settle: change [grid] cells by a few and run again")


def _settled(
    system: System,
    impulse: float,
    pore_m3: FloatArray,
    u: FloatArray,
    wet: BoolArray,
    short: FloatArray,
    count: int,
) -> State:
    """Work out how full the cells of the front are."""
    whole = np.where(system.pore_m3 > 0, system.pore_m3, 1.0)
    fill = np.where(wet, 1.0, 1.0 - np.clip(short, 0.0, None) / whole)
    return State(impulse, u, wet, np.clip(fill, 0.0, 1.0), count)


def injected_m3(system: System, state: State) -> float:
    """Return the volume that has come through the feeds since they opened."""
    return multigrid.inner(system.feed_m3, state.impulse - state.u)
