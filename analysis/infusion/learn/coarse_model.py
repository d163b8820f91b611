"""The plan's filling for other values, quick: a coarse grid tells by how much the fine one changes.

Tested in tests/analysis/infusion/learn/test_fit_plan.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.ndimage import distance_transform_edt, map_coordinates

from analysis.infusion.learn.knobs import Knob, turned
from analysis.part.answer.clock import times_of
from analysis.part.flow.filling import Filling, fill_plan
from analysis.part.plan.part_toml import LEAST_CELLS, PartJob
from analysis.part.plan.plan import PartPlan
from vision.records import FloatArray

SLOPE_CELLS = 800
"""Cells of the grid for slopes, about: a filling then takes a tenth of a second."""
VALUE_CELLS = 2000
"""Cells of the grid for values: the fill time then is within 1 % of the fine grid's, arrival
within 3 % in 95 % of the places (tests/analysis/infusion/learn/test_fit_plan.py)."""
COARSE_STEPS = 24


@dataclass(frozen=True)
class Anchor:
    """A filling on the plan's own grid, from which the coarse one tells the changes.

    Attributes
    ----------
    at : ndarray of shape (N,), float
        Place of the knobs.
    opens_at : tuple of float
        Impulse at which each feed opens.
    filling : Filling
    """

    at: FloatArray
    opens_at: tuple[float, ...]
    filling: Filling


def fill_at(
    plan: PartPlan, knobs: Sequence[Knob], at: FloatArray, opens_at: Sequence[float]
) -> Anchor:
    """Return the plan filled on its own grid for a place of the knobs."""
    changed, factors = turned(plan, knobs, at)
    filling = fill_plan(changed, opens_at, factors=factors)
    return Anchor(np.array(at, float), tuple(opens_at), filling)


@dataclass
class CoarseModel:
    """Arrival on the plan's own grid for any place of the knobs.

    Parameters
    ----------
    job : PartJob
    anchor : Anchor
        A filling on the plan's own grid: the nearer to what is asked for, the more exact.
    knobs : sequence of Knob
    about : int
        Cells of the coarse grid.
    """

    job: PartJob
    anchor: Anchor
    knobs: Sequence[Knob]
    about: int = VALUE_CELLS
    _rough: PartPlan = field(init=False)
    _before: Filling = field(init=False)
    _known: dict[bytes, tuple[FloatArray, float]] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        """Fill the anchor on the coarse grid."""
        links, plan = self.anchor.filling.links, self.job.plan
        longest = max(links.grid.nx, links.grid.ny)
        cells = round(longest * float(np.sqrt(self.about / max(links.cells, 1))))
        self._rough = replace(plan, cells=int(np.clip(cells, LEAST_CELLS, longest)))
        self._before = self._fill(self.anchor.at)

    def _fill(self, at: FloatArray) -> Filling:
        plan, factors = turned(self._rough, self.knobs, at)
        return fill_plan(plan, self.anchor.opens_at, COARSE_STEPS, factors=factors)

    def arrival_s(self, at: FloatArray) -> FloatArray:
        """Return the arrival at each cell of the plan's grid in seconds."""
        return self._at(at)[0]

    def fill_time_s(self, at: FloatArray) -> float:
        """Return when the part is full."""
        return self._at(at)[1]

    def _at(self, at: FloatArray) -> tuple[FloatArray, float]:
        key = np.asarray(at, float).tobytes()
        if key not in self._known:
            changed = self._fill(np.asarray(at, float))
            ratio, fine = self._ratio(changed), self.anchor.filling
            theta = fine.arrival[: fine.links.cells] * ratio
            total = fine.total * changed.total / self._before.total
            impulse = self.job.impulse
            self._known[key] = (times_of(impulse, theta), float(impulse.time_of(total)))
        return self._known[key]

    def _ratio(self, changed: Filling) -> FloatArray:
        """Return by how much the impulse of arrival changes, at the cells of the fine grid."""
        links, fine = self._before.links, self.anchor.filling.links
        count = links.cells
        before, after = self._before.arrival[:count], changed.arrival[:count]
        least = 1e-3 * self._before.total
        known = np.isfinite(before) & np.isfinite(after) & (before > least)
        ratio = np.where(known, after, least) / np.where(known, before, least)
        logs = links.field(np.where(known, np.log(np.maximum(ratio, 1e-6)), np.nan))
        nearest = distance_transform_edt(
            np.isnan(logs), return_distances=False, return_indices=True
        )
        logs = logs[tuple(nearest)]
        centre = links.grid.cells(fine.centre_mm[: fine.cells]) - 0.5
        found = map_coordinates(logs, [centre[:, 1], centre[:, 0]], order=1, mode="nearest")
        return np.asarray(np.exp(found))
