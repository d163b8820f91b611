"""The flow front drawn on a photo of the panel, in the photo's own pixels."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision.common.quantity import INCH_MM
from vision.common.rounding import rounded
from vision.drawing.front_lines import FrontLine
from vision.drawing.labels import Box, place_labels
from vision.drawing.strokes import (
    DARK,
    VERMILION,
    WHITE,
    Image,
    Plane,
    Sizes,
    along_sides,
    backing,
    dashes,
    fill,
    padded,
    stroke,
    text_size,
    time_colour,
    write,
)
from vision.records import FloatArray

FILLED_NOTE = "dashed: hidden from the camera, filled in"


def rough_note(lines: Sequence[FrontLine], inch: bool = False) -> str:
    """Write how far lines that are only about right may be off; empty where there is none."""
    worst_mm = max((line.off_mm for line in lines if line.is_rough), default=0.0)
    inches, whole_mm = rounded(worst_mm / INCH_MM, 1, "up"), rounded(worst_mm, side="up")
    shown = f"{inches} in" if inch else f"{whole_mm} mm"
    return f"about (dotted): up to {shown} off" if worst_mm else ""


def draw_front_lines(
    image_bgr: Image,
    plane: Plane,
    lines: Sequence[FrontLine],
    *,
    title: str,
    panel_mm: tuple[float, float],
    subtitle: str = "",
    scale_bar_mm: float | None = None,
    inch: bool = False,
) -> Image:
    """Draw front lines, dry spots, a scale bar and a title on a photo.

    Parameters
    ----------
    image_bgr : ndarray of shape (H, W, 3), uint8
        The photo; it is not changed.
    plane : Plane
        Where the panel lies in this photo.
    lines : sequence of FrontLine
        From `vision.drawing.front_lines.front_lines`.
    title, subtitle : str
        Panel name, and what the photo shows (its time).
    panel_mm : (length, width)
        Panel size in mm.
    scale_bar_mm : float or None
        Length of the scale bar, which lies in the panel plane; None chooses a round one.
    inch : bool
        Whether lengths are in inches.

    Returns
    -------
    picture : ndarray of shape (H, W, 3), uint8
        Strokes and letters scale with the photo. Each line carries its time in words, so that
        nothing hangs on colour.

    Notes
    -----
    Lines have a dark casing round a light core: they read on white glass and on black carbon.
    Common practice in map drawing.
    """
    image = image_bgr.copy()
    sizes = Sizes.for_image(image)
    outline = panel_outline_mm(panel_mm)
    stroke(image, np.asarray(plane.to_px(outline)), WHITE, 1)
    lines_px = [np.asarray(plane.to_px(line.points_mm), dtype=float) for line in lines]
    colours = line_colours(lines)
    for line, points, colour in zip(lines, lines_px, colours, strict=True):
        draw_line(image, line, points, colour, sizes)
    notes = [FILLED_NOTE] if any(not line.seen.all() for line in lines) else []
    notes.append(rough_note(lines, inch))
    panel_px = np.asarray(plane.to_px(outline))
    taken = [draw_title(image, [title, subtitle, *notes], panel_px, sizes)]
    bar_mm = scale_bar_mm or round_bar_mm(panel_mm[0], inch)
    taken.append(draw_scale_bar(image, plane, panel_mm, bar_mm, sizes, taken, inch))
    draw_labels(image, lines, lines_px, colours, sizes, taken)
    return image


def panel_outline_mm(panel_mm: tuple[float, float], per_side: int = 24) -> FloatArray:
    """Outline of the panel with points along its sides, closed, so that a lens may bend it."""
    length, width = panel_mm
    corners = np.array([[0, 0], [length, 0], [length, width], [0, width], [0, 0]], dtype=float)
    return along_sides(corners, per_side)


def line_colours(lines: Sequence[FrontLine]) -> list[tuple[int, int, int]]:
    """One colour per line: by order of time, and one of its own for dry spots."""
    times = sorted({line.time_s for line in lines if not line.dry})
    last = max(len(times) - 1, 1)
    share = {time: i / last for i, time in enumerate(times)}
    return [VERMILION if line.dry else time_colour(share[line.time_s]) for line in lines]


def draw_line(
    image: Image,
    line: FrontLine,
    points_px: FloatArray,
    colour: tuple[int, int, int],
    sizes: Sizes,
) -> None:
    """Draw one line with its casing into `image`, dotted if rough; a dry spot is hatched too."""
    solid = np.zeros_like(line.seen) if line.is_rough else line.seen
    strokes = dashes(points_px, solid, (1.2 if line.is_rough else 2.4) * sizes.casing)
    if line.dry:
        strokes += hatch(points_px, 4.0 * sizes.casing)
    for part in strokes:
        stroke(image, part, DARK, sizes.casing)
    for part in strokes:
        stroke(image, part, colour, sizes.line)


def hatch(outline_px: FloatArray, pitch_px: float) -> list[FloatArray]:
    """Slanting strokes that fill a closed outline (even-odd rule).

    Parameters
    ----------
    outline_px : ndarray of shape (N, 2)
        Closed: the last point repeats the first.
    pitch_px : float
        Distance between strokes along x.

    Returns
    -------
    strokes : list of ndarray of shape (2, 2)
    """
    x, y = outline_px.T
    offset = x + y
    strokes = []
    for level in np.arange(offset.min() + pitch_px / 2, offset.max(), pitch_px):
        side = offset > level
        cut = np.flatnonzero(side[:-1] != side[1:])
        share = (level - offset[cut]) / (offset[cut + 1] - offset[cut])
        crossing = np.sort(x[cut] + share * (x[cut + 1] - x[cut]))
        for left, right in zip(crossing[::2], crossing[1::2], strict=False):
            strokes.append(np.array([[left, level - left], [right, level - right]]))
    return strokes


def draw_labels(
    image: Image,
    lines: Sequence[FrontLine],
    lines_px: Sequence[FloatArray],
    colours: Sequence[tuple[int, int, int]],
    sizes: Sizes,
    taken: Sequence[Box],
) -> list[Box | None]:
    """Write each time once, on the longest piece of its line, and "dry" beside each dry spot."""
    first: dict[str, int] = {}
    for i, line in enumerate(lines):
        first.setdefault(f"{line.label} {i}" if line.dry else line.label, i)
    chosen = list(first.values())
    tracks = [beside(lines_px[i], sizes.text) if lines[i].dry else lines_px[i] for i in chosen]
    size_px = [padded(lines[i].label, sizes.text) for i in chosen]
    picture = (float(image.shape[1]), float(image.shape[0]))
    places = place_labels(tracks, size_px, picture, taken, gap=0.15 * sizes.text)
    for i, place in zip(chosen, places, strict=True):
        if place is not None:
            colour = WHITE if lines[i].dry else colours[i]
            write(image, lines[i].label, place, sizes.text, colour)
    return places


def beside(outline_px: FloatArray, text_px: float) -> FloatArray:
    """Return a track of label places round a dry spot, a little outside it."""
    centre = outline_px.mean(axis=0)
    reach = np.abs(outline_px - centre).max(axis=0) + text_px * np.array([1.9, 1.0])
    angle = np.linspace(-0.5, 1.5, 49) * np.pi  # its middle, tried first, lies below the spot
    return centre + reach * np.column_stack([np.cos(angle), np.sin(angle)])


def draw_title(
    image: Image,
    texts: Sequence[str],
    panel_px: FloatArray,
    sizes: Sizes,
    corner: int | None = None,
) -> Box:
    """Write the title lines in the corner of the picture that hides least of the panel."""
    rows = [text for text in texts if text]
    height, width = image.shape[:2]
    size = round(1.15 * sizes.text)
    widest = max((text_size(row, size)[0] for row in rows), default=0)
    size = max(8, int(size * min(1.0, 0.9 * width / max(widest, 1))))
    row_px = round(1.35 * size)
    box_w = max((text_size(row, size)[0] for row in rows), default=0) + 1.2 * size
    box_h = row_px * len(rows) + 0.5 * size
    box = emptiest_corner((height, width), (box_w, box_h), panel_px)
    if not rows:
        return Box(0, 0, 0, 0)
    backing(image, box)
    left = box.x - box.width / 2 + 0.6 * size
    for i, row in enumerate(rows):
        width_px, height_px = text_size(row, size)
        y = box.y - box.height / 2 + 0.25 * size + (i + 0.5) * row_px
        write(image, row, Box(left + width_px / 2, y, 0, height_px), size)
    return box


def emptiest_corner(
    shape: tuple[int, int],
    size_px: tuple[float, float],
    panel_px: FloatArray,
    taken: Sequence[Box] = (),
) -> Box:
    """Find the corner of a picture where a box hides least of the panel and of what is there.

    Parameters
    ----------
    shape : (int, int)
        Height and width of the picture.
    size_px : (float, float)
        Width and height of the box.
    panel_px : ndarray of shape (N, 2)
        The panel's outline.
    taken : sequence of Box
        What must not be covered if it can be helped.
    """
    (height, width), (box_w, box_h) = shape, size_px
    corners = [
        Box(x, y, box_w, box_h)
        for y in (box_h / 2, height - box_h / 2)
        for x in (box_w / 2, width - box_w / 2)
    ]

    def cost(box: Box) -> float:
        clashes = sum(box.overlaps(one) for one in taken if one.width > 0)
        return 1e12 * clashes + _hidden(box, panel_px)

    return min(corners, key=cost)


def _hidden(box: Box, panel_px: FloatArray) -> float:
    """How much of the panel's outline a box near it would cover, in points and closeness."""
    away = np.hypot(panel_px[:, 0] - box.x, panel_px[:, 1] - box.y).min()
    return 1e6 * float(box.holds(panel_px).sum()) - float(away)


