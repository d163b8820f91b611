"""The printable scale sheet: four marker cards to cut out, a check bar, and the steps to take."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from matplotlib import rc_context
from matplotlib.backends.backend_pdf import FigureCanvasPdf
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch, Polygon, Rectangle
from matplotlib.path import Path as Outline

from vision.common.atomic_files import replace_file
from vision.common.quantity import INCH_MM
from vision.errors import WetlineError
from vision.records import FloatArray
from vision.scale.markers import MARKER_IDS
from vision.scale.sheet_lines import PAPERS, Paper, centres_line
from vision.settings.scale_settings import (
    CHECK_BAR_MM,
    MARKER_OFFSET_MM,
    Points,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CELLS = 6
QUIET_SHARE = 0.25  # of the marker's edge; a white rim of one cell at least is needed
_LABEL_MM = 12.0
_MARGIN_MM = 14.0
_TEXT_END_MM = 86.0


@dataclass(frozen=True)
class SheetPlan:
    """Where the markers stand on the page.

    Attributes
    ----------
    paper : Paper
        The page.
    centres_mm : tuple of (x, y)
        Marker centres from the page's upper left corner.
    """

    paper: Paper
    centres_mm: Points

    @property
    def card_mm(self) -> tuple[float, float]:
        """Width and height of one card."""
        side = self.paper.marker_mm * (1 + 2 * QUIET_SHARE)
        return side, side + _LABEL_MM


@dataclass(frozen=True)
class SheetPart:
    """What the sheet shows of a part that the cards go around.

    Attributes
    ----------
    outline_mm : ndarray of shape (N, 2), float
        As seen from above, x right and y down, from the upper left corner of its box.
    y_runs : {"down", "up"}
        Which way the plan's own y runs.
    """

    outline_mm: FloatArray
    y_runs: str = "down"


CORNERS = ("feed end, 0", "vent end, 0", "vent end, width", "feed end, width")
PART_CORNERS = ("upper left", "upper right", "lower right", "lower left")


def sheet_plan(paper: str) -> SheetPlan:
    """Lay out the page: two by two cards at its foot.

    Raises
    ------
    WetlineError
        If the paper is not known.
    """
    if paper not in PAPERS:
        raise WetlineError(f"paper = {paper}: must be one of {', '.join(PAPERS)}")
    size = PAPERS[paper]
    side = size.marker_mm * (1 + 2 * QUIET_SHARE)
    gap = 8.0
    left = (size.width_mm - 2 * side - gap) / 2
    top = size.height_mm - _MARGIN_MM - 2 * (side + _LABEL_MM) - gap
    column, row = side + gap, side + _LABEL_MM + gap
    places = [(0, 0), (1, 0), (1, 1), (0, 1)]
    centres = tuple((left + c * column + side / 2, top + r * row + side / 2) for c, r in places)
    return SheetPlan(size, centres)


def write_sheet(
    path: Path,
    paper: str = "A4",
    centres_mm: Points | None = None,
    name: str = "",
    part: SheetPart | None = None,
) -> SheetPlan:
    """Write the scale sheet as a true-scale PDF.

    Parameters
    ----------
    path : Path
        The PDF to write.
    paper : {"A4", "A3", "letter"}
        Paper in the printer.
    centres_mm : tuple of 4 (x, y), optional
        Where the cards go around the panel; the sheet then says it in numbers.
    name : str
        Panel name for the heading.
    part : SheetPart, optional
        Where the cards go around a part; its places are then in the plan's coordinates.

    Returns
    -------
    plan : SheetPlan
        Where the markers stand on the page.

    Notes
    -----
    Markers 0 to 3 of the dictionary DICT_4X4_50 that OpenCV defines.
    """
    plan = sheet_plan(paper)
    with rc_context({"pdf.fonttype": 42, "font.family": "DejaVu Sans", "text.usetex": False}):
        figure = draw_sheet(plan, centres_mm, name, part)
        FigureCanvasPdf(figure)
        facts = {"Title": "Scale sheet", "CreationDate": None}
        replace_file(path, lambda part: figure.savefig(part, format="pdf", metadata=facts))
    return plan


def draw_sheet(
    plan: SheetPlan, centres_mm: Points | None, name: str, part: SheetPart | None = None
) -> Figure:
    """Draw the page on a figure of the paper's size."""
    paper = plan.paper
    figure = Figure(figsize=(paper.width_mm / INCH_MM, paper.height_mm / INCH_MM))
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(0, paper.width_mm)
    axes.set_ylim(paper.height_mm, 0)
    axes.set_axis_off()
    heading = f"Scale sheet{': ' + name if name else ''}"
    axes.text(_MARGIN_MM, 16, heading[:60], fontsize=14, weight="bold", va="baseline")
    _draw_bar(axes, 26.0)
    if part is None or centres_mm is None:
        _draw_text(axes, steps_text(paper, centres_mm), 36.0)
    else:
        _draw_text(axes, part_steps_text(paper, centres_mm, part), 36.0)
    _draw_sketch(axes, plan, part)
    corners = CORNERS if part is None else PART_CORNERS
    for number, centre in zip(MARKER_IDS, plan.centres_mm, strict=True):
        _draw_card(axes, plan, number, centre, corners[number])
    return figure


