"""The band of good runs with the run judged, and the control charts."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from analysis.runs.panels.line_style import GREY, INK
from analysis.runs.repeat.control_chart import ControlChart
from analysis.runs.repeat.judged import Judged

SIZE_IN = (5.4, 4.6)
CHART_IN = 2.7
DPI = 150
AXES = {"mm": "flow front, mm", "% wet": "wet share of the part, %"}
BLUE, VERMILION = "#0072b2", "#b34700"


def band_figure(found: Judged) -> Figure:
    """Draw front distance, or a part's wet share, against time: good runs, band, run judged.

    Returns
    -------
    figure : matplotlib Figure
    """
    figure, axes = _page(SIZE_IN, (0.135, 0.115, 0.83, 0.7))
    band = found.band
    axes.fill_betweenx(band.distance_mm, band.early_s / 60, band.late_s / 60, facecolor="#dfe9f0",
                       edgecolor=BLUE, hatch="///", lw=0.8, alpha=0.7, label="band")  # fmt: skip
    axes.plot(band.middle_s / 60, band.distance_mm, color=BLUE, ls=(0, (6, 2)), lw=1.6,
              label="middle good run")  # fmt: skip
    label: str | None = "good runs"
    for run in found.good:
        if run.reference is not None:
            axes.plot(run.reference.time_s / 60, run.reference.front_mm, color=GREY, lw=0.9,
                      label=label)  # fmt: skip
            label = None
    _judged(axes, found)
    last = float(band.middle_s[-1]) / 60
    ends = [last, *([] if band.factor > 4.5 else [float(band.late_s[-1]) / 60])]
    if found.judged is not None and found.judged.reference is not None:
        ends.append(found.judged.reference.last_s / 60)
    axes.set_xlim(0.0, 1.06 * min(max(ends), 4.0 * last))
    axes.set_ylim(0.0, 1.08 * float(band.distance_mm[-1]))
    axes.set_xlabel("time from resin start, min")
    axes.set_ylabel(AXES[band.unit])
    axes.legend(loc="lower left", bbox_to_anchor=(-0.02, 1.0), ncols=2, fontsize=9.5, frameon=False)
    return figure


def _judged(axes: Axes, found: Judged) -> None:
    told, run = found.judgement, found.judged
    if run is None or run.reference is None:
        return
    curve = run.reference
    every = max(len(curve.time_s) // 12, 1)
    time = np.r_[curve.time_s, curve.last_s] / 60
    front = np.r_[curve.front_mm, curve.front_mm[-1]]
    axes.plot(time, front, color=INK, lw=2.0, marker="o", ms=4.5, markevery=every,
              label=f"run {run.label}, judged")  # fmt: skip
    if told is not None and told.left_mm is not None and told.left_s is not None:
        at = (told.left_s / 60, told.left_mm)
        axes.plot(*at, "s", ms=11, mfc="none", mec=VERMILION, mew=2.0, ls="", label="leaves here")


def charts_figure(charts: tuple[ControlChart, ...]) -> Figure | None:
    """Draw each chart: values with their limits, moving ranges below; None where there is none."""
    if not charts:
        return None
    height = CHART_IN * len(charts)
    figure = Figure(figsize=(SIZE_IN[0], height), dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    for i, chart in enumerate(charts):
        top = 1.0 - (i + 0.14) * CHART_IN / height
        unit = CHART_IN / height
        values = figure.add_axes((0.15, top - 0.44 * unit, 0.81, 0.44 * unit))
        ranges = figure.add_axes((0.15, top - 0.72 * unit, 0.81, 0.19 * unit), sharex=values)
        _values(values, chart)
        _ranges(ranges, chart)
    return figure


def _values(axes: Axes, chart: ControlChart) -> None:
    _dress(axes)
    places = np.arange(1, len(chart.values) + 1)
    known = np.isfinite(chart.values)
    axes.plot(places[known], chart.values[known], "-o", color=INK, lw=1.2, ms=5)
    for signal in chart.signals:
        axes.plot(places[signal.index], chart.values[signal.index], "s", ms=12, mfc="none",
                  mec=VERMILION, mew=1.8)  # fmt: skip
    if chart.centre is not None and chart.lower is not None and chart.upper is not None:
        axes.axhline(chart.centre, color=BLUE, lw=1.2)
        for limit, name, off in ((chart.upper, "upper limit", 3), (chart.lower, "lower limit", -3)):
            axes.axhline(limit, color=BLUE, lw=1.2, ls=(0, (6, 3)))
            axes.annotate(name, (0.0, limit), (3, off), xycoords=axes.get_yaxis_transform(),
                          textcoords="offset points", fontsize=8.5, color=BLUE,
                          va="bottom" if off > 0 else "top")  # fmt: skip
    if chart.baseline < len(chart.values):
        axes.axvline(chart.baseline + 0.5, color=GREY, lw=1.0, ls=":")
    axes.set_title(f"{chart.name}, {chart.unit}", loc="left", fontsize=10.5, pad=4)
    axes.set_xlim(0.5, len(chart.values) + 0.5)
    axes.tick_params(labelbottom=False)
    axes.margins(y=0.18)


def _ranges(axes: Axes, chart: ControlChart) -> None:
    _dress(axes)
    known = np.flatnonzero(np.isfinite(chart.values))
    steps = np.abs(np.diff(chart.values[known]))
    axes.plot(known[1:] + 1, steps, "-o", color=INK, lw=1.0, ms=3.5)
    if chart.range_upper is not None:
        axes.axhline(chart.range_upper, color=BLUE, lw=1.2, ls=(0, (6, 3)))
    axes.set_ylim(bottom=0.0)
    axes.margins(y=0.2)
    axes.set_ylabel("step", fontsize=9)
    axes.set_xticks(range(1, len(chart.labels) + 1), chart.labels)
    axes.set_xlabel("run", fontsize=9.5, labelpad=1)


def _page(
    size: tuple[float, float], room: tuple[float, float, float, float]
) -> tuple[Figure, Axes]:
    figure = Figure(figsize=size, dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.add_axes(room)
    _dress(axes)
    return figure, axes


def _dress(axes: Axes) -> None:
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(color="#d9d9d9", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=9.5)
