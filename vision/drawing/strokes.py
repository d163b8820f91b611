"""Drawing on photos so that it reads on white glass and on black carbon alike."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.common.atomic_files import replace_file
from vision.drawing.labels import Box
from vision.errors import WetlineError
from vision.records import BoolArray, FloatArray

Image = NDArray[np.uint8]
Colour = tuple[int, int, int]

# Blue, green, red. Sky blue, yellow and vermilion of the palette by Okabe and Ito, "Color
# Universal Design" (2008), which stays apart for the common kinds of colour blindness; the first
# two also differ in lightness, for print in grey.
SKY: Colour = (233, 180, 86)
YELLOW: Colour = (66, 228, 240)
VERMILION: Colour = (0, 94, 213)
WHITE: Colour = (255, 255, 255)
DARK: Colour = (24, 20, 18)
_SHIFT = 4
_FARTHEST_PX = 30000.0


class Plane(Protocol):
    """Anything that maps panel mm to photo pixels and back, points of shape (N, 2)."""

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """Map panel mm to photo pixels."""
        ...

    def to_mm(self, points_px: FloatArray) -> FloatArray:
        """Map photo pixels to panel mm."""
        ...


@dataclass(frozen=True)
class ScaledPlane:
    """The same plane seen in a photo that was resized by `factor`."""

    plane: Plane
    factor: float

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """Map panel mm to pixels of the resized photo."""
        return (np.asarray(self.plane.to_px(points_mm)) + 0.5) * self.factor - 0.5

    def to_mm(self, points_px: FloatArray) -> FloatArray:
        """Map pixels of the resized photo to panel mm."""
        return np.asarray(self.plane.to_mm((np.asarray(points_px) + 0.5) / self.factor - 0.5))


@dataclass(frozen=True)
class Sizes:
    """Stroke and letter sizes in pixels that suit a photo."""

    line: int
    casing: int
    text: int

    @classmethod
    def for_image(cls, image: Image) -> Sizes:
        """Scale with the photo, so that a print of it reads the same at any resolution."""
        unit = max(image.shape[:2]) / 1280
        line = max(1, round(2.5 * unit))
        return cls(line, line + 2 * max(1, round(1.6 * unit)), max(10, round(20 * unit)))


def time_colour(share: float) -> Colour:
    """Colour for an early (0, blue and darker) to a late (1, yellow and lighter) line.

    Examples
    --------
    >>> time_colour(0.0) == SKY, time_colour(1.0) == YELLOW
    (True, True)
    """
    mix = min(max(share, 0.0), 1.0)
    b, g, r = (round(a + (z - a) * mix) for a, z in zip(SKY, YELLOW, strict=True))
    return b, g, r


def _fixed(points_px: FloatArray) -> NDArray[np.int32]:
    """Points as OpenCV's fixed-point numbers; what is not finite is left out."""
    points = np.asarray(points_px, dtype=float)
    points = points[np.isfinite(points).all(axis=1)].clip(-_FARTHEST_PX, _FARTHEST_PX)
    return np.rint(points * 2**_SHIFT).astype(np.int32)


def stroke(
    image: Image, points_px: FloatArray, colour: Colour, width: int, closed: bool = False
) -> None:
    """Draw an anti-aliased polyline into `image`, to a sixteenth of a pixel."""
    points = _fixed(points_px)
    if len(points) > 1:
        cv2.polylines(image, [points], closed, colour, width, cv2.LINE_AA, _SHIFT)


def along_sides(points: FloatArray, per_side: int = 24) -> FloatArray:
    """Return a polyline with points along its sides, so that a lens may bend them; as it is if one.

    Parameters
    ----------
    points : ndarray of shape (N, 2), float
    per_side : int
    """
    if len(points) < 2:
        return points
    share = np.linspace(0, 1, per_side, endpoint=False)[:, None]
    return np.vstack([*(a + share * (b - a) for a, b in pairwise(points)), points[-1:]])


def fill(image: Image, points_px: FloatArray, colour: Colour) -> None:
    """Fill a polygon in `image`."""
    points = _fixed(points_px)
    if len(points) > 2:
        cv2.fillPoly(image, [points], colour, cv2.LINE_AA, _SHIFT)