def steps_text(paper: Paper, centres_mm: Points | None) -> str:
    """Return what to do with the sheet, in plain steps, with the lines for panel.toml.

    Parameters
    ----------
    paper : Paper
    centres_mm : tuple of 4 (x, y), or None
        Where the cards go, panel mm; None while the panel's size is not known.
    """
    steps = [
        "1  Print at 100 % (actual size), not fitted to the page. Measure the bar above:",
        "    if it is not 100.0 mm, write what it is behind check_bar_mm.",
        "2  Cut out the four cards along the grey lines. Keep them flat; stick them on card.",
        "3  Lay them flat on the table around the panel, clear of bag and tape, 0 at the feed",
        "    corner, then 1, 2, 3 clockwise as seen from above (any turn of a card will do).",
    ]
    settings = f'    method = "sheet"      marker_mm = {paper.marker_mm:g}'
    if centres_mm is None:
        steps += [
            "4  Measure where the card centres (crosses) lie from the panel's feed corner: x along",
            f"    the flow, y across; {MARKER_OFFSET_MM:.0f} mm outside the long edges is usual.",
            "5  In panel.toml, under [scale]:",
            settings,
            "    marker_centres_mm = [[x0, y0], [x1, y1], [x2, y2], [x3, y3]]",
        ]
        return "\n".join(steps)
    steps += [
        "4  Card centres from the feed corner, x along the flow, y across: "
        + ", ".join(f"({x:g}, {y:g})" for x, y in centres_mm)
        + ".",
        f"    Check between the crosses: {_gaps(centres_mm)}.",
        "5  In panel.toml, under [scale] (`wetline sheet` writes it; mend it if yours differ):",
        settings,
        f"    {centres_line(centres_mm)}",
    ]
    return "\n".join(steps)


def part_steps_text(paper: Paper, centres_mm: Points, part: SheetPart) -> str:
    """Return what to do with the sheet around a part, with the lines for part.toml.

    Parameters
    ----------
    paper : Paper
    centres_mm : tuple of 4 (x, y)
        Where the cards go, in the plan's coordinates.
    part : SheetPart
    """
    steps = [
        "1  Print at 100 % (actual size), not fitted to the page. Measure the bar above:",
        "    if it is not 100.0 mm, write what it is behind check_bar_mm.",
        "2  Cut out the four cards along the grey lines. Keep them flat; stick them on card.",
        "3  Lay them around the part, level with its surface if you can, clear of bag and tape:",
        "    0 at the plan's upper left, 1, 2, 3 clockwise from above, each turned as you like.",
        f"4  Card centres in the plan's coordinates (x right, y {part.y_runs}): "
        + ", ".join(f"({x:g}, {y:g})" for x, y in centres_mm)
        + ".",
        f"    Check between the crosses: {_gaps(centres_mm)}.",
        "5  In part.toml, under [scale] (`wetline sheet --write`; mend what lies elsewhere):",
        f'    method = "sheet"      marker_mm = {paper.marker_mm:g}',
        f"    {centres_line(centres_mm)}",
    ]
    return "\n".join(steps)


def _gaps(centres_mm: Points) -> str:
    """Return how far the cards lie from one another, for the tape."""
    return ", ".join(
        f"{i} to {j} {np.hypot(*np.subtract(centres_mm[i], centres_mm[j])):.0f} mm"
        for i, j in ((0, 1), (1, 2), (0, 2))
    )


