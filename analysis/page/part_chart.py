"""Wet share of a part against time, planned and seen, drawn by matplotlib for the page."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from analysis.infusion.outlook.numbers import Forecast
from analysis.page.chart import NARROW, NARROW_ROOM, WIDE, WIDE_ROOM, draw_good_runs
from analysis.record.figures import BLUE, INK, VERMILION, svg_text
from analysis.runs.repeat.band import Band
from analysis.watch.part.board import PartBoard

FARTHEST = 2.0
"""The chart ends at most so many times later than the end of what is forecast."""


def part_chart_svg(
    board: PartBoard, planned: Forecast, narrow: bool = False, good: Band | None = None
) -> str:
    """Draw a part's chart: planned dashed, seen as points, the end with its range, gel.

    Parameters
    ----------
    board : PartBoard
    planned : Forecast
        The plan's own.
    narrow : bool
        For a phone.
    good : Band, optional
        Of the wet share of good runs, hatched behind the points.
    """
    figure = Figure(figsize=NARROW if narrow else WIDE, facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.add_axes(NARROW_ROOM if narrow else WIDE_ROOM)
    numbers, left = board.part, board.part.left
    last_min = _last_minute(board, planned, good)
    if good is not None:
        draw_good_runs(axes, good)
    time_s = np.linspace(0.0, 60.0 * last_min, 200)
    axes.plot(time_s / 60, 100 * planned_share(planned, time_s), color=BLUE, lw=2,
              ls=(0, (5, 2)), label="planned")  # fmt: skip
    if len(numbers.time_s):
        axes.plot(numbers.time_s / 60, 100 * numbers.shares, "o", ms=5, color=INK, label="seen")
    if left is not None and not left.filled and np.isfinite(left.end_s):
        high = min(left.high_s / 60, last_min)
        axes.plot([left.low_s / 60, high], [100, 100], color=INK, lw=5, alpha=0.5,
                  solid_capstyle="butt", label="full, range")  # fmt: skip
    if left is not None and left.gel_s is not None and left.gel_s / 60 <= last_min:
        _gel(axes, left.gel_s / 60)
    axes.set(xlim=(0, last_min), ylim=(0, 108))
    axes.set_xlabel("min since resin start", fontsize=11)
    axes.set_ylabel("wet, % of the part", fontsize=11)
    axes.tick_params(labelsize=11)
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(color="#d9d9d9", lw=0.7)
    axes.set_axisbelow(True)
    axes.legend(loc="lower right", fontsize=10, framealpha=0.9)
    return svg_text(figure)


def planned_share(planned: Forecast, time_s: np.ndarray) -> np.ndarray:
    """Return the wet share of the part that the plan has at some times."""
    area = planned.links.share[: planned.links.cells]
    order = np.argsort(planned.arrival_s)
    sums = np.concatenate([[0.0], np.cumsum(area[order])]) / float(area.sum())
    return np.asarray(sums[np.searchsorted(planned.arrival_s[order], time_s, side="right")])


def _gel(axes: Axes, at_min: float) -> None:
    axes.axvline(at_min, color=VERMILION, lw=2, ls=(0, (2, 2)))
    axes.text(at_min, 0.5, "gel ", color=VERMILION, ha="right", fontsize=11,
              transform=axes.get_xaxis_transform())  # fmt: skip


def _last_minute(board: PartBoard, planned: Forecast, good: Band | None) -> float:
    """Right end of the chart: past the plan's end and the forecast's, and gel when it is near."""
    arrival, left = planned.arrival_s[np.isfinite(planned.arrival_s)], board.part.left
    ends = [60.0, float(arrival.max()) if arrival.size else 0.0]
    if left is not None and np.isfinite(left.end_s):
        ends.append(min(left.high_s, FARTHEST * left.end_s))
    if len(board.part.time_s):
        ends.append(float(board.part.time_s[-1]))
    if good is not None:
        ends.append(min(float(good.late_s[-1]), FARTHEST * max(ends)))
    end = 1.08 * max(ends)
    if left is not None and left.gel_s is not None and left.gel_s < 1.6 * end:
        end = max(end, 1.05 * left.gel_s)
    return end / 60.0
