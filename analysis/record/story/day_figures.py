"""Figures of the day: the bag's pressure, and the panel from above with what was found on it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.patheffects import withStroke

from analysis.record.day.mark_flow import MarkFlow
from analysis.record.figures import BLUE, INK, VERMILION, png_bytes
from analysis.record.story.inch_axes import chart_in_inches, map_in_inches
from vision.records import ArrivalMap, FloatArray

_WIDE_IN, _DPI = 7.2, 110
_MOST_TALL_IN = 7.0
_LINES = 6


def pressure_figure(
    time_min: FloatArray,
    bag_mbar: FloatArray,
    *,
    from_words: str,
    limit: tuple[float, float] | None = None,
    inch: bool = False,
) -> bytes:
    """Draw the pressure in the bag against time.

    Parameters
    ----------
    time_min, bag_mbar : ndarray of shape (N,), float
        Minutes, and mbar absolute.
    from_words : str
        What the time counts from, for the axis.
    limit : (mbar, min), optional
        Rise the shop allows from the first reading, and in what time: drawn as a level line.
    inch : bool
        Whether an axis in inHg stands at the right.

    Returns
    -------
    png : bytes
    """
    figure = Figure(figsize=(_WIDE_IN, 3.0), dpi=_DPI, facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.122, 0.17, 0.862, 0.70))
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(color="#d9d9d9", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.plot(time_min, bag_mbar, "o-", ms=3.6, lw=1.2, color=INK, label="gauge")
    if limit is not None:
        most = float(bag_mbar[0]) + limit[0]
        words = f"allowed: {limit[0]:g} mbar in {limit[1]:g} min"
        dashed: dict[str, Any] = {"ls": (0, (7, 3))}
        axes.plot([0, limit[1]], [most, most], color=VERMILION, lw=1.4, label=words, **dashed)
    low, high = axes.get_ylim()
    axes.set_ylim(max(0.0, low - 0.15 * (high - low)), high + 0.15 * (high - low))
    axes.set_xlim(left=min(0.0, float(np.min(time_min))))
    axes.set_xlabel(f"min from {from_words}", fontsize=10)
    axes.set_ylabel("bag, mbar absolute", fontsize=10)
    place: dict[str, Any] = {"loc": "lower left", "bbox_to_anchor": (-0.02, 1.0)}
    axes.legend(fontsize=9, ncols=3, frameon=False, **place)
    return png_bytes(chart_in_inches(figure) if inch else figure, _DPI)


def marks_figure(
    size_mm: tuple[float, float],
    arrival: ArrivalMap | None,
    marks: Sequence[MarkFlow],
    inch: bool = False,
) -> bytes:
    """Draw the panel from above with when the resin came, and the numbered marks on it.

    Parameters
    ----------
    size_mm : (length, width)
        The panel.
    arrival : ArrivalMap or None
        None leaves the panel blank.
    marks : sequence of MarkFlow
        Mark 1 is the first.
    inch : bool
        Whether the axes have inches too.

    Returns
    -------
    png : bytes
        x along the flow to the right, y down. Marks are ringed numbers: nothing hangs on colour.
    """
    length, width = size_mm
    room_in = _WIDE_IN - 1.5
    tall_in = min(room_in * width / length, _MOST_TALL_IN)
    room_in = tall_in * length / width
    below_in = 0.72 if inch else 0.55
    high_in = tall_in + below_in + 0.4
    figure = Figure(figsize=(_WIDE_IN, high_in), dpi=_DPI, facecolor="white")
    FigureCanvasAgg(figure)
    place = (0.62 / _WIDE_IN, below_in / high_in, room_in / _WIDE_IN, tall_in / high_in)
    axes = figure.add_axes(place)
    axes.add_patch(Rectangle((0, 0), length, width, fill=False, ec=INK, lw=1.0, zorder=3))
    if arrival is not None:
        _draw_arrival(figure, axes, arrival)
    for number, found in enumerate(marks, 1):
        draw_mark(axes, number, found)
    axes.set_xlim(0, length)
    axes.set_ylim(width, 0)
    axes.set_xlabel("x, mm from the feed edge", fontsize=9)
    axes.set_ylabel("y, mm across", fontsize=9)
    axes.tick_params(labelsize=8.5)
    return png_bytes(map_in_inches(figure) if inch else figure, _DPI)


def _draw_arrival(figure: Figure, axes: Any, arrival: ArrivalMap) -> None:
    extent = (0.0, arrival.length_mm, arrival.width_mm, 0.0)
    minutes = np.ma.masked_invalid(arrival.time_s / 60.0)
    shown = axes.imshow(minutes, extent=extent, cmap="cividis", vmin=0, aspect="auto")
    bar = figure.colorbar(shown, cax=axes.inset_axes((1.02, 0.0, 0.025, 1.0)))
    bar.set_label("wetted, min from resin start", fontsize=9)
    bar.ax.tick_params(labelsize=8.5)
    mm = arrival.mm_per_px
    x = (np.arange(arrival.time_s.shape[1]) + 0.5) * mm
    y = (np.arange(arrival.time_s.shape[0]) + 0.5) * mm
    if min(arrival.time_s.shape) > 1 and minutes.count():
        levels = np.linspace(0, float(minutes.max()), _LINES + 1)[1:-1]
        axes.contour(x, y, minutes, levels=levels, colors="white", linewidths=0.7)
    words = ["Front lines in white."]
    for mask, hatch, told in (
        (~np.isfinite(arrival.time_s), "////", "Strokes: not wetted."),
        (np.isfinite(arrival.time_s) & ~arrival.seen, "...", "Dots: hidden from the camera."),
    ):
        if mask.any() and min(mask.shape) > 1:
            words.append(told)
            drawn = axes.contourf(
                x, y, mask.astype(float), levels=[0.5, 2], colors="none", hatches=[hatch]
            )
            drawn.set_edgecolor("#555555" if hatch == "////" else "#b0b0b0")
            drawn.set_linewidth(0.0)
    axes.set_title("  ".join(words), fontsize=8.5, loc="left")


def draw_mark(axes: Any, number: int, found: MarkFlow) -> None:
    """Draw a mark as a ringed number on its place."""
    mark = found.mark
    ring = {"boxstyle": "circle,pad=0.22", "fc": "white", "ec": INK, "lw": 1.3}
    axes.plot([mark.x_mm], [mark.y_mm], "+", color=BLUE, ms=4, zorder=5)
    words = axes.text(mark.x_mm, mark.y_mm, str(number), fontsize=8, color=INK, bbox=ring, zorder=6)
    words.set(ha="center", va="center", clip_on=False)
    words.set_path_effects([withStroke(linewidth=1.2, foreground="white")])
