"""The panel plane as a canvas in millimetres, and drawing on it."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating]
SHIFT = 4  # OpenCV drawing in sixteenths of a pixel


@dataclass(frozen=True)
class Plane:
    """A rectangle of the panel plane at `ppm` pixels per mm; pixel (0, 0) is at (x0, y0)."""

    x0_mm: float
    y0_mm: float
    x1_mm: float
    y1_mm: float
    ppm: float = 3.0

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the canvas."""
        return (
            round((self.y1_mm - self.y0_mm) * self.ppm),
            round((self.x1_mm - self.x0_mm) * self.ppm),
        )

    def xy(self) -> tuple[Array, Array]:
        """Coordinates in mm of every pixel centre, as two float32 arrays."""
        rows, cols = self.shape
        x = self.x0_mm + np.arange(cols, dtype=np.float32) / self.ppm
        y = self.y0_mm + np.arange(rows, dtype=np.float32) / self.ppm
        return np.broadcast_to(x, (rows, cols)), np.broadcast_to(y[:, None], (rows, cols))

    def px(self, points_mm: Array) -> NDArray[np.int32]:
        """Turn points in mm into OpenCV's shifted fixed-point pixels."""
        points = np.asarray(points_mm, float).reshape(-1, 2) - (self.x0_mm, self.y0_mm)
        return np.round(points * self.ppm * 2**SHIFT).astype(np.int32)

    def window(self, box_mm: tuple[float, float, float, float]) -> tuple[Plane, slice, slice]:
        """Give a part of the plane, and the rows and columns it takes up."""
        rows, cols = self.shape
        low = (np.array(box_mm[:2]) - (self.x0_mm, self.y0_mm)) * self.ppm
        high = (np.array(box_mm[2:]) - (self.x0_mm, self.y0_mm)) * self.ppm
        c0, r0 = (int(v) for v in np.clip(np.floor(low), 0, (cols, rows)))
        c1, r1 = (int(v) for v in np.clip(np.ceil(high), 0, (cols, rows)))
        x0, y0 = self.x0_mm + c0 / self.ppm, self.y0_mm + r0 / self.ppm
        part = Plane(x0, y0, x0 + (c1 - c0) / self.ppm, y0 + (r1 - r0) / self.ppm, self.ppm)
        return part, slice(r0, r1), slice(c0, c1)

    def polygon(self, points_mm: Array) -> Array:
        """Mask (0 to 1, smooth edge) of a filled polygon."""
        mask = np.zeros(self.shape, np.uint8)
        cv2.fillPoly(mask, [self.px(points_mm).reshape(-1, 1, 2)], 255, cv2.LINE_AA, SHIFT)
        return mask.astype(np.float32) / 255

    def line(self, points_mm: Array, width_mm: float) -> Array:
        """Mask of a polyline of some width."""
        mask = np.zeros(self.shape, np.uint8)
        thick = max(1, round(width_mm * self.ppm))
        pts = [self.px(points_mm).reshape(-1, 1, 2)]
        cv2.polylines(mask, pts, False, 255, thick, cv2.LINE_AA, SHIFT)
        return mask.astype(np.float32) / 255

    def text(self, words: str, at_mm: tuple[float, float], size_mm: float, stroke: int) -> Array:
        """Mask of a line of writing whose foot starts at a point."""
        mask = np.zeros(self.shape, np.uint8)
        col, row = ((np.array(at_mm) - (self.x0_mm, self.y0_mm)) * self.ppm).round().astype(int)
        font = cv2.FONT_HERSHEY_SCRIPT_SIMPLEX if stroke > 2 else cv2.FONT_HERSHEY_SIMPLEX
        scale = size_mm * self.ppm / 22
        cv2.putText(mask, words, (int(col), int(row)), font, scale, 255, stroke, cv2.LINE_AA)
        return mask.astype(np.float32) / 255


def rectangle(x0: float, y0: float, x1: float, y1: float) -> Array:
    """Give four corners in order."""
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], float)


def curve(points_mm: list[tuple[float, float]], steps: int = 80) -> Array:
    """Bezier curve through its end points, shaped by the points between."""
    t = np.linspace(0, 1, steps)[:, None]
    layer = [np.tile(np.array(p, float), (steps, 1)) for p in points_mm]
    while len(layer) > 1:
        layer = [(1 - t) * a + t * b for a, b in itertools.pairwise(layer)]
    return layer[0]


def blur(image: Array, sigma_px: float) -> Array:
    """Gaussian blur."""
    return cv2.GaussianBlur(np.asarray(image, np.float32), (0, 0), sigma_px)


def patchy(shape: tuple[int, int], sigma_px: float, rng: np.random.Generator) -> Array:
    """Smooth noise of mean 0 and spread 1; wide patches are made small and enlarged."""
    shrink = max(1, int(sigma_px / 3))
    small = (shape[0] // shrink + 2, shape[1] // shrink + 2)
    noise = blur(rng.standard_normal(small).astype(np.float32), max(sigma_px / shrink, 0.3))
    noise = (noise - noise.mean()) / noise.std()
    return cv2.resize(noise, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)


def over(canvas: Array, colour: Array, mask: Array) -> Array:
    """Lay a colour (or a picture) over a canvas."""
    return canvas + (np.asarray(colour, np.float32) - canvas) * mask[..., None]


def shifted(mask: Array, right_px: int, down_px: int) -> Array:
    """Move a mask; what comes in from outside repeats the edge."""
    move = np.array([[1, 0, right_px], [0, 1, down_px]], float)
    return cv2.warpAffine(
        mask,
        move,
        (mask.shape[1], mask.shape[0]),
        flags=cv2.INTER_NEAREST,
        borderMode=cv2.BORDER_REPLICATE,
    )


def shade(canvas: Array, mask: Array, strength: float, sigma_px: float, shift_px: int) -> Array:
    """Cast the soft shadow of a mask, down and to the right."""
    moved = shifted(mask, shift_px, shift_px)
    return canvas * (1 - strength * blur(moved, sigma_px))[..., None]
