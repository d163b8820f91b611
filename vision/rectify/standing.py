"""Whether a camera stood still, told from the picture as a whole where no anchor answers.

Most of what a camera that stands sees stays where it was, whatever wets, rises or walks about in
the rest. The picture is cut into tiles; each tile that shows a clear shift has a say.

Source: cross-correlation of two pictures by their Fourier transforms, as in Kuglin and Hines,
Proc. IEEE Conf. Cybernetics and Society 1975, without their whitening, which a coder's noise
would drown.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.records import FloatArray

WIDTH_PX = 320
"""Width of the picture that is compared: shifts of a pixel of a phone's photo do not show."""

TILES_DOWN, TILES_ACROSS = 3, 4

DETAIL_PX = 3.0
"""Only detail finer than this tells a shift; light and clouds do not."""

STILL_PX = 0.3
"""A shift of the whole that is still taken for none."""

NEARLY = 0.75
"""A tile is as it was where no shift makes it more alike than this: along a straight edge all
shifts are alike, and noise does the rest."""

LEAST_SIGMAS = 6.0
"""Height of a likeness over the scatter of the others from which it is none by chance: less than
once in a thousand runs of a thousand pictures."""

LEAST_TILES = 3
"""Tiles that must agree."""

MOST_MOVED = 0.5
"""Tiles that seem to have moved, as a share of those that stand: the front itself moves."""


@dataclass(frozen=True)
class Votes:
    """Tiles of a picture that are as they were, tiles that have moved, and the shift of all.

    `shift_is_clear` says whether the shift of all is none by chance.
    """

    still: int
    moved: int
    shift_px: float
    shift_is_clear: bool

    @property
    def stands(self) -> bool:
        """Whether the camera stands."""
        enough = self.still >= LEAST_TILES and self.moved <= MOST_MOVED * self.still
        return enough and self.shift_px <= STILL_PX

    @property
    def has_moved(self) -> bool:
        """Whether the camera has clearly moved."""
        return self.shift_is_clear and self.shift_px > STILL_PX


def detail(image: NDArray[np.uint8]) -> FloatArray:
    """Return the fine detail of a photo at the size that is compared, light taken away.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3), uint8
    """
    factor = min(1.0, WIDTH_PX / image.shape[1])
    size = (round(image.shape[1] * factor), round(image.shape[0] * factor))
    small = cv2.resize(image[..., 1], size, interpolation=cv2.INTER_AREA).astype(np.float32)
    logs = np.log(small + 6.0)
    return np.asarray(logs - cv2.GaussianBlur(logs, (0, 0), DETAIL_PX), np.float32)


def compare(before: FloatArray, now: FloatArray) -> Votes:
    """Compare the detail of two photos tile by tile.

    Parameters
    ----------
    before, now : ndarray of shape (h, w), float
        From `detail`.

    Examples
    --------
    >>> grain = np.random.default_rng(1).normal(0, 1, (90, 160)).astype(np.float32)
    >>> compare(grain, grain).stands, compare(grain, np.roll(grain, 3, axis=1)).stands
    (True, False)
    """
    still = moved = 0
    rows, cols = before.shape[0] // TILES_DOWN, before.shape[1] // TILES_ACROSS
    total = np.zeros((rows, cols))
    for top in range(0, rows * TILES_DOWN, rows):
        for left in range(0, cols * TILES_ACROSS, cols):
            tile = (slice(top, top + rows), slice(left, left + cols))
            like = likeness(before[tile], now[tile])
            total += like
            if like.max() > LEAST_SIGMAS * like.std():
                as_it_was = like[0, 0] > NEARLY * like.max()
                still, moved = still + as_it_was, moved + (not as_it_was)
    clear = bool(total.max() > LEAST_SIGMAS * total.std() > 0)
    return Votes(int(still), int(moved), float(np.hypot(*shift_of(total))), clear)


def likeness(before: FloatArray, now: FloatArray) -> FloatArray:
    """Return how alike two tiles are for each shift of the second, on a ring; from -1 to 1."""
    window = np.outer(np.hanning(before.shape[0]), np.hanning(before.shape[1]))
    first, second = (_bounded(tile) * window for tile in (before, now))
    size = float(np.sqrt(np.sum(first**2) * np.sum(second**2)))
    if not size > 0:
        return np.zeros(before.shape)
    product = np.conj(np.fft.rfft2(first)) * np.fft.rfft2(second)
    return np.asarray(np.fft.irfft2(product, first.shape) / size)


def shift_of(like: FloatArray) -> tuple[float, float]:
    """Return the shift (down, right) in pixels at which a likeness is greatest."""
    row, col = (int(i) for i in np.unravel_index(int(np.argmax(like)), like.shape))
    down, right = row + _peak(like[:, col], row), col + _peak(like[row], col)
    down -= like.shape[0] if down > like.shape[0] / 2 else 0
    right -= like.shape[1] if right > like.shape[1] / 2 else 0
    return down, right


def _bounded(tile: FloatArray) -> FloatArray:
    """Bound strong edges, so that the front does not outshout the texture that stands."""
    scatter = 1.4826 * float(np.median(np.abs(tile))) + 1e-6
    return np.asarray(np.clip(tile, -3 * scatter, 3 * scatter))


def _peak(values: FloatArray, at: int) -> float:
    """Return where the vertex of the parabola about a peak lies, on a ring of values."""
    before, here, after = values[at - 1], values[at], values[(at + 1) % len(values)]
    bend = before - 2 * here + after
    return float(0.5 * (before - after) / bend) if bend < 0 else 0.0
