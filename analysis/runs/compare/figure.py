"""All curves in one plot: distance against time, and x² against driving impulse."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from analysis.fit.permeability import PermeabilityFit, panel_impulse
from analysis.runs.panels.facts import PanelFacts
from analysis.runs.panels.line_style import GREY, INK, LineStyle, line_style
from vision.records import FloatArray

SIZE_IN = (5.4, 8.4)
DPI = 150
MARKS = 9
"""Markers on a line; with as many as there are photos they would run together."""


def comparison_figure(setups: Mapping[str, Sequence[PanelFacts]]) -> Figure:
    """Draw the panels' fronts.

    Parameters
    ----------
    setups : mapping of str to sequence of PanelFacts
        By letter; panels of one set-up look alike. One that does not count is thin and grey.

    Returns
    -------
    figure : matplotlib Figure
        Above: mm against min. Below: the front's law h (x² for an edge feed) in cm² against the
        driving impulse, where panels of one permeability over porosity fall on one straight line;
        panels without pressure or viscosity are missing there.
    """
    figure = Figure(figsize=SIZE_IN, dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    upper = figure.add_axes((0.135, 0.57, 0.82, 0.36))
    lower = figure.add_axes((0.135, 0.065, 0.82, 0.405))
    for i, (letter, panels) in enumerate(setups.items()):
        _lines(upper, [_front(panel) for panel in panels], line_style(i), letter, panels)
        _lines(lower, [_law(panel) for panel in panels], line_style(i), letter, panels)
    _dress(upper, "time from resin start, min", "flow front, mm")
    _dress(
        lower,
        "driving impulse (pressure over viscosity, summed), millions",
        "front distance squared, cm²",
    )
    lower.set_title("Resin and vacuum taken out: like panels on one line", loc="left", fontsize=11)
    handles, names = upper.get_legend_handles_labels()
    if handles:
        upper.legend(
            handles, names, loc="lower left", bbox_to_anchor=(-0.02, 1.0), ncols=min(len(names), 6),
            fontsize=9.5, frameon=False, columnspacing=1.4, handlelength=2.6,
        )  # fmt: skip
    if not lower.lines:
        lower.text(0.5, 0.5, "pressure or viscosity not stated", ha="center", color=GREY,
                   transform=lower.transAxes)  # fmt: skip
    return figure


def _front(panel: PanelFacts) -> tuple[FloatArray, FloatArray]:
    """Time in min and front in mm of the rows that are believed."""
    curve = panel.answer.tracked.curve
    good = curve.used & np.isfinite(curve.front_mean_mm) & (curve.time_s >= 0)
    return curve.time_s[good] / 60.0, curve.front_mean_mm[good]


def _law(panel: PanelFacts) -> tuple[FloatArray, FloatArray]:
    """Impulse in millions and the law's h, with the feed's resistance, in cm2."""
    fit = panel.answer.fit
    none = np.zeros(0)
    if not isinstance(fit, PermeabilityFit) or not panel_impulse(panel.answer.panel)[1]:
        return none, none
    good = fit.used & np.isfinite(fit.front_m)
    front = fit.front_m[good]
    # A point feed has D = 4 K / porosity where an edge feed has 2: brought to the same line.
    h = (fit.law.h(front) + 2.0 * fit.feed_length_m * front) * 2.0 / fit.law.k_factor
    theta = np.asarray(fit.impulse.at(fit.time_s[good]), float)
    return theta / 1e6, h * 1e4


def _lines(
    axes: Axes,
    curves: Sequence[tuple[FloatArray, FloatArray]],
    style: LineStyle,
    letter: str,
    panels: Sequence[PanelFacts],
) -> None:
    """Draw the lines of one set-up, with its letter once, at the end that lies farthest right."""
    named = False
    last: tuple[float, float] | None = None
    for (across, up), panel in zip(curves, panels, strict=True):
        if not len(across):
            continue
        out = bool(panel.left_out)
        every = max(len(across) // MARKS, 1)
        look: dict[str, Any] = {
            "color": GREY if out else style.colour,
            "linestyle": style.dash,
            "marker": style.marker,
            "markevery": (min(every // 2, len(across) - 1), every),
            "markersize": 5.0,
            "markerfacecolor": "white" if out else style.colour,
            "linewidth": 1.0 if out else 1.7,
        }
        name = f"{letter} (not counted)" if out else letter
        axes.plot(across, up, label="_" if named else name, **look)
        named = True
        end = (float(across[-1]), float(up[-1]))
        last = end if last is None or end > last else last
    if last is not None:
        axes.annotate(letter, last, (6, 0), textcoords="offset points", va="center",
                      fontsize=10.5, fontweight="bold", color=INK)  # fmt: skip


def _dress(axes: Axes, across: str, up: str) -> None:
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(color="#d9d9d9", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=10)
    axes.set_xlabel(across, fontsize=10.5)
    axes.set_ylabel(up, fontsize=10.5)
    axes.set_xlim(left=0.0)
    axes.set_ylim(bottom=0.0)
    axes.margins(x=0.06)