def dashes(points_px: FloatArray, solid: BoolArray, dash_px: float) -> list[FloatArray]:
    """Cut a polyline into strokes: whole where `solid`, dashed elsewhere.

    Parameters
    ----------
    points_px : ndarray of shape (N, 2)
        The line.
    solid : ndarray of shape (N,), bool
        Where it is drawn whole.
    dash_px : float
        Length of a dash and of a gap.

    Returns
    -------
    strokes : list of ndarray of shape (K, 2)
    """
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(points_px, axis=0).T))]
    inked = solid | ((along // max(dash_px, 1e-6)) % 2 == 0)
    index = np.flatnonzero(inked)
    runs = np.split(index, np.flatnonzero(np.diff(index) > 1) + 1)
    return [points_px[run] for run in runs if len(run) > 1]


def text_size(text: str, size: int, weight: int = 600) -> tuple[int, int]:
    """Width and height in pixels of one line of text, with room for tails."""
    face = cv2.FontFace("sans")
    _, _, width, _ = cv2.getTextSize((0, 0), text, (0, 0), face, size, weight)
    return int(width), round(size * 1.25)


def write(
    image: Image, text: str, box: Box, size: int, colour: Colour = WHITE, back: Colour = DARK
) -> None:
    """Write one line of text centred in `box`, on a backing, into `image`."""
    width, height = text_size(text, size)
    backing(image, box, back)
    origin = (round(box.x - width / 2), round(box.y + height * 0.28))
    cv2.putText(image, text, origin, colour, cv2.FontFace("sans"), size, 600)


def backing(image: Image, box: Box, colour: Colour = DARK, cover: float = 0.82) -> None:
    """Darken a rectangle of `image` so that what is written on it reads."""
    height, width = image.shape[:2]
    left, right = np.clip([box.x - box.width / 2, box.x + box.width / 2], 0, width).round()
    top, bottom = np.clip([box.y - box.height / 2, box.y + box.height / 2], 0, height).round()
    patch = image[int(top) : int(bottom), int(left) : int(right)]
    patch[:] = np.rint(patch * (1 - cover) + np.array(colour) * cover).astype(np.uint8)


def padded(text: str, size: int) -> tuple[float, float]:
    """Size of a label with its backing."""
    width, height = text_size(text, size)
    return width + 0.6 * size, height + 0.15 * size


def save_image(path: Path, image: Image) -> None:
    """Write a PNG or JPEG (by the ending of `path`) in one step; any letters in the path.

    Raises
    ------
    WetlineError
        If the ending is of no picture, or the file cannot be written.
    """
    data = encode_image(image, path.suffix)
    replace_file(path, lambda part: part.write_bytes(data))


def encode_image(image: Image, suffix: str = ".png") -> bytes:
    """Encode an image as the bytes of a file of that ending.

    Raises
    ------
    WetlineError
        If the ending is of no picture format known here.
    """
    options = {
        ".png": [],
        ".jpg": [cv2.IMWRITE_JPEG_QUALITY, 92],
        ".jpeg": [cv2.IMWRITE_JPEG_QUALITY, 92],
    }
    if suffix.lower() not in options:
        raise WetlineError(f"a picture cannot end in '{suffix}': use .png or .jpg")
    _, data = cv2.imencode(suffix.lower(), image, options[suffix.lower()])
    return bytes(data.tobytes())


SMALL_PX, SMALL_QUALITY = 1000, 78
"""Size and JPEG quality of a photo that is to be mailed."""


def small_jpeg(image: Image, widest_px: int = SMALL_PX, quality: int = SMALL_QUALITY) -> bytes:
    """Return a photo as a small JPEG.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3), uint8
        Blue, green, red.
    widest_px : int
        Greatest width and height; a smaller photo keeps its size.
    quality : int
        From 0 to 100.
    """
    height, width = image.shape[:2]
    share = widest_px / max(height, width)
    if share < 1:
        size = (max(1, round(width * share)), max(1, round(height * share)))
        image = np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.uint8)
    ok, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return bytes(data.tobytes()) if ok else b""


def shrunk_jpeg(data: bytes, widest_px: int = SMALL_PX, quality: int = SMALL_QUALITY) -> bytes:
    """Return a picture file as a small JPEG; as it is where it cannot be read."""
    image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR) if data else None
    return data if image is None else small_jpeg(np.asarray(image, np.uint8), widest_px, quality)
