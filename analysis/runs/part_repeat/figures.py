"""The part from above: minutes early and late against the good runs.

Tested in tests/analysis/runs/part_repeat/test_part_repeat.py.
"""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.patheffects import withStroke

from analysis.infusion.answer.late_map import hatch, paint_late
from analysis.part.answer.figures import base, new_figure, places
from analysis.runs.part_repeat.job import PartsRepeat
from vision.common.rounding import lapse

INK = "#1a1a1a"


def places_figure(found: PartsRepeat) -> Figure | None:
    """Draw minutes early and late at each place, the run's own pace taken out.

    Places outside the band have a thick border, a number and their minutes in words; what cannot
    be compared is hatched.

    Returns
    -------
    figure : matplotlib Figure or None
        None where nothing was judged place by place.
    """
    band, told = found.place_band, found.places
    if band is None or told is None or not np.isfinite(told.late_s).any():
        return None
    plan, links = band.around.plan, band.around.links
    figure, ax = new_figure(plan)
    clip = base(ax, plan)
    image = paint_late(ax, links, told.late_s, clip)
    hatch(ax, links, ~np.isfinite(told.late_s), clip)
    for number, one in enumerate(told.odd, 1):
        mask = links.field(one.cells.astype(float), 0.0)
        ax.contour(links.grid.x_mm, links.grid.y_mm, mask, [0.5], colors=INK, linewidths=2.2)
        word = "late" if one.late_s > 0 else "early"
        text = f"{number}: {lapse(one.late_s)} {word}"
        ax.text(one.x_mm, one.y_mm, text, ha="center", va="center", fontsize=9, color=INK,
                path_effects=[withStroke(linewidth=3.0, foreground="white")], zorder=6)  # fmt: skip
    places(ax, plan)
    bar = figure.colorbar(image, ax=ax, shrink=0.85, pad=0.015)
    bar.set_label("min late (+), early (-)")
    ax.set_title("Against the good runs, at this run's own pace", fontsize=11)
    marks = [
        Patch(facecolor="white", edgecolor="#777777", hatch="///", label="cannot be compared"),
        Patch(facecolor="white", edgecolor=INK, linewidth=2.2, label="outside the band"),
    ]
    figure.legend(handles=marks, loc="outside lower center", ncols=2, frameon=False, fontsize=8)
    return figure
