"""The panel from straight above, with axes in mm: front lines and arrival times."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke

from vision.drawing.front_lines import FrontLine
from vision.drawing.labels import place_labels
from vision.drawing.overlay import beside, line_colours
from vision.drawing.strokes import DARK, VERMILION, Colour, Image
from vision.records import ArrivalMap, BoolArray

_WIDE_IN = 6.4
_LEFT_IN, _RIGHT_IN, _TOP_IN, _BOTTOM_IN = 0.62, 0.88, 0.3, 0.5  # room for words round a map
_LABEL_PT = 8.5


def plan_view(
    canvas_bgr: Image,
    arrival: ArrivalMap,
    lines: Sequence[FrontLine],
    *,
    title: str = "",
    flow: str = "edge",
    dpi: int = 160,
) -> Image:
    """Draw the rectified panel with its front lines, and the arrival times as colours.

    Parameters
    ----------
    canvas_bgr : ndarray of shape (H, W, 3), uint8
        The panel rectified: x along the flow to the right, y down. Any resolution.
    arrival : ArrivalMap
        When each spot wetted.
    lines : sequence of FrontLine
        From `vision.drawing.front_lines.front_lines`.
    title : str
        Panel name.
    flow : {"edge", "point"}
        Words of the x axis.
    dpi : int
        Pixels per inch of the picture, which is 6.4 in wide.

    Returns
    -------
    picture : ndarray of shape (H, W, 3), uint8
        Blue, green, red. Never wetted is white with strokes; filled in from around is dotted.

    Notes
    -----
    Colours: matplotlib's cividis, made to read alike with and without colour blindness (Nunez,
    Anderton and Renslow, PLoS ONE 13(7):e0199239, 2018) and even in grey.
    """
    length, width = arrival.length_mm, arrival.width_mm
    figure, photo, colours = _sheet(length, width, dpi)
    canvas = FigureCanvasAgg(figure)
    photo.imshow(canvas_bgr[..., ::-1], extent=(0, length, width, 0), interpolation="antialiased")
    photo.set_title(title, fontsize=11, fontweight="bold", loc="left", parse_math=False)
    _draw_arrival(figure, colours, arrival)
    for axes in (photo, colours):
        _dress_axes(axes, arrival, flow)
        _draw_lines(axes, lines, plain=axes is colours)
    places = _place_labels(photo, lines, dpi)
    for axes in (photo, colours):
        _draw_labels(axes, places)
    canvas.draw()
    return np.ascontiguousarray(np.asarray(canvas.buffer_rgba())[..., 2::-1])


def _sheet(length_mm: float, width_mm: float, dpi: int) -> tuple[Figure, Axes, Axes]:
    """Make a figure with room for two equal maps: one above the other, or beside it if tall."""
    stacked = length_mm > 1.1 * width_mm
    wide = _WIDE_IN - _LEFT_IN - _RIGHT_IN if stacked else (_WIDE_IN - _RIGHT_IN) / 2 - _LEFT_IN
    tall = wide * width_mm / length_mm
    row = _TOP_IN + tall + _BOTTOM_IN
    high = 2 * row if stacked else row
    figure = Figure(figsize=(_WIDE_IN, high), dpi=dpi)
    corners = (
        [(_LEFT_IN, row + _BOTTOM_IN), (_LEFT_IN, _BOTTOM_IN)]
        if stacked
        else [(_LEFT_IN, _BOTTOM_IN), (2 * _LEFT_IN + wide, _BOTTOM_IN)]
    )
    first, second = (
        figure.add_axes((x / _WIDE_IN, y / high, wide / _WIDE_IN, tall / high)) for x, y in corners
    )
    return figure, first, second


def _dress_axes(axes: Axes, arrival: ArrivalMap, flow: str) -> None:
    along = "mm from the feed edge" if flow == "edge" else "mm along the panel"
    axes.set_xlabel(along, fontsize=9)
    axes.set_ylabel("mm across", fontsize=9)
    axes.tick_params(labelsize=8.5, labelbottom=True)
    axes.set_xlim(0, arrival.length_mm)
    axes.set_ylim(arrival.width_mm, 0)
    axes.set_aspect("equal")


def _draw_arrival(figure: Figure, axes: Axes, arrival: ArrivalMap) -> None:
    extent = (0.0, arrival.length_mm, arrival.width_mm, 0.0)
    unit_s, unit = (60, "min") if arrival.last_s >= 180 else (1, "s")
    times = np.ma.masked_invalid(arrival.time_s / unit_s)
    shown = axes.imshow(times, extent=extent, cmap="cividis", vmin=0, interpolation="nearest")
    bar = figure.colorbar(shown, cax=axes.inset_axes((1.02, 0.0, 0.025, 1.0)))
    bar.set_label(f"{unit} from resin start", fontsize=9)
    bar.ax.tick_params(labelsize=8.5)
    never = ~np.isfinite(arrival.time_s)
    filled = ~arrival.seen & ~never
    words = ["When the resin came."]
    if never.any():
        words.append("Strokes: not wetted.")
        _hatch(axes, never, extent, "////")
    if filled.any():
        words.append("Dots: hidden from the camera, filled in.")
        _hatch(axes, filled, extent, "...")
    axes.set_title("  ".join(words), fontsize=8.5, loc="left")


def _hatch(axes: Axes, mask: BoolArray, extent: Sequence[float], hatch: str) -> None:
    if min(mask.shape) < 2:
        return
    mm = extent[1] / mask.shape[1]
    x = (np.arange(mask.shape[1]) + 0.5) * mm
    y = (np.arange(mask.shape[0]) + 0.5) * mm
    drawn = axes.contourf(x, y, mask.astype(float), levels=[0.5, 2], colors="none", hatches=[hatch])
    drawn.set_edgecolor("#555555" if hatch == "////" else "#b0b0b0")
    drawn.set_linewidth(0.0)


def _rgb(colour: Colour) -> tuple[float, float, float]:
    b, g, r = (part / 255 for part in colour)
    return r, g, b


def _draw_lines(axes: Axes, lines: Sequence[FrontLine], plain: bool) -> None:
    for line, colour in zip(lines, line_colours(lines), strict=True):
        core = _rgb(VERMILION if line.dry else colour)
        casing, core_width = (1.4, 0.9) if plain else (3.2, 1.7)
        effect = [] if plain else [withStroke(linewidth=casing, foreground=_rgb(DARK))]
        shade = "white" if plain and not line.dry else core
        style = ":" if line.is_rough else "-" if line.seen.mean() > 0.5 else "--"
        axes.plot(*line.points_mm.T, style, color=shade, lw=core_width, path_effects=effect)


def _place_labels(
    axes: Axes, lines: Sequence[FrontLine], dpi: int
) -> list[tuple[float, float, str]]:
    """Find a place in mm for each time, once on its line, and for each dry spot."""
    first: dict[str, FrontLine] = {}
    for i, line in enumerate(lines):
        first.setdefault(f"{line.label} {i}" if line.dry else line.label, line)
    bounds = axes.get_window_extent()
    corner = np.array([bounds.x0, bounds.y0])
    letter = _LABEL_PT / 72 * dpi
    tracks = [axes.transData.transform(line.points_mm) - corner for line in first.values()]
    for i, line in enumerate(first.values()):
        tracks[i] = beside(tracks[i], letter) if line.dry else tracks[i]
    sizes = [(0.62 * letter * (len(line.label) + 1), 1.7 * letter) for line in first.values()]
    boxes = place_labels(tracks, sizes, (bounds.width, bounds.height))
    back = axes.transData.inverted()
    places = []
    for line, box in zip(first.values(), boxes, strict=True):
        if box is not None:
            x, y = back.transform(corner + np.array([box.x, box.y]))
            places.append((float(x), float(y), line.label))
    return places


def _draw_labels(axes: Axes, places: Sequence[tuple[float, float, str]]) -> None:
    for x, y, label in places:
        box = {"boxstyle": "round,pad=0.2", "fc": _rgb(DARK), "ec": "none", "alpha": 0.85}
        words = axes.text(x, y, label, bbox=box, fontsize=_LABEL_PT, color="white")
        words.set(ha="center", va="center")
