"""The picture on the board: the latest frame with the front and where it stood before.

Tested in tests/vision/tracking/test_live_feed.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from vision.drawing.front_lines import FrontLine, choose_times_s, front_lines
from vision.drawing.overlay import (
    draw_labels,
    draw_line,
    line_colours,
    panel_outline_mm,
)
from vision.drawing.strokes import DARK, WHITE, Image, ScaledPlane, Sizes, stroke
from vision.frames.exif import read_header
from vision.frames.photo_times import Photo
from vision.frames.photos import decode_photo
from vision.records import ArrivalMap
from vision.scale.plane_map import PlaneMap

SHOWN_WIDTH = 1280
QUALITY = 82
_LINES = 6


@dataclass(frozen=True)
class PictureParts:
    """What the picture is drawn from; kept so that it is drawn only when somebody looks.

    `front_s` is the time up to which the front is settled, in seconds since resin start.
    """

    image: Image
    plane: PlaneMap | None
    arrival: ArrivalMap | None
    front_s: float
    flow: str


def load_frame(path: Path) -> Image | None:
    """Decode a stored frame upright; None if it cannot be."""
    try:
        return decode_photo(Photo(path, read_header(path)))
    except OSError:
        return None


def draw_live(parts: PictureParts, width: int = SHOWN_WIDTH) -> Image:
    """Draw the board's picture.

    Parameters
    ----------
    parts : PictureParts
    width : int
        Greatest width in pixels.

    Returns
    -------
    picture : ndarray of shape (H, W, 3), uint8
        Past fronts as thin lines with their times, the front of now as a broad white line with a
        dark edge, so that it reads on glass and on carbon.
    """
    height, full = parts.image.shape[:2]
    factor = min(1.0, width / full)
    size = (max(1, round(full * factor)), max(1, round(height * factor)))
    image = np.asarray(cv2.resize(parts.image, size, interpolation=cv2.INTER_AREA), np.uint8)
    if parts.plane is None:
        return image
    plane = ScaledPlane(parts.plane, factor)
    sizes = Sizes.for_image(image)
    outline = panel_outline_mm((parts.plane.length_mm, parts.plane.width_mm))
    stroke(image, np.asarray(plane.to_px(outline)), DARK, 3)
    stroke(image, np.asarray(plane.to_px(outline)), WHITE, 1)
    if parts.arrival is None or parts.front_s <= 0:
        return image
    times = [t for t in choose_times_s(parts.front_s, _LINES) if t < 0.97 * parts.front_s]
    past = front_lines(parts.arrival, times, flow=parts.flow)
    now = [x for x in front_lines(parts.arrival, [parts.front_s], flow=parts.flow) if not x.dry]
    _draw(image, plane, past, sizes)
    for line in now:
        points = np.asarray(plane.to_px(line.points_mm), dtype=float)
        stroke(image, points, DARK, sizes.casing + 4)
        stroke(image, points, WHITE, sizes.line + 3)
    return image


def _draw(image: Image, plane: ScaledPlane, lines: list[FrontLine], sizes: Sizes) -> None:
    points = [np.asarray(plane.to_px(line.points_mm), dtype=float) for line in lines]
    colours = line_colours(lines)
    for line, px, colour in zip(lines, points, colours, strict=True):
        draw_line(image, line, px, colour, sizes)
    draw_labels(image, lines, points, colours, sizes, [])


def jpeg_bytes(image: Image, quality: int = QUALITY) -> bytes:
    """Encode a picture for the page."""
    ok, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return data.tobytes() if ok else b""
