"""Distance against time with the forecast, drawn by matplotlib for the page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from analysis.record.figures import BLUE, INK, VERMILION, svg_text
from analysis.runs.repeat.band import USUAL_SD, Band, good_band
from analysis.watch.board import Board
from analysis.watch.reference import Reference

WIDE, NARROW = (7.4, 3.7), (4.2, 3.9)
WIDE_ROOM, NARROW_ROOM = (0.09, 0.145, 0.89, 0.83), (0.155, 0.135, 0.815, 0.84)
GREEN = "#00664d"
GOOD_RUNS: dict[str, Any] = {
    "facecolor": "none", "edgecolor": GREEN, "hatch": "///", "alpha": 0.5, "lw": 0.8,
    "label": "good runs",
}  # fmt: skip
"""How a band of good runs is drawn."""


def chart_svg(
    board: Board,
    references: Sequence[Reference] = (),
    repeat_sd: float = 0.08,
    narrow: bool = False,
) -> str:
    """Draw the board's chart.

    Parameters
    ----------
    board : Board
    references : sequence of Reference
        Good runs, whose band is hatched behind the points.
    repeat_sd : float
        As for `analysis.watch.reference.compare`.
    narrow : bool
        For a phone.
    """
    figure = Figure(figsize=NARROW if narrow else WIDE, facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.add_axes(NARROW_ROOM if narrow else WIDE_ROOM)
    numbers = board.numbers
    good = good_band(references, max(USUAL_SD, repeat_sd)) if references else None
    last_min = _last_minute(board, good)
    if good is not None:
        draw_good_runs(axes, good)
    if numbers.end is not None:
        _forecast(axes, board)
    if len(numbers.time_s):
        axes.plot(numbers.time_s / 60, numbers.front_mm, "o", ms=5, color=INK, label="measured")
    if numbers.front is not None:
        length = numbers.front.length_mm
        axes.axhline(length, color=INK, lw=1.4, ls=(0, (7, 3)))
        axes.text(0.01, length, " end of the panel", va="bottom", fontsize=10,
                  transform=axes.get_yaxis_transform())  # fmt: skip
        axes.set_ylim(0, 1.18 * length)
    if board.gel is not None and board.gel.gel_s / 60 <= last_min:
        axes.axvline(board.gel.gel_s / 60, color=VERMILION, lw=2, ls=(0, (2, 2)))
        axes.text(board.gel.gel_s / 60, 0.02, "gel ", color=VERMILION, ha="right", fontsize=11,
                  transform=axes.get_xaxis_transform())  # fmt: skip
    axes.set_xlim(0, last_min)
    axes.set_xlabel("min since resin start", fontsize=11)
    axes.set_ylabel("front, mm", fontsize=11)
    axes.tick_params(labelsize=11)
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(color="#d9d9d9", lw=0.7)
    axes.set_axisbelow(True)
    if axes.get_legend_handles_labels()[0]:
        axes.legend(loc="lower right", fontsize=10, framealpha=0.9)
    return svg_text(figure)


def _last_minute(board: Board, good: Band | None) -> float:
    """Right end of the chart: past the forecast's band, and the gel time when it is near."""
    numbers = board.numbers
    ends = [1.0]
    if good is not None:
        ends.append(float(good.middle_s[-1]) / 60 * 1.05)
    if len(numbers.time_s):
        ends.append(float(numbers.time_s[-1]) / 60 * 1.15)
    if numbers.end is not None:
        finite = [t for t in (numbers.end.high_s, numbers.end.end_s) if np.isfinite(t)]
        if finite:
            ends.append(min(finite[0], 2.0 * finite[-1]) / 60 * 1.08)
    end = max(ends)
    if board.gel is not None and board.gel.gel_s / 60 < 1.6 * end:
        end = max(end, board.gel.gel_s / 60 * 1.05)
    return end


def _forecast(axes: Axes, board: Board) -> None:
    end = board.numbers.end
    assert end is not None
    now = float(board.numbers.time_s[-1]) if len(board.numbers.time_s) else 0.0
    late = np.where(np.isfinite(end.late_s), end.late_s, 1e7)
    early = np.where(np.isfinite(end.early_s), end.early_s, 1e7)
    axes.fill_betweenx(
        end.front_mm, early / 60, late / 60, color=BLUE, alpha=0.25, lw=0, label="95 % band"
    )
    ahead = np.isfinite(end.middle_s) & (end.middle_s >= now)
    there = np.isfinite(end.middle_s)
    axes.plot(end.middle_s[there] / 60, end.front_mm[there], color=BLUE, lw=1.2)
    axes.plot(end.middle_s[ahead] / 60, end.front_mm[ahead], color=BLUE, lw=2.6, ls=(0, (4, 2)),
              label="forecast")  # fmt: skip


def draw_good_runs(axes: Axes, good: Band) -> None:
    """Draw the band of good runs, whole on its late side; near the feed as `Band.front_mm` has it.

    Parameters
    ----------
    axes : matplotlib Axes
        Minutes to the right, upwards what the band's distances are in.
    good : Band
    """
    first = good.distance_mm[0]
    start = np.linspace(0.0, first, 20, endpoint=False)
    upward = np.r_[start, good.distance_mm]
    middle, early, late = (
        np.r_[clock[0] * (start / first) ** 2, clock] / 60
        for clock in (good.middle_s, good.early_s, good.late_s)
    )
    axes.fill_betweenx(upward, early, late, **GOOD_RUNS)
    axes.plot(middle, upward, color=GREEN, lw=1.2)
