"""Pictures of a run on a part: minutes early and late over its plan, and resin against time."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch as Swatch

from analysis.infusion.answer.part_run import InfusionAnswer
from analysis.infusion.answer.photo_lines import planned_lines, seen_lines
from analysis.part.answer.figures import FEED, GAP, VENT, WIDTH_IN, base, new_figure, places
from analysis.part.grid.network import Links
from vision.common.rounding import rounded
from vision.drawing.front_lines import choose_times_s
from vision.records import BoolArray, FloatArray

LATE = LinearSegmentedColormap.from_list(
    "late", ["#0b3c6f", "#5b8fbf", "#c5d9e8", "#faf7f0", "#f0cfa0", "#cc7a2e", "#7a2d00"]
)
"""Both ends are dark in grey: early and late are told apart by sign and words in the picture."""
MARKS = 6


def late_map(run: InfusionAnswer) -> Figure:
    """Draw minutes early and late over the plan, with planned and seen lines.

    What was not seen, or cannot be compared, is hatched; places that are unlike the rest by more
    than their uncertainties have a number and their minutes in words.
    """
    figure, ax = new_figure(run.job.plan)
    clip = base(ax, run.job.plan)
    beside = run.beside
    if beside is None:
        ax.set_title(f"{run.planned.name}: nothing could be measured, so nothing is compared")
        return figure
    links = run.on.links
    image = paint_late(ax, links, beside.late.late_s, clip)
    hatch(ax, links, ~beside.late.compared, clip)
    _lines(ax, run, clip)
    places(ax, run.job.plan)
    _numbers(ax, run)
    bar = figure.colorbar(image, ax=ax, shrink=0.85, pad=0.015)
    bar.set_label("min later (+) or earlier (-) than planned")
    ax.set_title(f"{run.planned.name}: minutes early and late", fontsize=11)
    figure.legend(handles=_key(run), loc="outside lower center", ncols=6, frameon=False, fontsize=8)
    return figure


def paint_late(ax: Any, links: Links, late_s: FloatArray, clip: Any) -> Any:
    """Paint minutes early and late on the cells of a part, and return the image for its bar.

    Parameters
    ----------
    ax : matplotlib Axes
    links : Links
        The cells.
    late_s : ndarray of shape (cells,), float
        NaN stays blank.
    clip : matplotlib Path
        Of the part.
    """
    late_min, grid = links.field(late_s) / 60.0, links.grid
    size = np.abs(late_min[np.isfinite(late_min)])
    reach = max(float(np.quantile(size, 0.98)) if size.size else 0.0, 1.0)
    edge = (
        grid.x0_mm,
        grid.x0_mm + grid.nx * grid.dx_mm,
        grid.y0_mm,
        grid.y0_mm + grid.ny * grid.dy_mm,
    )
    how: dict[str, Any] = {"extent": edge, "origin": "lower", "zorder": 1}
    image = ax.imshow(late_min, cmap=LATE, vmin=-reach, vmax=reach, interpolation="nearest", **how)
    image.set_clip_path(clip)
    return image


def hatch(ax: Any, links: Links, cells: BoolArray, clip: Any) -> None:
    """Hatch cells of a part, such as those that were not seen."""
    grid, field = links.grid, np.nan_to_num(links.field(cells.astype(float), 0.0))
    if min(field.shape) < 2 or not (field > 0.5).any():
        return
    drawn = ax.contourf(grid.x_mm, grid.y_mm, field, [0.5, 2.0], colors="none", hatches=["///"])
    drawn.set_edgecolor("#777777")
    drawn.set_linewidth(0.0)
    drawn.set_clip_path(clip)


def _key(run: InfusionAnswer) -> list[Any]:
    """Return what the picture holds, in words."""
    look: dict[str, Any] = {"color": "#1a1a1a", "linewidth": 1.1}
    marks: list[Any] = [
        Line2D([], [], linestyle="--", label="planned front", **look),
        Line2D([], [], label="seen front", **look),
        Swatch(facecolor="white", edgecolor="#777777", hatch="///", label="not seen or not due"),
        Line2D([], [], color=FEED, linewidth=3.4, label="feed"),
        Line2D([], [], color=VENT, linewidth=3.4, linestyle=(0, (1, 0.7)), label="vent"),
    ]
    if run.job.plan.gaps:
        marks.append(Line2D([], [], color=GAP, linewidth=2.2, label="planned gap"))
    return marks


def _lines(ax: Any, run: InfusionAnswer, clip: Any) -> None:
    times = choose_times_s(run.seen.last_s, 5)
    for lines, style in ((planned_lines(run, times), "--"), (seen_lines(run, times), "-")):
        for line in lines:
            (drawn,) = ax.plot(*line.points_mm.T, color="#1a1a1a", linewidth=0.9, linestyle=style)
            drawn.set_clip_path(clip)


def _numbers(ax: Any, run: InfusionAnswer) -> None:
    """Write the number of each place and its minutes in its middle."""
    assert run.beside is not None
    for k, patch in enumerate(run.beside.patches[:MARKS], start=1):
        word = "late" if patch.late_s > 0 else "early"
        least = "at least " if patch.at_least else ""
        text = f"{k}: {least}{rounded(abs(patch.late_s) / 60, 1)} min {word}"
        box = {"facecolor": "white", "edgecolor": "#333333", "boxstyle": "round,pad=0.25"}
        ax.annotate(
            text, (patch.x_mm, patch.y_mm), ha="center", fontsize=8, bbox=box, zorder=10
        ).set_clip_on(True)


def resin_picture(run: InfusionAnswer) -> Figure:
    """Draw resin taken in as seen, with its 95 % band, and as planned."""
    figure = Figure(figsize=(WIDTH_IN, 3.6), layout="constrained", facecolor="white")
    FigureCanvasAgg(figure)
    ax = figure.subplots()
    flow = run.planned.flow
    ax.plot(flow.time_s / 60, flow.resin_kg, "--", color="#333333", label="planned")
    if run.resin is not None:
        told = run.seen.used & (run.seen.frame_s >= 0)
        now = run.seen.frame_s[told] / 60
        mass, sd = run.resin.resin_in_kg[told], run.resin.resin_in_sd_kg[told]
        ax.plot(now, mass, "-", color="#b34700", linewidth=2, label="seen")
        ax.fill_between(now, mass - 1.96 * sd, mass + 1.96 * sd, color="#b34700", alpha=0.25)
        last = max(float(now[-1]) if len(now) else 0.0, 1.0)
        ax.set_xlim(0, 1.6 * last if flow.time_s[-1] / 60 > 1.6 * last else None)
    ax.set_xlabel("time, min")
    ax.set_ylabel("resin in the part, kg")
    ax.set_ylim(bottom=0)
    ax.legend(frameon=False)
    ax.set_title(f"{run.planned.name}: resin taken in, planned and seen", fontsize=11)
    return figure