def round_length_mm(wanted_mm: float) -> float:
    """Return the largest of 1, 2, 5 times a power of ten that is not above `wanted_mm`.

    Examples
    --------
    >>> round_length_mm(130.0), round_length_mm(70.0)
    (100.0, 50.0)
    """
    power = 10.0 ** np.floor(np.log10(wanted_mm))
    return float(max(step * power for step in (1, 2, 5) if step * power <= wanted_mm))


def round_bar_mm(panel_length_mm: float, inch: bool = False) -> float:
    """Return the length of a scale bar, in mm: round in its own unit.

    Examples
    --------
    >>> round_bar_mm(400.0), round_bar_mm(400.0, inch=True) / 25.4
    (100.0, 5.0)
    """
    unit_mm = INCH_MM if inch else 1.0
    return round_length_mm(0.35 * panel_length_mm / unit_mm) * unit_mm


def draw_scale_bar(
    image: Image,
    plane: Plane,
    panel_mm: tuple[float, float],
    bar_mm: float,
    sizes: Sizes,
    taken: Sequence[Box],
    inch: bool = False,
) -> Box:
    """Lay a bar of five blocks in the panel plane, outside the panel where the photo has room.

    Its number is in mm, or in inches.

    Returns
    -------
    box : Box
        The place the bar and its number take in the picture.
    """
    length, width = panel_mm
    words = f"{bar_mm / INCH_MM:.4g} in" if inch else f"{bar_mm:g} mm"
    thick = 0.016 * float(np.hypot(length, width))
    gap = 1.2 * thick
    picture = (float(image.shape[1]), float(image.shape[0]))
    for top in (width + gap, -gap - thick, width - gap - thick, gap):
        for left in (length - bar_mm - gap, gap):
            shape = [[0, 0], [bar_mm, 0], [bar_mm, thick], [0, thick]]
            bar = np.array([left, top]) + np.array(shape)
            number = _bar_number(plane, bar, words, picture, sizes)
            box = _around(np.asarray(plane.to_px(bar)), number)
            if box.inside(*picture) and not any(box.overlaps(b) for b in taken):
                _paint_bar(image, plane, bar, words, number, sizes)
                return box
    _paint_bar(image, plane, bar, words, number, sizes)
    return box


