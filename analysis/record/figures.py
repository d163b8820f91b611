"""The curves of the record: distance against time, and squared distance against time."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import ArrayLike, NDArray
from PIL import Image

from vision.records import SecondFront

# Black, blue and vermilion of the palette by Okabe and Ito, "Color Universal Design" (2008); the
# shapes and dashes tell the same without colour.
INK = "#1a1a1a"
BLUE = "#0072b2"
VERMILION = "#b34700"
GREY = "#6b6b6b"
SIZE_IN = (7.2, 4.1)
DPI = 160
_FARTHEST = 2.5
"""An end of the fill interval farther off than this many widths of the axes runs off them."""
_STEPS = 7
"""Between ticks of an axis, at most: each tick costs nearly a millisecond."""
ROOM = (0.122, 0.135, 0.862, 0.775)  # of the axes in the figure: left, bottom, width, height

Points = NDArray[np.floating]


@dataclass(frozen=True)
class FitBand:
    """A fitted curve and its 95 % band, each an array over the same horizontal values.

    Attributes
    ----------
    across : ndarray of shape (K,)
        Seconds for `distance_figure`; the horizontal values of `squared_figure`.
    middle, low, high : ndarray of shape (K,)
        mm for `distance_figure`, mm2 for `squared_figure`. NaN leaves a gap.
    """

    across: Points
    middle: Points
    low: Points
    high: Points


@dataclass(frozen=True)
class TimeLimit:
    """A time to mark with an upright line, such as gel time."""

    name: str
    time_s: float


def distance_figure(
    time_s: ArrayLike,
    distance_mm: ArrayLike,
    used: ArrayLike,
    *,
    fit: FitBand | None = None,
    limits: Sequence[TimeLimit] = (),
    flow_length_mm: float | None = None,
    flow: str = "edge",
    other: SecondFront | None = None,
    fill_s: tuple[float, float, float] | None = None,
    page: Figure | None = None,
) -> Figure:
    """Draw front distance against time.

    Parameters
    ----------
    time_s, distance_mm : array of shape (N,)
        The measured front, seconds since resin start and mm; NaN is left out.
    used : array of shape (N,), bool
        Whether the fit used the point: full dots, else hollow squares.
    fit : FitBand or None
        Fitted curve in seconds and mm.
    limits : sequence of TimeLimit
        Upright lines with their names, e.g. gel time and working time.
    flow_length_mm : float or None
        The part's flow length, a level line.
    flow : {"edge", "point"}
        Words of the upright axis.
    other : SecondFront or None
        The front of another change that passed over the panel: a dotted line with triangles.
    fill_s : (low, middle, high) or None
        When the part is full, with its 95 % interval: a bar on the part's flow length. An end
        that is not known or never comes is infinite.
    page : matplotlib Figure, optional
        From `blank_page`, or a figure of this module that is done with; left out, a new one.

    Returns
    -------
    figure : matplotlib Figure
        Time in min, distance in mm. Give it to `png_bytes` or `svg_text`.
    """
    figure, axes = _cleared(page)
    minutes = np.asarray(time_s, dtype=float) / 60
    _points(axes, minutes, np.asarray(distance_mm, dtype=float), np.asarray(used, dtype=bool))
    if other is not None:
        _other_front(axes, other)
    if fit is not None:
        _band(axes, fit, 60.0, _last_used(minutes, used))
    _fit_window(axes, minutes, distance_mm, fit, limits, flow_length_mm)
    if flow_length_mm is not None:
        _level(axes, flow_length_mm, f"part's flow length {flow_length_mm:.0f} mm")
        if fill_s is not None:
            _fill_bar(axes, flow_length_mm, fill_s)
    for i, limit in enumerate(sorted(limits, key=lambda limit: limit.time_s)):
        _upright(axes, limit.time_s / 60, limit.name, i)
    axes.set_xlabel("time from resin start, min")
    axes.set_ylabel("flow front, mm" if flow == "edge" else "radius of the flow front, mm")
    _legend(axes)
    return figure


def squared_figure(
    across: ArrayLike,
    distance_mm: ArrayLike,
    used: ArrayLike,
    *,
    fit: FitBand | None = None,
    across_label: str = "time from resin start, min",
    across_unit: float = 60.0,
    up_label: str = "front distance squared, cm²",
    page: Figure | None = None,
) -> Figure:
    """Draw squared front distance against time, where Darcy's law asks for a straight line.

    Parameters
    ----------
    across : array of shape (N,)
        Seconds since resin start, or the driving impulse (integral of pressure over viscosity)
        when those were not constant.
    distance_mm : array of shape (N,)
        Front distance in mm; it is squared here and shown in cm2.
    used : array of shape (N,), bool
        As in `distance_figure`.
    fit : FitBand or None
        Fitted line over values of `across`, in mm2.
    across_label : str
        Words of the level axis.
    across_unit : float
        What `across` is divided by: 60 turns seconds into minutes; 1 leaves an impulse as it is.
    up_label : str
        Words of the upright axis.
    page : matplotlib Figure, optional
        As for `distance_figure`.

    Returns
    -------
    figure : matplotlib Figure
    """
    figure, axes = _cleared(page)
    level = np.asarray(across, dtype=float) / across_unit
    squared_cm2 = np.asarray(distance_mm, dtype=float) ** 2 / 100
    _points(axes, level, squared_cm2, np.asarray(used, dtype=bool))
    if fit is not None:
        cm2 = FitBand(fit.across, fit.middle / 100, fit.low / 100, fit.high / 100)
        _band(axes, cm2, across_unit, _last_used(level, used))
    axes.set_xlim(left=min(0.0, _least(level)))
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel(across_label)
    axes.set_ylabel(up_label)
    _legend(axes)
    return figure


def png_bytes(figure: Figure, dpi: int = DPI) -> bytes:
    """Render a figure as PNG; the same figure gives the same bytes."""
    return packed(drawn(figure, dpi), dpi)


def drawn(figure: Figure, dpi: int) -> NDArray[np.uint8]:
    """Render a figure; shape (height, width, 3)."""
    before = figure.dpi
    figure.set_dpi(dpi)
    try:
        canvas = FigureCanvasAgg(figure)
        # Letters in their own widths, not fitted to whole pixels: evener, and quicker.
        with matplotlib.rc_context({"text.hinting": "no_hinting"}):
            canvas.draw()
        # Without the opaque fourth channel: quicker packed, and smaller.
        return np.ascontiguousarray(np.asarray(canvas.buffer_rgba())[..., :3])
    finally:
        figure.set_dpi(before)


def packed(pixels: NDArray[np.uint8], dpi: int) -> bytes:
    """Return a rendered figure as PNG, lightly packed; Python's lock is free meanwhile."""
    store = io.BytesIO()
    Image.fromarray(pixels).save(store, "png", compress_level=2, dpi=(dpi, dpi))
    return store.getvalue()