def _draw_bar(axes: Axes, y: float) -> None:
    left = _MARGIN_MM
    axes.plot([left, left + CHECK_BAR_MM], [y, y], color="black", lw=0.6, solid_capstyle="butt")
    for step in range(11):
        tick = 4.0 if step in (0, 10) else 2.0
        x = left + step * CHECK_BAR_MM / 10
        axes.plot([x, x], [y - tick / 2, y + tick / 2], color="black", lw=0.4)
    axes.text(left + CHECK_BAR_MM + 4, y, "100 mm, end mark to end mark", fontsize=9, va="center")


def _draw_text(axes: Axes, text: str, y: float) -> None:
    for i, line in enumerate(text.splitlines()):
        mono = line.lstrip().startswith(("method", "marker_centres"))
        axes.text(
            _MARGIN_MM,
            y + 5.2 * i,
            line,
            fontsize=8 if mono else 9,
            family="DejaVu Sans Mono" if mono else "DejaVu Sans",
            va="center",
            parse_math=False,
        )


def _draw_sketch(axes: Axes, plan: SheetPlan, part: SheetPart | None) -> None:
    """Small picture of what the cards go around, between the text and the cards."""
    above, below = _TEXT_END_MM, plan.centres_mm[0][1] - plan.card_mm[0] / 2
    height = min(24.0, below - above - 19.0)
    width = max(2 * height, 36.0)
    left, top = (plan.paper.width_mm - width) / 2, (above + below - height) / 2
    middle = left + width / 2, top + height / 2
    if part is None:
        axes.add_patch(Rectangle((left, top), width, height, fill=False, lw=0.7))
        axes.text(*middle, "feed → panel → vent", fontsize=6, ha="center", va="center")
    else:
        span = np.ptp(part.outline_mm, axis=0)
        size = span * min(width / span[0], height / span[1])
        ring = part.outline_mm / span * size + (np.array(middle) - size / 2)
        axes.add_patch(Polygon(ring, closed=True, fill=False, lw=0.7))
        axes.text(*middle, "part, from above", fontsize=6, ha="center", va="center")
    places = [(0.1, -4.0), (0.9, -4.0), (0.9, height + 4), (0.1, height + 4)]
    for number, (share, offset) in zip(MARKER_IDS, places, strict=True):
        x, y = left + share * width, top + offset
        axes.add_patch(Rectangle((x - 2.5, y - 2.5), 5, 5, fill=False, ec="0.4", lw=0.4))
        axes.text(x, y, str(number), fontsize=8, ha="center", va="center")


def _draw_card(
    axes: Axes, plan: SheetPlan, number: int, centre: tuple[float, float], corner: str
) -> None:
    width, height = plan.card_mm
    x, y = centre
    left, top = x - width / 2, y - width / 2
    axes.add_patch(Rectangle((left, top), width, height, fill=False, ec="0.6", lw=0.4))
    _draw_marker(axes, number, centre, plan.paper.marker_mm)
    inner, outer = plan.paper.marker_mm / 2 + 0.55 * (width - plan.paper.marker_mm) / 2, width / 2
    for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        axes.plot(
            [x + dx * inner, x + dx * outer],
            [y + dy * inner, y + dy * outer],
            color="black",
            lw=0.4,
            solid_capstyle="butt",
        )
    axes.text(left + 3, top + width + _LABEL_MM / 2 - 1, str(number), fontsize=18, va="center")
    axes.text(left + 13, top + width + _LABEL_MM / 2 - 1, corner, fontsize=7, va="center")


def _draw_marker(axes: Axes, number: int, centre: tuple[float, float], edge_mm: float) -> None:
    """Black square with its white cells on top as one outline, so that no seams show."""
    left, top = centre[0] - edge_mm / 2, centre[1] - edge_mm / 2
    axes.add_patch(Rectangle((left, top), edge_mm, edge_mm, fc="black", ec="none", lw=0))
    cell = edge_mm / CELLS
    corners: list[tuple[float, float]] = []
    codes: list[np.uint8] = []
    for row, column in np.argwhere(marker_cells(number)):
        x, y = left + column * cell, top + row * cell
        corners += [(x, y), (x + cell, y), (x + cell, y + cell), (x, y + cell), (x, y)]
        codes += [Outline.MOVETO, *[Outline.LINETO] * 3, Outline.CLOSEPOLY]
    axes.add_patch(PathPatch(Outline(corners, codes), fc="white", ec="none", lw=0))


def marker_cells(number: int) -> np.ndarray:
    """Cells of a marker with its black rim; shape (6, 6), True where white."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    return np.asarray(cv2.aruco.generateImageMarker(dictionary, number, CELLS)) > 127
