"""What lies near a place on a part: walls, planned gaps, zones, corners, feeds, vents, in words."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.part.grid.canvas import lay_canvas
from analysis.part.grid.cells import IntArray
from analysis.part.grid.network import Links
from analysis.part.plan.outline import distance_mm, line_distance_mm
from analysis.part.plan.plan import PartPlan, Place
from vision.records import BoolArray, FloatArray

NEAR_SHARE = 0.03
NEAR_CELLS = 2.5
CORNER_DEG = 30.0
"""A bend of the outline by less is none."""


@dataclass(frozen=True)
class Surroundings:
    """A plan and its cells, asked what lies near which cell; distances of shape (cells,), mm."""

    plan: PartPlan
    links: Links

    @cached_property
    def centre_mm(self) -> FloatArray:
        """Centres of the cells, shape (cells, 2)."""
        return self.links.centre_mm[: self.links.cells]

    @cached_property
    def size_mm(self) -> float:
        """Longest side of the part."""
        return float(np.ptp(self.plan.outline_mm, axis=0).max())

    @property
    def near_mm(self) -> float:
        """What counts as near."""
        cell = max(self.links.grid.dx_mm, self.links.grid.dy_mm)
        return max(NEAR_SHARE * self.size_mm, NEAR_CELLS * cell)

    @property
    def area_mm2(self) -> FloatArray:
        """Area of each cell that lies in the part."""
        return self.links.share[: self.links.cells] * self.links.grid.cell_m2 * 1e6

    @cached_property
    def wall_mm(self) -> FloatArray:
        """Distance to the outline or a hole."""
        loops = [self.plan.outline_mm, *self.plan.holes_mm]
        return np.min([distance_mm(self.centre_mm, loop) for loop in loops], axis=0)

    @cached_property
    def gap_mm(self) -> FloatArray:
        """Distance to each planned gap, shape (gaps, cells)."""
        found = [line_distance_mm(self.centre_mm, gap.line_mm) for gap in self.plan.gaps]
        return np.array(found).reshape(len(found), len(self.centre_mm))

    @cached_property
    def stack(self) -> IntArray:
        """Which stack of the plan each cell has; 0 is the base."""
        return lay_canvas(self.plan, max(self.links.grid.shape)).stack

    @cached_property
    def border_mm(self) -> FloatArray:
        """Distance to the nearest border between two stacks; infinity without zones."""
        loops = [zone.points_mm for zone in self.plan.zones]
        if not loops:
            return np.full(len(self.centre_mm), np.inf)
        return np.min([distance_mm(self.centre_mm, loop) for loop in loops], axis=0)

    @cached_property
    def corner_mm(self) -> FloatArray:
        """Distance to the nearest inner corner of the outline or corner of a hole."""
        points = [_corners(self.plan.outline_mm, inner=True)]
        points += [_corners(hole, inner=False) for hole in self.plan.holes_mm]
        corners = np.concatenate(points)
        if not len(corners):
            return np.full(len(self.centre_mm), np.inf)
        away = self.centre_mm[:, None, :] - corners[None]
        return np.asarray(np.hypot(away[..., 0], away[..., 1]).min(axis=1))

    def place_mm(self, place: Place) -> FloatArray:
        """Return the distance of each cell to a feed or vent."""
        if place.is_line:
            return np.asarray(line_distance_mm(self.centre_mm, place.points_mm))
        return np.maximum(np.hypot(*(self.centre_mm - place.points_mm[0]).T) - place.radius_mm, 0)

    def stack_name(self, index: int) -> str:
        """Return how a stack is called."""
        return "the base stack" if index == 0 else f"zone {self.plan.zones[index - 1].name}"

    def words(self, cells: BoolArray) -> str:
        """Return where some cells lie, in words as seen from above."""
        found = [self._side(cells)]
        for k, hole in enumerate(self.plan.holes_mm, start=1):
            if float(distance_mm(self.centre_mm[cells], hole).min()) < self.near_mm:
                found.append("at the hole" if len(self.plan.holes_mm) == 1 else f"at hole {k}")
        index, count = np.unique(self.stack[cells], return_counts=True)
        most = int(index[np.argmax(count)])
        if most and count.max() > 0.6 * count.sum():
            found.append(f"in {self.stack_name(most)}")
        for feed in self.plan.feeds:
            if float(self.place_mm(feed.place)[cells].min()) < self.near_mm:
                found.append(f"by {feed.name}")
        return ", ".join(found)

    def _side(self, cells: BoolArray) -> str:
        """Return on which side of the part cells lie: the edge they touch, or the nearest third."""
        weight = self.area_mm2[cells]
        x, y = np.average(self.centre_mm[cells], axis=0, weights=weight)
        low, high = self.plan.outline_mm.min(axis=0), self.plan.outline_mm.max(axis=0)
        across = (x - low[0]) / (high[0] - low[0])
        down = (y - low[1]) / (high[1] - low[1])
        down = 1 - down if self.plan.y_runs == "up" else down
        rows = "top" if down < 1 / 3 else "bottom" if down > 2 / 3 else ""
        cols = "left" if across < 1 / 3 else "right" if across > 2 / 3 else ""
        if not rows and not cols:
            return "in the middle"
        where = f"{rows} {cols}".strip()
        edge = bool((self.wall_mm[cells] < self.near_mm).any())
        return f"at the {where} edge" if edge and not (rows and cols) else f"at the {where}"


def _corners(loop: FloatArray, inner: bool) -> FloatArray:
    """Return the corners of a closed outline; with `inner` only those that point into the part."""
    before, after = loop - np.roll(loop, 1, axis=0), np.roll(loop, -1, axis=0) - loop
    turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    bend = np.degrees(np.arctan2(turn, (before * after).sum(axis=1)))
    x, y = loop.T
    area = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    bend = bend if area > 0 else -bend
    return loop[bend < -CORNER_DEG] if inner else loop[np.abs(bend) > CORNER_DEG]
