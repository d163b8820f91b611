"""Look-up tables that lay a photo flat, and the colour of the table around the panel."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.records import BoolArray, FloatArray
from vision.scale.plane_map import PlaneMap

NODE_STEP = 8
"""Canvas pixels between two places whose photo position is worked out exactly."""

BORDER_HALF = 4
"""Half the side of the square averaged around a border point, in photo pixels."""


def inside_picture(points_px: FloatArray, size: tuple[int, int]) -> BoolArray:
    """Find which photo points, shape (N, 2), lie on the photo."""
    low, high = points_px >= -0.5, points_px <= np.array(size) - 0.5
    return np.asarray(low.all(axis=1) & high.all(axis=1), bool)


def canvas_px(
    plane: PlaneMap, shape: tuple[int, int], mm_per_px: float
) -> tuple[FloatArray, FloatArray]:
    """Photo position (x, y) of each canvas pixel's centre, two arrays of the canvas's shape.

    Worked out at every `NODE_STEP`-th pixel and straight in between, which perspective and lens
    bend by less than a hundredth of a pixel.
    """
    rows, row_nodes = _between(shape[0])
    cols, col_nodes = _between(shape[1])
    x, y = np.meshgrid((col_nodes + 0.5) * mm_per_px, (row_nodes + 0.5) * mm_per_px)
    px = plane.to_px(np.stack([x.ravel(), y.ravel()], axis=1)).reshape(*x.shape, 2)
    return rows @ px[..., 0] @ cols.T, rows @ px[..., 1] @ cols.T


def _between(count: int) -> tuple[FloatArray, FloatArray]:
    """Weights of evenly spread nodes at each of `count` places, and the nodes' places."""
    nodes = np.linspace(0, count - 1, max(2, -(-count // NODE_STEP) + 1))
    place = np.arange(count) / max(count - 1, 1) * (len(nodes) - 1)
    left = np.minimum(place.astype(int), len(nodes) - 2)
    weights = np.zeros((count, len(nodes)))
    weights[np.arange(count), left] = 1 - (place - left)
    weights[np.arange(count), left + 1] = place - left
    return weights, nodes


class Warp:
    """Look-up tables from one plane map to canvas and border colours."""

    def __init__(
        self, plane: PlaneMap, shape: tuple[int, int], border_mm: FloatArray, mm_per_px: float
    ) -> None:
        grid_x, grid_y = canvas_px(plane, shape, mm_per_px)
        width, height = plane.image_size
        inside = (grid_x >= -0.5) & (grid_x <= width - 0.5)
        inside &= (grid_y >= -0.5) & (grid_y <= height - 0.5)
        self.in_view: BoolArray | None = None if inside.all() else inside
        self._factor = max(1, int(mm_per_px / plane.mm_per_px() + 0.25))
        least = np.floor([grid_x.min(), grid_y.min()])
        most = np.ceil([grid_x.max(), grid_y.max()])
        low = np.clip(least - 2, 0, [width - 1, height - 1]).astype(int)
        high = np.clip(most + 3, 1, [width, height]).astype(int)
        low = np.minimum(low, high - 1)
        # Whole squares to average over, where the photo reaches that far.
        high = np.minimum(low - (low - high) // self._factor * self._factor, [width, height])
        self._crop = (slice(low[1], high[1]), slice(low[0], high[0]))
        local_x, local_y = (
            ((grid - corner + 0.5) / self._factor - 0.5).astype(np.float32)
            for grid, corner in ((grid_x, low[0]), (grid_y, low[1]))
        )
        self._maps = cv2.convertMaps(local_x, local_y, cv2.CV_16SC2)
        border_px = plane.to_px(border_mm)
        self._border_seen = inside_picture(border_px, plane.image_size)
        spread = np.arange(-BORDER_HALF, BORDER_HALF + 1, 2)
        dy, dx = np.meshgrid(spread, spread)
        around = np.stack([dx.ravel(), dy.ravel()], axis=1)
        self._border_px = (np.round(border_px)[:, None, :] + around).astype(np.float32)

    def lay_flat(self, image: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Sample the photo at each canvas pixel, averaging first where it is much finer."""
        part = image[self._crop]
        if self._factor > 1:
            size = (-(-part.shape[1] // self._factor), -(-part.shape[0] // self._factor))
            down = size[1] * self._factor - part.shape[0]
            right = size[0] * self._factor - part.shape[1]
            if down or right:
                padded = cv2.copyMakeBorder(part, 0, down, 0, right, cv2.BORDER_REPLICATE)
                part = np.asarray(padded, np.uint8)
            # Half-way between four pixels, the straight-line rule is their mean, and quicker had.
            rule = cv2.INTER_LINEAR_EXACT if self._factor == 2 else cv2.INTER_AREA
            part = np.asarray(cv2.resize(part, size, interpolation=rule), np.uint8)
        flat = cv2.remap(
            part, self._maps[0], self._maps[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        return np.asarray(flat, np.uint8)

    def border(self, image: NDArray[np.uint8]) -> NDArray[np.float32]:
        """Mean colour of a small square around each border point."""
        if not len(self._border_px):
            return np.zeros((0, 3), np.float32)
        x, y = self._border_px[..., 0], self._border_px[..., 1]
        samples = cv2.remap(image, x, y, cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE)
        colours = np.asarray(samples, np.float32).mean(axis=1)
        colours[~self._border_seen] = np.nan
        return colours
