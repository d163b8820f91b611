"""Which way the cloth of each stack lies, by how resin ran along it and across it.

Tested in tests/analysis/infusion/beside/test_causes.py and
tests/analysis/infusion/learn/test_taken_back.py.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.part.plan.plan import PartPlan
from vision.records import FloatArray, IntArray

Lies = Literal["as planned", "turned", "not told"]
UNEVEN_CLOTH = 1.3
"""Ratio of a stack's two permeabilities from which it matters how the cloth lies."""
FEWEST_ALONG = 10


def how_cloth_lies(
    plan: PartPlan, on: SeenOnPlan, stack: IntArray, planned_s: FloatArray
) -> tuple[Lies, ...]:
    """Return for each stack whether its cloth lies as planned or turned by a quarter.

    Parameters
    ----------
    plan : PartPlan
    on : SeenOnPlan
    stack : ndarray of shape (cells,), int
        Which stack each cell has.
    planned_s : ndarray of shape (cells,), float
        When the plan, or the plan at another pace of each stack, wets each cell.

    Returns
    -------
    tuple of {"as planned", "turned", "not told"}
        Not told where resin has run in one direction only: a K that is off looks the same then.
        Cloth that is alike along and across lies as planned.

    Notes
    -----
    The time a front takes over a way goes with 1 / K. Seen over planned, where the plan sends resin
    along the easy direction and where it sends it across, has a quotient of 1 if the cloth lies as
    planned and of (k1/k2)^2 if it is turned by a quarter. Past k1/k2 resin runs easier across than
    along, whatever the pace of the part.
    """
    links = on.links
    inside = links.number >= 0
    size = np.array([links.grid.dx_mm, links.grid.dy_mm])
    late = np.where(on.wet & on.seen, on.time_s - planned_s, np.nan)
    fields = (np.where(np.isfinite(planned_s), planned_s, np.nan), late)
    way, off = (_slopes(links.field(field))[inside] / size for field in fields)
    with np.errstate(invalid="ignore", divide="ignore"):
        square = (way**2).sum(axis=1)
        share = (way * off).sum(axis=1) / square
    found: list[Lies] = []
    for index, one in enumerate(plan.stacks):
        ratio = max(one.k1_m2, one.k2_m2) / min(one.k1_m2, one.k2_m2)
        if ratio < UNEVEN_CLOTH:
            found.append("as planned")
            continue
        turn = np.deg2rad(one.angle_deg + (90.0 if one.k1_m2 < one.k2_m2 else 0.0))
        with np.errstate(invalid="ignore", divide="ignore"):
            along = (way @ [np.cos(turn), np.sin(turn)]) ** 2 / square
        here = (stack == index) & np.isfinite(share)
        ahead, aside = (_median(share[here & one]) for one in (along > 0.75, along < 0.25))
        if np.isnan(ahead) or np.isnan(aside):
            found.append("not told")
        else:
            turned = 1.0 + ahead > ratio * max(1.0 + aside, 1e-6)
            found.append("turned" if turned else "as planned")
    return tuple(found)


def _median(values: FloatArray) -> float:
    return float(np.median(values)) if len(values) >= FEWEST_ALONG else np.nan


def _slopes(field: FloatArray) -> FloatArray:
    """Return the slope of a field along x and y per cell, shape (ny, nx, 2)."""
    down, right = np.gradient(field)
    return np.stack([right, down], axis=-1)
