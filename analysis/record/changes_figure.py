"""Margin against each change of the process, drawn."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from analysis.forecast.process_changes import known_temperature, temperatures
from analysis.forecast.what_if import Case, Change, Outcome, outcome
from analysis.record.figures import BLUE, INK
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
LEVERS_DPI = 150
LATE: dict[str, Any] = {
    "facecolor": "#f2f2f2",
    "edgecolor": "#8a8a8a",
    "hatch": "///",
    "linewidth": 0.8,
    "zorder": 0,
}
"""Ground where the fill takes too long: hatched, for the band over it is grey in print too."""


def margin_curves(case: Case) -> dict[str, tuple[str, FloatArray, list[Outcome]]]:
    """Margin along each change, for the plot: name to axis label, values and outcomes."""
    length_mm = case.length_m * 1000.0
    lengths = np.linspace(0.2, 1.5, 40)
    speeds = np.geomspace(0.5, 20.0, 40)
    cures = np.linspace(0.4, 3.0, 40)
    out: dict[str, tuple[str, FloatArray, list[Outcome]]] = {
        "run": (
            "flow length, mm",
            lengths * length_mm,
            [outcome(case, Change(length=float(v))) for v in lengths],
        ),
        "lines": (
            "distance between feed lines, mm",
            2.0 * lengths * length_mm,
            [outcome(case, Change(length=float(v), feeds=2.0)) for v in lengths],
        ),
        "media": (
            "speed of the stack, times today's",
            speeds,
            [outcome(case, Change(speed=float(v))) for v in speeds],
        ),
        "hardener": (
            "gel time, min",
            cures * case.gel.gel_s / 60.0,
            [outcome(case, Change(cure=float(v))) for v in cures],
        ),
    }
    drive = case.panel.vacuum.pressure_pa
    if drive is not None:
        factors = np.linspace(0.5, max(case.panel.vacuum.ambient_pa / drive, 1.0), 40)
        mbar = factors * drive / 100.0
        out["vacuum"] = (
            "pressure difference, mbar",
            mbar,
            [outcome(case, Change(drive=float(v))) for v in factors],
        )
    if known_temperature(case.panel):
        grid = temperatures()
        out["temperature"] = (
            "temperature, C",
            grid,
            [outcome(case, Change(temperature_c=float(t))) for t in grid],
        )
    return out


def draw_change(
    ax: Axes, title: str, label: str, values: FloatArray, outcomes: list[Outcome], now: float
) -> None:
    """Draw margin with its 95 % band against one change on `ax`, today's value marked."""
    middle = np.minimum([o.margin for o in outcomes], 2 * MOST_MARGIN)
    low = np.minimum([o.margin_low for o in outcomes], 2 * MOST_MARGIN)
    high = np.minimum([o.margin_high for o in outcomes], 2 * MOST_MARGIN)
    ax.axhspan(0.0, 1.0, **LATE)
    ax.fill_between(values, low, high, color=BLUE, alpha=0.28, linewidth=0)
    ax.plot(values, middle, color=BLUE, linewidth=1.8)
    if np.isfinite(now):
        ax.axvline(now, color=INK, linewidth=1.0, linestyle=":")
    ax.set_title(title, fontsize=10, loc="left")
    ax.set_xlabel(label, fontsize=8)
    ax.set_ylim(0.0, MOST_MARGIN if np.nanmax(middle) > 2.5 else 2.5)
    ax.tick_params(labelsize=8)


def changes_figure(case: Case) -> Figure:
    """Draw all changes of a case; hatched is where the fill outlasts the working time."""
    panels = margin_curves(case)
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
        draw_change(ax, TITLES[name], label, values, outcomes, float(now.get(name, np.nan)))
        if name == "media":
            ax.set_xscale("log")
            ticks = [0.5, 1, 2, 5, 10, 20]
            ax.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
            ax.minorticks_off()
    for ax in axes[::3]:
        ax.set_ylabel("working time / fill time", fontsize=8)
    key = [
        Line2D([], [], color=BLUE, linewidth=1.8, label="best estimate"),
        Patch(color=BLUE, alpha=0.28, linewidth=0, label="95 % interval"),
        Line2D([], [], color=INK, linewidth=1.0, linestyle=":", label="as planned"),
        Patch(**{k: v for k, v in LATE.items() if k != "zorder"}, label="fills too late"),
    ]
    figure.legend(handles=key, loc="outside lower center", ncols=4, frameon=False, fontsize=9)
    figure.suptitle(f"{case.panel.name}: what each change does to the margin", fontsize=11)
    return figure


def write_changes_figure(path: Path, case: Case) -> None:
    """Write the figure as PNG in one step."""
    figure = changes_figure(case)
    replace_file(path, lambda part: figure.savefig(part, dpi=LEVERS_DPI, format="png"))