def _bar_number(
    plane: Plane, bar: FloatArray, words: str, picture: tuple[float, float], sizes: Sizes
) -> Box:
    """Place the bar's number below it in the picture, or above where there is no room."""
    points = np.asarray(plane.to_px(bar))
    text_w, text_h = padded(words, sizes.text)
    x = float(points[:, 0].mean())
    middle = float(points[:, 1].mean())
    reach = 0.5 * text_h + 0.7 * sizes.text
    below = Box(x, middle + reach, text_w, text_h)
    return below if below.inside(*picture) else Box(x, middle - reach, text_w, text_h)


def _around(points: FloatArray, number: Box) -> Box:
    """Smallest upright box round the bar and its number."""
    half = np.array([number.width, number.height]) / 2
    middle = np.array([number.x, number.y])
    both = np.vstack([points, middle - half, middle + half])
    low, high = both.min(axis=0), both.max(axis=0)
    centre = (low + high) / 2
    return Box(float(centre[0]), float(centre[1]), *(float(v) for v in high - low))


def _paint_bar(
    image: Image, plane: Plane, bar: FloatArray, words: str, number: Box, sizes: Sizes
) -> None:
    outline = np.vstack([bar, bar[:1]])
    stroke(image, np.asarray(plane.to_px(outline)), DARK, sizes.casing)
    for i in range(5):
        block = bar[0] + i * (bar[1] - bar[0]) / 5 + (bar - bar[0]) * [1 / 5, 1]
        fill(image, np.asarray(plane.to_px(block)), WHITE if i % 2 else DARK)
    stroke(image, np.asarray(plane.to_px(outline)), WHITE, max(1, sizes.line // 2))
    write(image, words, number, sizes.text)
