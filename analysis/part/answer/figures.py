"""Pictures of a part: front lines, what wets last, margin to gel, resin against time.

Tested in tests/analysis/commands/test_part.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, PathPatch
from matplotlib.path import Path as Outline
from matplotlib.patheffects import withStroke
from scipy.ndimage import distance_transform_edt

from analysis.part.answer.part_answer import PartAnswer
from analysis.part.plan.plan import PartPlan, Place
from vision.common.atomic_files import replace_file
from vision.common.rounding import minutes
from vision.records import FloatArray

RESIN = LinearSegmentedColormap.from_list("resin", ["#6fb0bb", "#9ccac6", "#cfe2cf", "#f6efdc"])
GEL = LinearSegmentedColormap.from_list(
    "gel", ["#5c1f00", "#a34a12", "#d9935a", "#e3bd93", "#c3d9e6", "#dceaf2", "#f4f9fc"]
)
"""Lighter with every minute that is left, so that late and early never print alike in grey; what
comes too late is hatched too."""
FEED, VENT, LAST, AIR, GAP = "#b34700", "#0b2f7a", "#8a3f73", "#1a1a1a", "#e0a100"
"""Feed, vent, last spot and air also differ in width, dash and sign: colour never tells alone."""
_WHITE_UNDER = [withStroke(linewidth=5.6, foreground="white")]
_VENT_DASH = (0, (1, 0.7))
STEPS_MIN = (0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 20, 30, 60, 120, 240, 480)
DPI = 130
FRAMES = 36
HOLD = 8
WIDTH_IN = 9.0


def line_step_min(last_min: float, lines: int = 12) -> float:
    """Choose a round step for front lines, so that there are at most `lines` of them.

    Examples
    --------
    >>> line_step_min(36.0), line_step_min(3.0)
    (5, 0.5)
    """
    return next((step for step in STEPS_MIN if last_min / step <= lines), last_min / lines)


def spread(field: FloatArray, cells: float = np.inf) -> FloatArray:
    """Carry the values at the part's edge outwards, so that drawings reach the outline.

    Parameters
    ----------
    field : ndarray of shape (ny, nx)
        NaN outside the part.
    cells : float
        How far; beyond it stays NaN.
    """
    empty = np.isnan(field)
    if not empty.any():
        return field
    away, (row, col) = distance_transform_edt(empty, return_indices=True)
    return np.where(away <= cells, field[row, col], np.nan)


def part_path(plan: PartPlan) -> Outline:
    """Return outline and holes as one path."""
    loops = [plan.outline_mm, *plan.holes_mm]
    closed = [np.vstack([loop, loop[:1]]) for loop in loops]
    codes = [
        [Outline.MOVETO] + [Outline.LINETO] * (len(c) - 2) + [Outline.CLOSEPOLY] for c in closed
    ]
    turned = [closed[0], *(_against(closed[0], hole) for hole in closed[1:])]
    return Outline(np.concatenate(turned), np.concatenate(codes))


def _against(outline: FloatArray, hole: FloatArray) -> FloatArray:
    """Turn a hole the other way round than the outline, so that it is left empty."""

    def way(p: FloatArray) -> float:
        return float(np.dot(p[:-1, 0], p[1:, 1]) - np.dot(p[1:, 0], p[:-1, 1]))

    return hole[::-1] if way(outline) * way(hole) > 0 else hole


def new_figure(plan: PartPlan, extra_in: float = 1.5) -> tuple[Figure, Axes]:
    """Make a figure whose height suits the part."""
    size = np.ptp(plan.outline_mm, axis=0)
    height = float(np.clip(0.86 * WIDTH_IN * size[1] / size[0], 1.2, 11.0)) + extra_in
    figure = Figure(figsize=(WIDTH_IN, height), layout="constrained", facecolor="white")
    FigureCanvasAgg(figure)
    return figure, figure.add_subplot()


def base(ax: Axes, plan: PartPlan) -> PathPatch:
    """Draw the outline to scale and give it as a patch to clip with."""
    path = part_path(plan)
    edge = PathPatch(path, facecolor="none", edgecolor="#333333", linewidth=1.2, zorder=6)
    ax.add_patch(edge)
    size = np.ptp(plan.outline_mm, axis=0).max()
    low, high = plan.outline_mm.min(axis=0), plan.outline_mm.max(axis=0)
    pad = 0.03 * size
    ax.set_xlim(low[0] - pad, high[0] + pad)
    ends = (low[1] - pad, high[1] + pad)
    ax.set_ylim(ends if plan.y_runs == "up" else ends[::-1])
    ax.set_aspect("equal")
    ax.set_xlabel("x, mm (runs right)")
    ax.set_ylabel(f"y, mm (runs {plan.y_runs})")
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    for zone in plan.zones:
        loop = np.vstack([zone.points_mm, zone.points_mm[:1]])
        for colour, wide, style in (("white", 1.6, "-"), ("#444444", 1.1, (0, (1, 1.6)))):
            (line,) = ax.plot(*loop.T, color=colour, linewidth=wide, linestyle=style, zorder=5)
            line.set_clip_path(edge)
    for gap in plan.gaps:
        ax.plot(*gap.line_mm.T, color=GAP, linewidth=2.2, zorder=7, solid_capstyle="butt")
    return edge


def _draw_place(ax: Axes, place: Place, colour: str, style: Any, wide: float, sign: str) -> None:
    look: dict[str, Any] = {"color": colour, "zorder": 8, "path_effects": _WHITE_UNDER}
    if place.is_line:
        ax.plot(*place.points_mm.T, linewidth=wide, linestyle=style, dash_capstyle="butt", **look)
    else:
        ax.plot(*place.points_mm[0], sign, markersize=2.4 * wide, **look)


def places(ax: Axes, plan: PartPlan) -> None:
    """Draw feeds and vents."""
    for vent in plan.vents:
        _draw_place(ax, vent.place, VENT, _VENT_DASH, 3.4, "s")
    for feed in plan.feeds:
        later = feed.opens_when_wet or feed.opens_at_s > 0
        _draw_place(ax, feed.place, FEED, (0, (3, 1.2)) if later else "-", 3.4, "o")


def key(ax: Axes, plan: PartPlan, answer: PartAnswer | None, gel: bool = False) -> None:
    """Draw the key below the picture, with what the picture holds and nothing else."""
    later = [feed.opens_when_wet or feed.opens_at_s > 0 for feed in plan.feeds]
    marks: list[Any] = []
    if not all(later):
        marks.append(Line2D([], [], color=FEED, linewidth=3.4, label="feed"))
    if any(later):
        marks.append(
            Line2D(
                [],
                [],
                color=FEED,
                linewidth=3.4,
                linestyle=(0, (3, 1.2)),
                label="feed, opens later",
            )
        )
    if plan.vents:
        marks.append(Line2D([], [], color=VENT, linewidth=3.4, linestyle=_VENT_DASH, label="vent"))
    if plan.zones:
        marks.append(Line2D([], [], color="#555555", linewidth=0.9, linestyle=":", label="zone"))
    if plan.gaps:
        marks.append(Line2D([], [], color=GAP, linewidth=2.2, label="edge gap"))
    if answer is not None:
        marks.append(Line2D([], [], color=LAST, marker="X", linestyle="", label="wets last"))
        if answer.trapped:
            marks.append(
                Line2D(
                    [],
                    [],
                    color=AIR,
                    marker="s",
                    markerfacecolor="none",
                    linestyle="",
                    label="trapped air ends",
                )
            )
    if gel:
        marks.append(
            Patch(facecolor="#d9935a", edgecolor=AIR, hatch="///", label="working time over")
        )
    ax.figure.legend(handles=marks, loc="outside lower center", ncols=7, frameon=False, fontsize=8)


def _lines(ax: Axes, answer: PartAnswer, clip: PathPatch, step: float | None) -> None:
    grid = answer.filling.links.grid
    wet_min = np.where(np.isinf(answer.arrival_s), np.nan, answer.arrival_s) / 60.0
    time_min = spread(wet_min, 2.0)
    last = float(np.nanmax(time_min))
    step = step or line_step_min(last)
    levels = np.arange(step, last, step)
    if len(levels) and min(time_min.shape) > 1:
        drawn = ax.contour(
            grid.x_mm, grid.y_mm, time_min, levels, colors="#1a1a1a", linewidths=0.8, zorder=4
        )
        drawn.set_clip_path(clip)
        for text in ax.clabel(drawn, fmt=lambda v: f"{v:g}", fontsize=7, inline=True):
            text.set_clip_on(True)


def _shade(ax: Axes, answer: PartAnswer, field: FloatArray, clip: PathPatch, **how: Any) -> Any:
    grid = answer.filling.links.grid
    edge = (
        grid.x0_mm,
        grid.x0_mm + grid.nx * grid.dx_mm,
        grid.y0_mm,
        grid.y0_mm + grid.ny * grid.dy_mm,
    )
    image = ax.imshow(field, extent=edge, origin="lower", interpolation="bilinear", zorder=1, **how)
    image.set_clip_path(clip)
    if answer.trapped:
        inside = np.nan_to_num(answer.filling.links.field(answer.filling.in_trapped.astype(float)))
        if min(inside.shape) > 1:
            hatched = ax.contourf(
                grid.x_mm, grid.y_mm, spread(inside), [0.5, 2.0], colors="none", hatches=["xx"]
            )
            hatched.set_edgecolor(AIR)
            hatched.set_clip_path(clip)
    return image


def _last(ax: Axes, answer: PartAnswer) -> None:
    ax.plot(
        *answer.last_spot_mm,
        "X",
        color=LAST,
        markersize=9,
        markeredgecolor="white",
        zorder=9,
        clip_on=False,
    )
    for x_mm, y_mm in [spot for air in answer.trapped for spot in air.ends_mm]:
        ax.plot(
            x_mm,
            y_mm,
            "s",
            color=AIR,
            markerfacecolor="none",
            markersize=10,
            markeredgewidth=2,
            zorder=9,
        )


def title(answer: PartAnswer) -> str:
    """Return one line for the head of a picture."""
    if not np.isfinite(answer.vented_time_s):
        return f"{answer.name}: the resin stiffens before all is wet"
    low, high = (
        minutes(answer.vented_time_low_s, "down"),
        minutes(answer.vented_time_high_s, "up"),
    )
    span = f"{minutes(answer.vented_time_s)} (95 %: {low} to {high})"
    if answer.trapped:
        return f"{answer.name}: traps air; with vents where it ends all is wet after {span}"
    return f"{answer.name}: all wet after {span}"


def fill_picture(answer: PartAnswer, step_min: float | None = None) -> Figure:
    """Draw the part to scale with front lines by the minute, feeds, vents and last spots."""
    figure, ax = new_figure(answer.plan)
    clip = base(ax, answer.plan)
    time_min = np.where(np.isinf(answer.arrival_s), np.nan, answer.arrival_s) / 60.0
    image = _shade(ax, answer, spread(time_min), clip, cmap=RESIN, vmin=0)
    _lines(ax, answer, clip, step_min)
    places(ax, answer.plan)
    _last(ax, answer)
    bar = figure.colorbar(image, ax=ax, shrink=0.85, pad=0.015)
    bar.set_label("wets after, min")
    ax.set_title(title(answer), fontsize=11)
    key(ax, answer.plan, answer)
    return figure


def margin_picture(answer: PartAnswer) -> Figure:
    """Draw how many minutes of working time are left when each spot wets."""
    figure, ax = new_figure(answer.plan)
    clip = base(ax, answer.plan)
    working = answer.working_time_s
    left = (float("nan") if working is None else working) - np.where(
        np.isinf(answer.arrival_s), 1e9, answer.arrival_s
    )
    left_min = np.where(np.isnan(answer.arrival_s), np.nan, left) / 60.0
    if working is not None:
        reach = working / 60.0
        shown = spread(np.clip(left_min, -reach, reach))
        image = _shade(ax, answer, shown, clip, cmap=GEL, vmin=-reach, vmax=reach)
        figure.colorbar(image, ax=ax, shrink=0.85, pad=0.015).set_label(
            "working time left on wetting, min"
        )
        late = np.nanmin(shown) < 0
        if late:
            grid = answer.filling.links.grid
            drawn = ax.contour(
                grid.x_mm, grid.y_mm, shown, [0.0], colors=AIR, linewidths=2, zorder=5
            )
            drawn.set_clip_path(clip)
            too_late = ax.contourf(
                grid.x_mm, grid.y_mm, shown, [-2.0 * reach, 0.0], colors="none", hatches=["///"]
            )
            too_late.set_edgecolor(AIR)
            too_late.set_linewidth(0.0)
            too_late.set_clip_path(clip)
        ax.set_title(
            f"{answer.name}: margin to the end of working time ({reach:.0f} min)", fontsize=11
        )
        key(ax, answer.plan, answer, gel=bool(late))
    else:
        ax.set_title(f"{answer.name}: no gel time was given", fontsize=11)
        key(ax, answer.plan, answer)
    places(ax, answer.plan)
    _last(ax, answer)
    return figure


def resin_picture(answer: PartAnswer) -> Figure:
    """Draw resin taken in, and its rate, against time."""
    figure = Figure(figsize=(WIDTH_IN, 3.6), layout="constrained", facecolor="white")
    FigureCanvasAgg(figure)
    left, right = figure.subplots(1, 2)
    time_s, mass, rate = answer.flow.time_s, answer.flow.resin_kg, answer.flow.rate_kg_per_s
    left.plot(time_s / 60, mass, color="#1f5b73", linewidth=2)
    left.set_ylabel("resin in the part, kg")
    right.plot(time_s[1:] / 60, rate[1:] * 60, color=FEED, linewidth=2)
    right.set_ylabel("resin drawn, kg/min")
    right.set_ylim(0, 1.15 * float(np.percentile(rate[1:] * 60, 90)) if len(rate) > 2 else 1)
    for ax in (left, right):
        ax.set_xlabel("time, min")
        ax.set_xlim(left=0)
        ax.grid(color="#dddddd", linewidth=0.6)
        for side in ("top", "right"):
            ax.spines[side].set_visible(False)
        for stage in answer.stages[1:]:
            ax.axvline(stage.starts_s / 60, color="#777777", linewidth=0.8, linestyle=":")
    left.set_ylim(bottom=0)
    figure.suptitle(f"{answer.name}: resin against time", fontsize=11)
    return figure


def save(figure: Figure, paths: Sequence[Path]) -> None:
    """Write a figure to each path, whole or not at all; the ending says the kind."""
    for path in paths:
        replace_file(path, partial(_save, figure, path.suffix.lstrip(".")))


def _save(figure: Figure, kind: str, path: Path) -> None:
    # Without a date and with a fixed salt the same picture is the same file.
    with rc_context({"svg.hashsalt": "wetline"}):
        meta: dict[str, Any] = {"Date": None} if kind == "svg" else {}
        figure.savefig(path, format=kind, dpi=DPI, metadata=meta)


def animation(answer: PartAnswer, path: Path) -> None:
    """Write the filling as a GIF; Pillow draws it, so nothing else need be installed."""
    from matplotlib.animation import PillowWriter

    figure, ax = new_figure(answer.plan, extra_in=1.2)
    clip = base(ax, answer.plan)
    grid = answer.filling.links.grid
    times = spread(np.where(np.isinf(answer.arrival_s), np.nan, answer.arrival_s))
    last = float(np.nanmax(times))
    places(ax, answer.plan)
    key(ax, answer.plan, None)
    head = ax.set_title(" ", fontsize=11)
    pieces: list[Any] = []
    figure.canvas.draw()
    figure.set_layout_engine("none")

    def write(part: Path) -> None:
        writer = PillowWriter(fps=8)
        with writer.saving(figure, str(part), dpi=80):
            for k in range(FRAMES + HOLD):
                now = last * min(1.0, k / (FRAMES - 1)) ** 1.5
                while pieces:
                    pieces.pop().remove()
                if min(times.shape) > 1 and k > 0:
                    wet = ax.contourf(
                        grid.x_mm,
                        grid.y_mm,
                        times,
                        [-1.0, now + 1e-9 * last],
                        colors=["#4d9aa3"],
                        zorder=1,
                    )
                    wet.set_clip_path(clip)
                    pieces.append(wet)
                head.set_text(f"{answer.name}: {now / 60:.1f} min")
                writer.grab_frame()

    replace_file(path, write)
