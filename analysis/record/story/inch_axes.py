"""Inches, inHg and pounds on the axes of a figure, beside the metric numbers they stand for."""

from __future__ import annotations

import re
from functools import partial

import numpy as np
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter
from numpy.typing import ArrayLike

from analysis.record.story.inches import POUND_KG, both_units
from vision.common.quantity import INCH_MM, INHG_MBAR
from vision.records import FloatArray

UNITS = {
    "mm": ("in", INCH_MM),
    "cm²": ("in²", INCH_MM**2 / 100.0),
    "mbar": ("inHg", INHG_MBAR),
    "kg": ("lb", POUND_KG),
}
"""The other unit of each, and how many of the metric one it holds."""
_UNIT = re.compile(r"(?<![\w/])(mm|cm²|mbar|kg)(?![\w/])")
_RIGHT = 0.075
"""Share of the figure's width that an axis at the right takes."""


def chart_in_inches(figure: Figure) -> Figure:
    """Add an upright axis in the other unit at the right of a chart; turn its words too.

    Parameters
    ----------
    figure : matplotlib Figure
        With one pair of axes; its upright label names the unit. It is changed in place.
    """
    axes = figure.axes[0]
    found = _UNIT.search(axes.get_ylabel())
    if found:
        other, size = UNITS[found.group(1)]
        if figure.get_layout_engine() is None:
            left, bottom, wide, high = axes.get_position().bounds
            axes.set_position((left, bottom, wide - _RIGHT, high))
        turn = (partial(_smaller, size), partial(_larger, size))
        right = axes.secondary_yaxis("right", functions=turn)
        right.set_ylabel(other, fontsize=axes.yaxis.label.get_fontsize())
        right.tick_params(labelsize=10)
    _words(axes)
    return figure


def map_in_inches(figure: Figure) -> Figure:
    """Write the other unit in brackets under each tick of axes whose label names a unit.

    Parameters
    ----------
    figure : matplotlib Figure
        Of a panel or part seen from above, or of several charts. It is changed in place.
    """
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            _both(axis)
        _words(axes)
    return figure


def _both(axis: Axis) -> None:
    label = axis.get_label_text()
    found = _UNIT.search(label)
    if not found:
        return
    other, size = UNITS[found.group(1)]
    axis.set_label_text(f"{label[: found.end()]} ({other}){label[found.end() :]}")
    axis.set_major_formatter(FuncFormatter(partial(_tick, size)))


def _tick(size: float, value: float, place: float | None = None) -> str:
    """Return a tick's number, and under it the same in the other unit.

    Examples
    --------
    >>> _tick(INCH_MM, 200.0), _tick(INCH_MM, 5080.0), _tick(INHG_MBAR, 0.0)
    ('200\\n(7.9)', '5080\\n(200)', '0\\n(0)')
    """
    other = value / size
    decimals = 1 if 0 < abs(other) < 99.95 else 0
    return f"{value:g}\n({other:.{decimals}f})"


def _words(axes: Axes) -> None:
    """Turn the words on axes and in their legend."""
    legend = axes.get_legend()
    for text in [*axes.texts, *(legend.get_texts() if legend else ())]:
        text.set_text(both_units(text.get_text()))


def _smaller(size: float, value: ArrayLike) -> FloatArray:
    return np.asarray(value, float) / size


def _larger(size: float, value: ArrayLike) -> FloatArray:
    return np.asarray(value, float) * size