def svg_text(figure: Figure) -> str:
    """Render a figure as SVG text; the same figure gives the same text."""
    store = io.StringIO()
    with matplotlib.rc_context({"svg.hashsalt": "wetline", "svg.fonttype": "path"}):
        figure.savefig(store, format="svg", metadata={"Date": None, "Creator": None})
    return store.getvalue()


def blank_page() -> Figure:
    """Return a page to draw on, with its ticks: making them takes a third of a drawing."""
    figure = Figure(figsize=SIZE_IN, dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.add_axes(ROOM)
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(color="#d9d9d9", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.locator_params(nbins=_STEPS)
    axes.tick_params(labelsize=10)
    axes.xaxis.label.set_fontsize(11)
    axes.yaxis.label.set_fontsize(11)
    # Fixed places for the words: finding room beside the ticks costs a tenth of the drawing.
    axes.xaxis.set_label_coords(0.5, -0.1)
    axes.yaxis.set_label_coords(-0.105, 0.5)
    for axis in (axes.xaxis, axes.yaxis):
        axis.get_major_ticks(_STEPS + 1)
    return figure


def _cleared(page: Figure | None) -> tuple[Figure, Axes]:
    """Return a page and its axes with nothing drawn on them; what was there is taken away."""
    figure = blank_page() if page is None else page
    (axes,) = figure.axes
    legend = axes.get_legend()
    for artist in (*axes.lines, *axes.collections, *axes.texts, *((legend,) if legend else ())):
        artist.remove()
    axes.relim()
    axes.set_autoscale_on(True)
    return figure, axes


def _points(axes: Axes, across: Points, up: Points, used: NDArray[np.bool_]) -> None:
    known = np.isfinite(across) & np.isfinite(up)
    full, hollow = known & used, known & ~used
    if full.any():
        axes.plot(across[full], up[full], "o", ms=4.2, color=INK, label="measured", zorder=4)
    if hollow.any():
        axes.plot(
            across[hollow],
            up[hollow],
            "s",
            ms=4.6,
            mfc="white",
            mec=GREY,
            label="measured, not used",
            zorder=3,
        )


def _other_front(axes: Axes, other: SecondFront) -> None:
    """Draw the front that is not followed, a triangle at every few of its points."""
    axes.plot(
        other.time_s / 60,
        other.front_mm,
        color=VERMILION,
        lw=1.6,
        ls=":",
        marker="^",
        ms=4.5,
        mfc="white",
        markevery=max(1, len(other.time_s) // 12),
        label=f"{other.which} change, not followed",
        zorder=3,
    )


def _band(axes: Axes, fit: FitBand, unit: float, last_used: float) -> None:
    """Draw the fit whole over the points it used and dashed beyond, with its band."""
    across = np.asarray(fit.across, dtype=float) / unit
    middle = np.asarray(fit.middle, dtype=float)
    axes.fill_between(
        across, fit.low, fit.high, color=BLUE, alpha=0.22, lw=0, label="95 % band", zorder=1
    )
    behind, ahead = across <= last_used, across >= last_used
    if behind.any():
        axes.plot(across[behind], middle[behind], color=BLUE, lw=1.8, label="fit", zorder=2)
    if ahead.any():
        ahead |= np.r_[ahead[1:], False]  # join on to the fit
        dashed: dict[str, Any] = {"ls": (0, (4, 2)), "label": "forecast"}
        axes.plot(across[ahead], middle[ahead], color=BLUE, lw=1.8, zorder=2, **dashed)


def _last_used(across: Points, used: ArrayLike) -> float:
    known = across[np.asarray(used, dtype=bool) & np.isfinite(across)]
    return float(known.max()) if known.size else -math.inf


def _least(values: Points) -> float:
    known = values[np.isfinite(values)]
    return float(known.min()) if known.size else 0.0


def _fit_window(
    axes: Axes,
    minutes: Points,
    distance_mm: ArrayLike,
    fit: FitBand | None,
    limits: Sequence[TimeLimit],
    flow_length_mm: float | None,
) -> None:
    """Show all points and limits that matter, and no more of a long forecast than that."""
    across = [m for m in minutes if math.isfinite(m)] + [limit.time_s / 60 for limit in limits]
    up = [v for v in np.asarray(distance_mm, dtype=float) if math.isfinite(v)]
    if flow_length_mm is not None:
        up.append(flow_length_mm)
        if fit is not None:
            there = np.flatnonzero(np.asarray(fit.middle) >= flow_length_mm)
            if there.size:
                across.append(float(fit.across[there[0]]) / 60)
    if across and max(across) > 0:
        axes.set_xlim(min(0.0, min(across)), 1.06 * max(across))
    if up and max(up) > 0:
        axes.set_ylim(0.0, 1.12 * max(up))


def _level(axes: Axes, value: float, name: str) -> None:
    axes.axhline(value, color=INK, lw=1.2, ls=(0, (7, 3)), zorder=2)
    beside: dict[str, Any] = {"xycoords": axes.get_yaxis_transform(), "textcoords": "offset points"}
    axes.annotate(name, (0.0, value), (5, 3), va="bottom", fontsize=9.5, color=INK, **beside)


def _fill_bar(axes: Axes, length_mm: float, fill_s: tuple[float, float, float]) -> None:
    """Draw when the part is full as a bar with ends; one that never comes runs off the axes."""
    low, middle, high = (value / 60 for value in fill_s)
    if not math.isfinite(low):
        return
    across = axes.get_xlim()[1]
    if math.isfinite(high) and high < _FARTHEST * across:
        axes.set_xlim(right=max(across, 1.06 * high))
    right = min(high, axes.get_xlim()[1])
    if low >= right:
        return
    bar: dict[str, Any] = {"color": BLUE, "lw": 4.5, "solid_capstyle": "butt", "zorder": 5}
    axes.plot([low, right], [length_mm, length_mm], label="part full, 95 %", **bar)
    ends = [end for end in (low, high) if end <= axes.get_xlim()[1]]
    caps: dict[str, Any] = {"color": BLUE, "ms": 13, "mew": 2.0, "zorder": 5}
    axes.plot(ends, [length_mm] * len(ends), "|", **caps)
    if math.isfinite(middle) and middle <= right:
        dot: dict[str, Any] = {"mfc": "white", "mec": BLUE, "mew": 1.4, "ms": 6, "zorder": 6}
        axes.plot([middle], [length_mm], "D", **dot)


def _upright(axes: Axes, value: float, name: str, order: int) -> None:
    axes.axvline(value, color=VERMILION, lw=1.3, ls=(0, (2, 2)) if order % 2 == 0 else "-.")
    beside: dict[str, Any] = {"xycoords": axes.get_xaxis_transform(), "textcoords": "offset points"}
    words = f"{name} {value:.0f} min"
    place: dict[str, Any] = {"rotation": 90, "ha": "right", "va": "bottom"}
    axes.annotate(words, (value, 0.0), (-3, 5), fontsize=9.5, color=VERMILION, **place, **beside)


def _legend(axes: Axes) -> None:
    """Set the legend above the drawing, where it hides nothing."""
    handles, names = axes.get_legend_handles_labels()
    if handles:
        place: dict[str, Any] = {"loc": "lower left", "bbox_to_anchor": (-0.02, 1.0)}
        close: dict[str, Any] = {"columnspacing": 1.3, "handletextpad": 0.5, "handlelength": 1.8}
        rows: dict[str, Any] = {"fontsize": 9, "ncols": 5}
        if len(names) > rows["ncols"]:
            rows = {"fontsize": 8, "ncols": 3, "labelspacing": 0.25, "borderpad": 0.1}
        axes.legend(handles, names, frameon=False, **rows, **close, **place)
