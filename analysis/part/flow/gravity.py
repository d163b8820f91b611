"""A part that does not lie level: the weight of the resin, as a share of the drive."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.part.flow.system import System
from analysis.part.grid.factor import direct
from analysis.part.grid.network import Links
from analysis.part.plan.plan import PartPlan
from vision.records import FloatArray

ROUNDS = 12
SETTLED = 1e-8


@dataclass(frozen=True)
class Gravity:
    """What the weight of the resin adds to a filling whose arrivals are about known.

    Attributes
    ----------
    head : ndarray of shape (n,)
        Height of each node over the feeds, as a share of the drive that lifts the resin so high.
    arrival : ndarray of shape (n,)
        Impulse at which each node wets.

    Notes
    -----
    With p and the impulse in units of the drive, resin flows as -K grad (p + head). Summed up
    from the moment a spot wets, p gives u and head gives head times the impulse since then, so u
    solves the same obstacle problem with div(K h s grad head) added, s = impulse less arrival,
    and with the feeds at impulse (1 - head). Arrivals are taken from the filling before; weight
    is a small share of the drive, so two rounds are enough.
    """

    head: FloatArray
    arrival: FloatArray

    def inflow_m3(self, system: System, since: float, start: float) -> FloatArray:
        """Return what weight brings into each node, volume since the stage's start.

        Parameters
        ----------
        system : System
            Of the stage.
        since : float
            Impulse since the stage began.
        start : float
            Impulse at which it did.
        """
        wet_for = np.clip(since + start - np.maximum(self.arrival, start), 0.0, None)
        links = system.matrix.tocoo()
        row, col = links.row, links.col
        # The diagonal drops out, for there the heads are the same.
        flow = -links.data * 0.5 * (wet_for[row] + wet_for[col]) * (self.head[col] - self.head[row])
        along = np.bincount(row, flow, len(wet_for))
        return np.asarray(along - self.from_feeds_m3(system, since))

    def from_feeds_m3(self, system: System, since: float) -> FloatArray:
        """Return how much less the feeds give than without weight."""
        return np.asarray(system.feed_m3 * self.head * since)


def total_with_weight(
    system: System, left_m3: FloatArray, gravity: Gravity, start: float
) -> tuple[float, int]:
    """Find the impulse, since the stage's start, at which the part is full, and the last node.

    Notes
    -----
    Once all is wet u = impulse e - w, with A e = feeds (1 - head) and A w = pores less what weight
    brings in along the links; the part is full where the least u is 0. As weight's share depends
    on the impulse itself, it is found by repeating that.
    """
    factor = direct(system.matrix)
    gain = factor.solve(system.feed_m3 * (1.0 - gravity.head))
    total, last = 0.0, 0
    for _ in range(ROUNDS):
        along = gravity.inflow_m3(system, total, start) + gravity.from_feeds_m3(system, total)
        ratio = factor.solve(left_m3 - along) / gain
        last, before = int(np.argmax(ratio)), total
        total = float(ratio[last])
        if abs(total - before) <= SETTLED * total:
            break
    return total, last


def weight_of(plan: PartPlan, links: Links, arrival: FloatArray) -> Gravity:
    """Return the weight of the resin on a plan's heights, for nodes that wet at given impulses."""
    assert plan.heights is not None
    middles = np.array([feed.place.points_mm.mean(axis=0) for feed in plan.feeds])
    above = plan.heights.above_pot_mm(links.centre_mm)
    above = above - plan.heights.above_pot_mm(middles).mean()
    return Gravity(above * plan.heights.share_per_mm, arrival)
