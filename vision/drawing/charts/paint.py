"""Strokes, dashes, tints, marks and words on a picture, in fractions of a pixel."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.drawing.charts.chart import Mark
from vision.drawing.strokes import Colour, Image, fill, stroke
from vision.records import FloatArray

_FACE = "sans"
_WEIGHT = 400
_CORNERS = {
    "square": [(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)],
    "triangle": [(0.0, -0.5), (0.5, 0.5), (-0.5, 0.5)],
    "diamond": [(0.0, -0.707), (0.707, 0.0), (0.0, 0.707), (-0.707, 0.0)],
}
"""Corners of a mark of size one, y down."""
_ROUND = np.linspace(0.0, 2 * np.pi, 24, endpoint=False)


def colour_of(code: str) -> Colour:
    """Return the blue, green and red of a colour as ``#rrggbb``.

    Examples
    --------
    >>> colour_of("#0072b2")
    (178, 114, 0)
    """
    red, green, blue = bytes.fromhex(code.removeprefix("#"))
    return blue, green, red


def pieces_in_view(points: FloatArray, width: float, height: float) -> list[FloatArray]:
    """Cut a polyline where it has gaps or lies beyond one side of a picture.

    Parameters
    ----------
    points : ndarray of shape (N, 2), float
        In pixels (x, y); what is not finite is a gap.
    width, height : float
        Of the picture.

    Returns
    -------
    pieces : list of ndarray of shape (K, 2)
        Each with two points at least.
    """
    if len(points) < 2:
        return []
    ends = np.stack([points[:-1], points[1:]])
    beyond = np.all(ends < 0, axis=0) | np.all(ends > [width, height], axis=0)
    drawn = np.isfinite(ends).all(axis=(0, 2)) & ~np.any(beyond, axis=1)
    index = np.flatnonzero(drawn)
    runs = np.split(index, np.flatnonzero(np.diff(index) > 1) + 1)
    return [points[run[0] : run[-1] + 2] for run in runs if len(run)]


def dashed(points: FloatArray, pattern: tuple[float, ...]) -> list[FloatArray]:
    """Cut a polyline into dashes.

    Parameters
    ----------
    points : ndarray of shape (N, 2), float
    pattern : tuple of float
        Lengths of dash and gap in turn, in pixels; empty leaves the line whole.

    Returns
    -------
    dashes : list of ndarray of shape (K, 2)

    Examples
    --------
    >>> [d.tolist() for d in dashed(np.array([[0.0, 0.0], [10.0, 0.0]]), (4.0, 3.0))]
    [[[0.0, 0.0], [4.0, 0.0]], [[7.0, 0.0], [10.0, 0.0]]]
    """
    if not pattern:
        return [points]
    along = _along(points)
    edges = np.cumsum(pattern * (1 + int(along[-1] / sum(pattern))))
    starts = np.concatenate([[0.0], edges[1:-1:2]])
    return [
        _between(points, along, start, min(end, along[-1]))
        for start, end in zip(starts, edges[::2], strict=True)
        if start < along[-1]
    ]


def shortened(points: FloatArray, by: float) -> FloatArray:
    """Return a polyline without its first and last `by` pixels; at least its middle.

    Examples
    --------
    >>> shortened(np.array([[0.0, 0.0], [10.0, 0.0]]), 2.0).tolist()
    [[2.0, 0.0], [8.0, 0.0]]
    """
    along = _along(points)
    start = min(by, along[-1] / 2 - 0.05)
    return _between(points, along, start, along[-1] - start)


def _along(points: FloatArray) -> FloatArray:
    """Return the length of a polyline up to each of its points."""
    along = np.zeros(len(points))
    np.cumsum(np.hypot(*np.diff(points, axis=0).T), out=along[1:])
    return along


def _between(points: FloatArray, along: FloatArray, start: float, end: float) -> FloatArray:
    """Return the piece of a polyline between two lengths along it."""
    inner = points[(along > start) & (along < end)]
    piece = np.empty((len(inner) + 2, 2))
    piece[1:-1] = inner
    for axis in (0, 1):
        piece[:: len(inner) + 1, axis] = np.interp((start, end), along, points[:, axis])
    return piece


def stroke_width(width: float) -> int:
    """Return the thickness to ask OpenCV for, so that a smooth line comes out nearest `width`.

    Notes
    -----
    Measured: thickness 1 inks 1.3 pixels across, and 2, 4, 6 ... ink 1.4 more than they say.

    Examples
    --------
    >>> [stroke_width(w) for w in (0.5, 1.4, 3.4, 5.4, 14.0)]
    [1, 1, 2, 4, 12]
    """
    return 1 if width < 2.4 else max(2, 2 * round((width - 1.4) / 2))


@dataclass(frozen=True)
class Brush:
    """Draws into a picture, or a window of it, that is later made smaller by `fine`.

    Attributes
    ----------
    image : ndarray of shape (fine H, fine W, 3), uint8
        Drawn into; all places and sizes are given in pixels of the smaller picture.
    fine : int
        Pixels drawn to one of the smaller picture.
    """

    image: Image
    fine: int

    def line(
        self,
        points: FloatArray,
        colour: str,
        width_px: float,
        pattern: tuple[float, ...] = (),
        *,
        flat: bool = False,
    ) -> None:
        """Draw a polyline of shape (N, 2), whole or dashed; the pattern is in pixels.

        Ends are round, and beyond the last point by half a width, unless `flat`; dashes are as
        long as they should be.
        """
        height, width = np.array(self.image.shape[:2]) / self.fine
        thick = stroke_width(width_px * self.fine)
        for piece in pieces_in_view(points, width, height):
            for dash in dashed(piece, pattern):
                ends = shortened(dash, width_px / 2) if flat or pattern else dash
                stroke(self.image, self._fine(ends), colour_of(colour), thick)

    def tint(self, outline: FloatArray, colour: str, cover: float) -> None:
        """Tint the inside of a polygon of shape (N, 2)."""
        corners = self._fine(outline)
        rows, cols = self.image.shape[:2]
        left, top = (max(0, int(least) - 2) for least in corners.min(axis=0))
        right, bottom = (int(most) + 3 for most in corners.max(axis=0).clip(None, [cols, rows]))
        patch = self.image[top:bottom, left:right]
        if not patch.size:
            return
        over = patch.copy()
        fill(over, corners - [left, top], colour_of(colour))
        cv2.addWeighted(over, cover, patch, 1 - cover, 0, dst=patch)

    def mark(self, points: FloatArray, mark: Mark, unit_px: float) -> None:
        """Draw a mark at each point of shape (N, 2); `unit_px` is a point (1/72 inch)."""
        size, edge = mark.size_pt * unit_px, stroke_width(mark.edge_pt * unit_px * self.fine)
        if mark.shape == "bar":
            for x, y in points:
                ends = np.array([[x, y - size / 2], [x, y + size / 2]])
                stroke(self.image, self._fine(ends), colour_of(mark.edge), edge)
            return
        around = np.stack([np.cos(_ROUND), np.sin(_ROUND)], axis=1) / 2
        shape = np.array(_CORNERS.get(mark.shape, around)) * size
        for place in points:
            corners = self._fine(place + shape)
            fill(self.image, corners, colour_of(mark.inside))
            stroke(self.image, corners, colour_of(mark.edge), edge, closed=True)

    def _fine(self, points: FloatArray) -> FloatArray:
        """Return places in pixels of the smaller picture as those of the larger."""
        return np.asarray((points + 0.5) * self.fine - 0.5)


def words_width(text: str, size: int) -> int:
    """Return the width of one line of text in pixels."""
    face = cv2.FontFace(_FACE)
    return int(cv2.getTextSize((0, 0), text, (0, 0), face, size, _WEIGHT)[2])


def put_words(
    image: Image,
    text: str,
    place: tuple[float, float],
    size: int,
    colour: str,
    *,
    share: float = 0.0,
    upright: bool = False,
) -> None:
    """Write one line of text into `image`.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3), uint8
    text : str
    place : (x, y)
        A place on the line that the letters stand on, in pixels.
    size : int
        Of the letters, in pixels.
    colour : str
        As ``#rrggbb``.
    share : float
        Of the text's length before `place`: 0 begins there, 1 ends there.
    upright : bool
        From the bottom up instead of from left to right.
    """
    room = size
    width = words_width(text, size)
    ink = np.zeros((size + 2 * room, width + 2 * room, 3), np.uint8)
    face = cv2.FontFace(_FACE)
    cv2.putText(ink, text, (room, room + size), (255, 255, 255), face, size, _WEIGHT)
    if upright:
        ink = np.ascontiguousarray(np.rot90(ink))
        left, top = place[0] - (room + size), place[1] + share * width - (room + width)
    else:
        left, top = place[0] - share * width - room, place[1] - (room + size)
    _blend(image, ink, round(left), round(top), colour)


def _blend(image: Image, ink: Image, left: int, top: int, colour: str) -> None:
    """Lay `ink`, white where the colour goes, into the picture; what is outside is cut off."""
    rows, cols = image.shape[:2]
    up, before = max(0, -top), max(0, -left)
    ink = ink[up : max(up, rows - top), before : max(before, cols - left)]
    top, left = max(0, top), max(0, left)
    patch = image[top : top + ink.shape[0], left : left + ink.shape[1]]
    share = ink / 255.0
    patch[:] = np.rint(patch * (1 - share) + np.array(colour_of(colour)) * share).astype(np.uint8)
