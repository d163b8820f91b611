"""Margin against each lever, drawn."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from analysis.forecast.process_changes import curves
from analysis.forecast.what_if import Case, Outcome
from vision.common.atomic_files import replace_file
from vision.records import FloatArray

TITLES = {
    "run": "Shorter run",
    "lines": "More feed lines",
    "media": "Flow media",
    "hardener": "Slower hardener",
    "vacuum": "Better vacuum",
    "temperature": "Temperature",
}
MOST_MARGIN = 5.0


def draw_lever(
    ax: Axes, title: str, label: str, values: FloatArray, outcomes: list[Outcome], now: float
) -> None:
    """Draw margin with its 95 % band against one lever on `ax`, today's value marked."""
    middle = np.minimum([o.margin for o in outcomes], 2 * MOST_MARGIN)
    low = np.minimum([o.margin_low for o in outcomes], 2 * MOST_MARGIN)
    high = np.minimum([o.margin_high for o in outcomes], 2 * MOST_MARGIN)
    ax.axhspan(0.0, 1.0, color="#f3d9d2", zorder=0)
    ax.fill_between(values, low, high, color="#2c6e8f", alpha=0.25, linewidth=0)
    ax.plot(values, middle, color="#1d4e66", linewidth=1.8)
    if np.isfinite(now):
        ax.axvline(now, color="#777777", linewidth=1.0, linestyle=":")
    ax.set_title(title, fontsize=10, loc="left")
    ax.set_xlabel(label, fontsize=8)
    ax.set_ylim(0.0, MOST_MARGIN if np.nanmax(middle) > 2.5 else 2.5)
    ax.tick_params(labelsize=8)


def levers_figure(case: Case) -> Figure:
    """Draw all levers of a case; the red ground is where the fill outlasts the working time."""
    panels = curves(case)
    drive = case.panel.vacuum.pressure_pa
    warm = case.panel.resin.temperature_c
    now = {
        "run": case.length_m * 1000.0,
        "media": 1.0,
        "hardener": case.gel.gel_s / 60.0,
        "vacuum": np.nan if drive is None else drive / 100.0,
        "temperature": np.nan if warm is None else warm,
    }
    figure = Figure(figsize=(9.0, 5.4), layout="constrained")
    FigureCanvasAgg(figure)
    axes = np.asarray(figure.subplots(2, 3)).ravel()
    for ax, name in zip(axes, TITLES, strict=True):
        if name not in panels:
            ax.set_axis_off()
            continue
        label, values, outcomes = panels[name]
        draw_lever(ax, TITLES[name], label, values, outcomes, float(now.get(name, np.nan)))
        if name == "media":
            ax.set_xscale("log")
            ticks = [0.5, 1, 2, 5, 10, 20]
            ax.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
            ax.minorticks_off()
    for ax in axes[::3]:
        ax.set_ylabel("working time / fill time", fontsize=8)
    figure.suptitle(f"{case.panel.name}: what each change does to the margin", fontsize=11)
    return figure


def write_levers_plot(path: Path, case: Case) -> None:
    """Write the figure as PNG in one step."""
    figure = levers_figure(case)
    replace_file(path, lambda part: figure.savefig(part, dpi=150, format="png"))
