"""The panel from straight above, with the places that were not understood marked on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from vision.check.doubts import Unexplained
from vision.drawing.strokes import Image
from vision.records import BoolArray
from vision.rectify.warp import canvas_px
from vision.scale.plane_map import PlaneMap

INK = "#1a1a1a"
WIDE_IN, ROOM_IN = 6.4, 0.62
TEXT_PT = 8.5
PALE = 0.6
"""How far the photo is paled towards white, so that dark strokes read on black cloth too."""

FLAT_PX = 1000
"""Pixels along the longer side of the photo laid flat."""


@dataclass(frozen=True)
class _Mark:
    """How one kind of place is marked; strokes and words tell it without colour."""

    words: str
    hatch: str
    line: str


MARKS = {
    "odd": _Mark("looks dry where it should be wet, or wet where it should be dry", "xxx", "-"),
    "elsewhere": _Mark("photos by themselves show the front on the other side", "///", "--"),
    "light": _Mark("wet or dry, by how the light is read", "|||", "-."),
    "hidden": _Mark("hidden or in glare all through: guessed from around", "...", ":"),
}


def photo_from_above(image: Image, plane: PlaneMap, long_px: int = FLAT_PX) -> Image:
    """Return the panel in a photo laid flat.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3), uint8
    plane : PlaneMap
        Where the panel lies in it.
    long_px : int
        Pixels along the panel's longer side.

    Returns
    -------
    flat : ndarray of shape (M, N, 3), uint8
        x along the flow to the right, y down.
    """
    mm_per_px = max(plane.length_mm, plane.width_mm) / long_px
    shape = (round(plane.width_mm / mm_per_px), round(plane.length_mm / mm_per_px))
    x, y = (np.asarray(part, np.float32) for part in canvas_px(plane, shape, mm_per_px))
    flat = cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(flat, np.uint8)


def unexplained_view(
    flat_bgr: Image,
    places: Unexplained,
    panel_mm: tuple[float, float],
    *,
    title: str = "",
    flow: str = "edge",
    dpi: int = 160,
) -> Image:
    """Draw where on the panel a run was not understood.

    Parameters
    ----------
    flat_bgr : ndarray of shape (H, W, 3), uint8
        The panel laid flat, of any resolution.
    places : Unexplained
    panel_mm : (length, width)
    title : str
        Panel name.
    flow : {"edge", "point"}
        Words of the x axis.
    dpi : int
        Pixels per inch of the picture, which is 6.4 in wide.

    Returns
    -------
    picture : ndarray of shape (H, W, 3), uint8
        Blue, green, red. Each kind of place has its own strokes and outline, told below.
    """
    shown = {name: mark for name, mark in MARKS.items() if getattr(places, name).any()}
    figure, axes = _page(panel_mm, len(shown), dpi)
    canvas = FigureCanvasAgg(figure)
    length, width = panel_mm
    pale = 255 - (255 - flat_bgr[..., ::-1].astype(float)) * (1 - PALE)
    axes.imshow(np.rint(pale).astype(np.uint8), extent=(0, length, width, 0))
    for name, mark in shown.items():
        _mark(axes, getattr(places, name), panel_mm, mark)
    axes.set_title(
        f"{title}: what was not understood" if title else "What was not understood",
        fontsize=11,
        fontweight="bold",
        loc="left",
        parse_math=False,
    )
    along = "mm from the feed edge" if flow == "edge" else "mm along the panel"
    axes.set_xlabel(along, fontsize=9)
    axes.set_ylabel("mm across", fontsize=9)
    axes.tick_params(labelsize=TEXT_PT)
    axes.set_xlim(0, length)
    axes.set_ylim(width, 0)
    _legend(figure, list(shown.values()))
    canvas.draw()
    return np.ascontiguousarray(np.asarray(canvas.buffer_rgba())[..., 2::-1])


def _page(panel_mm: tuple[float, float], kinds: int, dpi: int) -> tuple[Figure, Axes]:
    """Make a figure with room for the panel and, below it, a line of words for each kind."""
    length, width = panel_mm
    wide = WIDE_IN - ROOM_IN - 0.15
    tall = wide * width / length
    if tall > 1.2 * WIDE_IN:
        wide, tall = wide * 1.2 * WIDE_IN / tall, 1.2 * WIDE_IN
    below = 0.55 + 0.2 * kinds
    high = 0.35 + tall + below
    figure = Figure(figsize=(WIDE_IN, high), dpi=dpi, facecolor="white")
    corner = (ROOM_IN / WIDE_IN, below / high)
    return figure, figure.add_axes((*corner, wide / WIDE_IN, tall / high))


def _mark(axes: Axes, mask: BoolArray, panel_mm: tuple[float, float], mark: _Mark) -> None:
    rows, cols = mask.shape
    if min(rows, cols) < 2:
        return
    # A rim of nothing around, so that a place at the panel's edge is outlined too.
    x, y = (
        np.concatenate([[0.0], (np.arange(count) + 0.5) * side / count, [side]])
        for count, side in ((cols, panel_mm[0]), (rows, panel_mm[1]))
    )
    share = np.pad(mask.astype(float), 1)
    drawn = axes.contourf(x, y, share, levels=[0.5, 2], colors="none", hatches=[mark.hatch])
    drawn.set_edgecolor(INK)
    drawn.set_linewidth(0.0)
    axes.contour(x, y, share, levels=[0.5], colors="white", linewidths=2.6)
    axes.contour(x, y, share, levels=[0.5], colors=INK, linewidths=1.3, linestyles=[mark.line])


def _legend(figure: Figure, marks: Sequence[_Mark]) -> None:
    samples = [
        Patch(facecolor="white", edgecolor=INK, hatch=mark.hatch, label=mark.words)
        for mark in marks
    ]
    figure.legend(
        handles=samples,
        loc="lower left",
        bbox_to_anchor=(0.02, 0.0),
        fontsize=TEXT_PT,
        frameon=False,
        handlelength=3.0,
        handleheight=1.3,
        labelspacing=0.35,
    )
