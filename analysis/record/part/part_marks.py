"""What was found on a demoulded part, and what the front did there."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from analysis.infusion.kept.kept_run import KeptArrival
from analysis.part.answer.figures import base, new_figure, places
from analysis.part.answer.part_answer import PartAnswer
from analysis.part.plan.plan import PartPlan
from analysis.record.day.day_records import Mark
from analysis.record.day.mark_flow import (
    NEAR_MM,
    NOT_MEASURED,
    SLOPE_MM,
    MarkFlow,
    local_speed_mm_min,
)
from analysis.record.figures import png_bytes
from analysis.record.story.day_figures import draw_mark
from analysis.record.story.inch_axes import map_in_inches
from vision.common.rounding import rounded
from vision.records import BoolArray, FloatArray

DPI = 110
LINES = 6


def flow_on_part(mark: Mark, arrival: KeptArrival | None, planned: PartAnswer) -> MarkFlow:
    """Return what the front did at a mark on a part.

    Parameters
    ----------
    mark : Mark
        In the plan's mm.
    arrival : KeptArrival or None
        As seen; None where nothing could be measured.
    planned : PartAnswer
        The plan, filled.

    Notes
    -----
    Local speed as of a panel: one over the slope of the arrival time.
    """
    if arrival is None:
        return MarkFlow(mark, None, None, None, NOT_MEASURED)
    mm = float(np.abs(np.diff(arrival.x_mm)).mean())
    away, near = _near(mark, arrival.x_mm, arrival.y_mm, arrival.inside)
    wet = np.isfinite(arrival.time_s)
    plan = _planned_words(mark, planned)
    if not arrival.seen[near].mean() > 0.5:
        about = arrival.time_s[near & wet]
        guess = (
            f" (about {np.median(about) / 60:.0f} min by what lies around it)" if len(about) else ""
        )
        words = f"hidden from the camera: when it wetted is not known{guess}; {plan}"
        return MarkFlow(mark, None, None, None, words)
    if not wet[near].mean() > 0.5:
        words = f"still dry when last seen, at {arrival.last_s / 60:.1f} min; {plan}"
        return MarkFlow(mark, None, None, None, words)
    time_s = float(np.median(arrival.time_s[near & wet]))
    sd = float(np.median(arrival.sd_s[near & wet])) / 60
    around: BoolArray = (away <= max(SLOPE_MM, 3 * mm)) & wet & arrival.seen
    speed = local_speed_mm_min(arrival.time_s, mm, around)
    told = [f"wetted at {time_s / 60:.1f} min (95 %: +- {max(1.96 * sd, 0.1):.1f})", plan]
    if speed is not None:
        told.append(f"the front moved {rounded(speed, 0 if speed >= 10 else 1)} mm/min")
    return MarkFlow(mark, time_s, speed, None, "; ".join(told))


def _near(
    mark: Mark, x_mm: FloatArray, y_mm: FloatArray, inside: BoolArray
) -> tuple[FloatArray, BoolArray]:
    """Return how far each pixel of the part lies from a mark, and which are its place."""
    away = np.hypot(x_mm[None, :] - mark.x_mm, y_mm[:, None] - mark.y_mm)
    away = np.where(inside, away, np.inf)
    pixel_mm = float(np.abs(np.diff(x_mm)).mean())
    return away, away <= max(NEAR_MM, float(away.min()) + pixel_mm)


def _planned_words(mark: Mark, planned: PartAnswer) -> str:
    """Return when the plan has resin at a mark, in words."""
    due = np.isfinite(planned.arrival_s)
    if not due.any():
        return "no time is planned there"
    _, near = _near(mark, planned.x_mm, planned.y_mm, due)
    return f"planned {float(np.median(planned.arrival_s[near])) / 60:.1f} min"


def part_marks_figure(
    plan: PartPlan, arrival: KeptArrival | None, marks: Sequence[MarkFlow], inch: bool = False
) -> bytes:
    """Draw the part from above with when the resin came, and the numbered marks on it.

    With `inch` its axes have inches too.

    Returns
    -------
    png : bytes
        Marks are ringed numbers, and front lines have their minutes: nothing hangs on colour.
    """
    figure, ax = new_figure(plan)
    clip = base(ax, plan)
    if arrival is not None and np.isfinite(arrival.time_s).any():
        _draw_arrival(figure, ax, arrival, clip)
    places(ax, plan)
    for number, found in enumerate(marks, 1):
        draw_mark(ax, number, found)
    return png_bytes(map_in_inches(figure) if inch else figure, DPI)


def _draw_arrival(figure: Any, ax: Any, arrival: KeptArrival, clip: Any) -> None:
    minutes = np.ma.masked_invalid(arrival.time_s / 60.0)
    x, y = _edges(arrival.x_mm), _edges(arrival.y_mm)
    shown = ax.pcolormesh(x, y, minutes, cmap="cividis", vmin=0, zorder=1, rasterized=True)
    shown.set_clip_path(clip)
    bar = figure.colorbar(shown, ax=ax, shrink=0.85, pad=0.015)
    bar.set_label("wetted, min from resin start")
    levels = np.linspace(0, float(minutes.max()), LINES + 1)[1:-1]
    lines = ax.contour(
        arrival.x_mm, arrival.y_mm, minutes, levels=levels, colors="white", linewidths=0.9
    )
    lines.set_clip_path(clip)
    words = ["Front lines in white."]
    inside = arrival.inside
    for mask, hatch, told in (
        (inside & np.isposinf(arrival.time_s), "////", "Strokes: still dry when last seen."),
        (inside & ~arrival.seen, "...", "Dots: hidden from the camera."),
    ):
        if mask.any():
            words.append(told)
            drawn = ax.contourf(
                arrival.x_mm, arrival.y_mm, mask.astype(float), levels=[0.5, 2], colors="none",
                hatches=[hatch],
            )  # fmt: skip
            drawn.set_edgecolor("#555555" if hatch == "////" else "#b0b0b0")
            drawn.set_linewidth(0.0)
            drawn.set_clip_path(clip)
    ax.set_title("  ".join(words), fontsize=9, loc="left")


def _edges(centres: FloatArray) -> FloatArray:
    """Return the edges of pixels from their centres, which may fall."""
    half = float(np.diff(centres).mean()) / 2 if len(centres) > 1 else 0.5
    return np.append(centres - half, centres[-1] + half)
