"""Vents where the air of a filling ends."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.part.flow.filling import Filling, trapped_under
from analysis.part.plan.plan import PartPlan, Place, Vent

MOST_ROUNDS = 4


def with_vents_where_air_ends(plan: PartPlan, fill: Filling) -> tuple[PartPlan, Filling]:
    """Return a plan whose vents trap no air, and its filling, which is the same but for that.

    Parameters
    ----------
    plan : PartPlan
        As it was filled.
    fill : Filling
        Of the plan.

    Notes
    -----
    A vent does not change how the resin runs as long as it is dry. So vents are put where air
    ends, and those are left out that nothing needs any more.
    """
    vents = list(plan.vents)
    for _ in range(MOST_ROUNDS):
        trapped, _ = trapped_under(fill, vents)
        if not trapped:
            break
        spots = [spot for air in trapped for spot in air.ends_mm]
        number = len(vents)
        vents += [
            Vent(Place(np.array([spot])), f"vent {number + k}") for k, spot in enumerate(spots, 1)
        ]
    for vent in plan.vents:
        rest = [other for other in vents if other is not vent]
        if rest and not trapped_under(fill, rest)[0]:
            vents = rest
    trapped, inside = trapped_under(fill, vents)
    moved = replace(plan, vents=tuple(vents))
    return moved, replace(fill, trapped=trapped, in_trapped=inside)
