"""A chart as a picture: axes with round ticks, a grid, what is on it, and a legend above."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.drawing.charts.chart import Band, Chart, Line, Mark, Rule
from vision.drawing.charts.paint import Brush, put_words, words_width
from vision.drawing.charts.ticks import round_ticks, tick_words
from vision.drawing.strokes import Image
from vision.records import FloatArray

SIZE_IN = (7.2, 4.1)
DPI = 110
INK = "#1a1a1a"
GRID = "#d9d9d9"
_ROOM = (0.122, 0.09, 0.984, 0.865)
"""Of the axes in the picture: left, top, right, bottom."""
_RIGHT_ROOM = 0.075
_FINE = 2
"""Drawn so many times larger and made smaller, so that edges are smooth and widths true."""
_TICK_PT, _TICK_TEXT_PT, _LABEL_PT, _RULE_PT = 3.5, 10.0, 11.0, 9.5
_PNG_HEAD = 33
"""Bytes of a PNG file's signature and first chunk."""
_HANDLE_PT = 16.0
"""Length of a line in the legend."""


@dataclass(frozen=True)
class Frame:
    """Where the axes lie in a picture, in pixels, and what their ends stand for."""

    left: float
    top: float
    right: float
    bottom: float
    x_span: tuple[float, float]
    y_span: tuple[float, float]
    unit_px: float

    def places(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Return the pixels of values, of shape (N, 2)."""
        (x0, x1), (y0, y1) = self.x_span, self.y_span
        across = (np.asarray(x, float) - x0) / (x1 - x0) * (self.right - self.left)
        up = (np.asarray(y, float) - y0) / (y1 - y0) * (self.bottom - self.top)
        return np.stack([self.left + across, self.bottom - up], axis=1)

    def hold(self, places: FloatArray) -> FloatArray:
        """Return those places that lie within the axes."""
        low, high = (self.left - 0.5, self.top - 0.5), (self.right + 0.5, self.bottom + 0.5)
        return places[((places >= low) & (places <= high)).all(axis=1)]

    def px(self, points: float) -> int:
        """Return a size in points (1/72 inch) in whole pixels."""
        return round(points * self.unit_px)


def frame_of(chart: Chart, dpi: int = DPI) -> Frame:
    """Return where the axes of a chart lie, at so many pixels an inch."""
    width, height = _size_px(dpi)
    left, top, right, bottom = _ROOM
    right -= 0.0 if chart.right is None else _RIGHT_ROOM
    return Frame(
        round(left * width),
        round(top * height),
        round(right * width),
        round(bottom * height),
        chart.x_span,
        chart.y_span,
        dpi / 72.0,
    )


def _size_px(dpi: int) -> tuple[int, int]:
    wide, high = SIZE_IN
    return round(wide * dpi), round(high * dpi)


def draw_chart(chart: Chart, dpi: int = DPI) -> Image:
    """Draw a chart of 7.2 by 4.1 inches.

    Parameters
    ----------
    chart : Chart
    dpi : int
        Pixels an inch.

    Returns
    -------
    picture : ndarray of shape (4.1 dpi, 7.2 dpi, 3), uint8
        Blue, green and red; the same chart gives the same picture.
    """
    frame = frame_of(chart, dpi)
    width, height = _size_px(dpi)
    fine = np.full((height * _FINE, width * _FINE, 3), 255, np.uint8)
    x_ticks = round_ticks(*chart.x_span)
    y_ticks = round_ticks(*chart.y_span)
    _grid(fine, frame, x_ticks, y_ticks)
    for item in sorted(chart.items, key=lambda item: item.level):
        _item(fine, frame, item)
    brush = Brush(fine, _FINE)
    _axes(brush, frame, x_ticks, y_ticks)
    entries = _entries(chart)
    size, places = _legend(frame, width, [name for name, _ in entries])
    for (_, items), (x, y) in zip(entries, places, strict=True):
        _handle(brush, frame, items, x, y)
    small = cv2.resize(fine, (width, height), interpolation=cv2.INTER_AREA)
    picture = small.astype(np.uint8, copy=False)
    _words(picture, frame, chart, x_ticks, y_ticks)
    if chart.right is not None:
        _right_axis(picture, frame, chart)
    for (name, _), (x, y) in zip(entries, places, strict=True):
        beside = x + frame.px(_HANDLE_PT + 5)
        put_words(picture, name, (beside, y + frame.px(3)), size, INK)
    return picture


def chart_png(chart: Chart, dpi: int = DPI) -> bytes:
    """Return a chart as a PNG file that says its size in print."""
    # Without filters it takes a third of the time, and no more room.
    options = [cv2.IMWRITE_PNG_COMPRESSION, 2, cv2.IMWRITE_PNG_FILTER, cv2.IMWRITE_PNG_FILTER_NONE]
    data = cv2.imencode(".png", draw_chart(chart, dpi), options)[1].tobytes()
    # Chunk pHYs of the PNG specification (W3C, third edition), pixels a metre, after IHDR.
    per_metre = round(dpi / 0.0254)
    chunk = b"pHYs" + struct.pack(">IIB", per_metre, per_metre, 1)
    size, check = struct.pack(">I", len(chunk) - 4), struct.pack(">I", zlib.crc32(chunk))
    return data[:_PNG_HEAD] + size + chunk + check + data[_PNG_HEAD:]


def _grid(fine: Image, frame: Frame, x_ticks: FloatArray, y_ticks: FloatArray) -> None:
    brush = Brush(fine, _FINE)
    for x in frame.places(x_ticks, np.full(len(x_ticks), frame.y_span[0]))[:, 0]:
        brush.line(np.array([[x, frame.top], [x, frame.bottom]]), GRID, 0.6 * frame.unit_px)
    for y in frame.places(np.full(len(y_ticks), frame.x_span[0]), y_ticks)[:, 1]:
        brush.line(np.array([[frame.left, y], [frame.right, y]]), GRID, 0.6 * frame.unit_px)


def _item(fine: Image, frame: Frame, item: Line | Band | Rule) -> None:
    """Draw one item: lines end at the axes, a mark is drawn whole if its point lies within."""
    rows = slice(int(frame.top * _FINE), int(frame.bottom * _FINE))
    cols = slice(int(frame.left * _FINE), int(frame.right * _FINE))
    brush, corner = Brush(fine[rows, cols], _FINE), np.array([frame.left, frame.top])
    unit = frame.unit_px
    if isinstance(item, Band):
        for piece in _known_pieces(item):
            top = frame.places(item.x[piece], item.high[piece]) - corner
            under = frame.places(item.x[piece], item.low[piece]) - corner
            brush.tint(np.concatenate([top, under[::-1]]), item.colour, item.cover)
    elif isinstance(item, Rule):
        ends = _rule_ends(frame, item) - corner
        brush.line(ends, item.colour, item.width_pt * unit, _pattern(item, unit))
    elif item.width_pt:
        places = frame.places(item.x, item.y) - corner
        width = item.width_pt * unit
        brush.line(places, item.colour, width, _pattern(item, unit), flat=item.flat)
    if isinstance(item, Line) and item.mark is not None:
        places = frame.places(item.x, item.y)[:: item.mark.every]
        Brush(fine, _FINE).mark(frame.hold(places), item.mark, unit)


def _pattern(item: Line | Rule, unit_px: float) -> tuple[float, ...]:
    return tuple(share * item.width_pt * unit_px for share in item.dash)


def _known_pieces(band: Band) -> list[NDArray[np.intp]]:
    known = np.isfinite(band.x) & np.isfinite(band.low) & np.isfinite(band.high)
    index = np.flatnonzero(known)
    runs = np.split(index, np.flatnonzero(np.diff(index) > 1) + 1)
    return [run for run in runs if len(run) > 1]


def _rule_ends(frame: Frame, rule: Rule) -> FloatArray:
    at = np.full(2, rule.value)
    if rule.upright:
        return frame.places(at, np.array(frame.y_span))
    return frame.places(np.array(frame.x_span), at)


def _axes(brush: Brush, frame: Frame, x_ticks: FloatArray, y_ticks: FloatArray) -> None:
    """Draw the two axes and their ticks, over all else."""
    corner = [[frame.left, frame.top], [frame.left, frame.bottom], [frame.right, frame.bottom]]
    thin, long = 1.0 * frame.unit_px, _TICK_PT * frame.unit_px
    brush.line(np.array(corner, float), INK, thin)
    for x in frame.places(x_ticks, np.full(len(x_ticks), frame.y_span[0]))[:, 0]:
        brush.line(np.array([[x, frame.bottom], [x, frame.bottom + long]]), INK, thin)
    for y in frame.places(np.full(len(y_ticks), frame.x_span[0]), y_ticks)[:, 1]:
        brush.line(np.array([[frame.left, y], [frame.left - long, y]]), INK, thin)


def _words(
    picture: Image, frame: Frame, chart: Chart, x_ticks: FloatArray, y_ticks: FloatArray
) -> None:
    """Write the numbers at the ticks, the names of the axes and those of the rules."""
    small, large = frame.px(_TICK_TEXT_PT), frame.px(_LABEL_PT)
    x_words, x_times = tick_words(x_ticks)
    y_words, y_times = tick_words(y_ticks)
    under = frame.bottom + frame.px(_TICK_PT + 3) + 0.75 * small
    for x, text in zip(frame.places(x_ticks, 0 * x_ticks)[:, 0], x_words, strict=True):
        put_words(picture, text, (x, under), small, INK, share=0.5)
    beside = frame.left - frame.px(_TICK_PT + 3)
    for y, text in zip(frame.places(0 * y_ticks, y_ticks)[:, 1], y_words, strict=True):
        put_words(picture, text, (beside, y + 0.36 * small), small, INK, share=1.0)
    middle = ((frame.left + frame.right) / 2, (frame.top + frame.bottom) / 2)
    below = under + 0.35 * small + frame.px(4) + 0.8 * large
    put_words(picture, _named(chart.x_label, x_times), (middle[0], below), large, INK, share=0.5)
    edge, up_label = frame.px(4) + large, _named(chart.y_label, y_times)
    put_words(picture, up_label, (edge, middle[1]), large, INK, share=0.5, upright=True)
    for rule in (item for item in chart.items if isinstance(item, Rule)):
        _rule_words(picture, frame, rule)


def _named(label: str, times: str) -> str:
    return f"{label}, in {times}" if times else label


def _rule_words(picture: Image, frame: Frame, rule: Rule) -> None:
    size = frame.px(_RULE_PT)
    x, y = _rule_ends(frame, rule)[0]
    if rule.upright:
        place = (x - frame.px(4), frame.bottom - frame.px(5))
        put_words(picture, rule.words, place, size, rule.colour, upright=True)
    else:
        put_words(picture, rule.words, (x + frame.px(5), y - frame.px(4)), size, rule.colour)


def _right_axis(picture: Image, frame: Frame, chart: Chart) -> None:
    """Draw the axis at the right, on which the same places have other numbers."""
    assert chart.right is not None
    low, high = (value * chart.right.per_unit for value in chart.y_span)
    ticks = round_ticks(low, high)
    words, times = tick_words(ticks)
    small, large = frame.px(_TICK_TEXT_PT), frame.px(_LABEL_PT)
    right, long = round(frame.right), frame.px(_TICK_PT)
    cv2.line(picture, (right, round(frame.top)), (right, round(frame.bottom)), (26, 26, 26), 1)
    span = replace(frame, y_span=(low, high))
    for y, text in zip(span.places(0 * ticks, ticks)[:, 1], words, strict=True):
        cv2.line(picture, (right, round(y)), (right + long, round(y)), (26, 26, 26), 1)
        put_words(picture, text, (right + frame.px(_TICK_PT + 3), y + 0.36 * small), small, INK)
    place = (picture.shape[1] - frame.px(4), (frame.top + frame.bottom) / 2)
    label = _named(chart.right.label, times)
    put_words(picture, label, place, large, INK, share=0.5, upright=True)


def _entries(chart: Chart) -> list[tuple[str, list[Line | Band]]]:
    """Return the names of the legend and what is drawn beside each."""
    named = [item for item in chart.items if not isinstance(item, Rule) and item.name]
    names = list(dict.fromkeys(item.name for item in named))
    return [(name, [item for item in named if item.name == name]) for name in names]


def _legend(frame: Frame, width: int, names: list[str]) -> tuple[int, list[tuple[float, float]]]:
    """Return the size of the letters and where each handle begins: in few rows, none too long."""
    for rows in range(1, len(names) + 1):
        for size in (frame.px(9.0), frame.px(8.0)):
            places, end = _columns(frame, names, rows, size)
            if end <= width - frame.px(4):
                return size, places
    return frame.px(8.0), _columns(frame, names, len(names), frame.px(8.0))[0] if names else []


def _columns(
    frame: Frame, names: list[str], rows: int, size: int
) -> tuple[list[tuple[float, float]], float]:
    """Return where each handle begins, in columns of so many rows, and where the last ends."""
    lowest, places, x, end = frame.top - frame.px(6), [], frame.left, 0.0
    for start in range(0, len(names), rows):
        column = names[start : start + rows]
        places += [(x, lowest - 1.35 * size * (rows - 1 - row)) for row in range(len(column))]
        end = x + frame.px(_HANDLE_PT + 5) + max(words_width(name, size) for name in column)
        x = end + frame.px(12)
    return places, end


def _handle(brush: Brush, frame: Frame, items: list[Line | Band], x: float, y: float) -> None:
    """Draw a piece of what a name stands for, as it is drawn on the chart."""
    unit, long = frame.unit_px, _HANDLE_PT * frame.unit_px
    ends, middle = np.array([[x, y], [x + long, y]]), np.array([[x + long / 2, y]])
    for item in items:
        if isinstance(item, Band):
            brush.tint(_bar(ends, 6 * unit), item.colour, item.cover)
            continue
        if item.width_pt:
            brush.line(ends, item.colour, item.width_pt * unit, _pattern(item, unit), flat=True)
        if item.mark is not None:
            brush.mark(middle, _lying(item.mark), unit)


def _bar(ends: FloatArray, thick: float) -> FloatArray:
    (x0, y), (x1, _) = ends
    half = thick / 2
    return np.array([[x0, y - half], [x1, y - half], [x1, y + half], [x0, y + half]])


def _lying(mark: Mark) -> Mark:
    return mark if mark.shape != "bar" else replace(mark, size_pt=min(mark.size_pt, 8.0))
