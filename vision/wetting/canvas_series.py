"""The canvases of a run, kept within a fixed memory however long the run is."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.illumination.light_basis import LOG_TABLE
from vision.records import BoolArray, FloatArray

MOST_FRAMES = 160
"""Canvases kept; past that every second one goes, which still leaves the front moving by less
than a hundredth of the panel between two of them."""

CELLS_ALONG = 32
"""Cells along the longer side for the coarse look."""


CELL_PX = 4
"""Pixels along a cell, or about so many, from which its level is taken without thin ink."""


ALL_OF_CELL = 0.999
"""Share of a cell that must lie in the photo for the cell to be seen."""


@dataclass(frozen=True)
class _Offer:
    time_s: float
    canvas: np.ndarray
    border: FloatArray
    in_view: BoolArray | None


class CanvasStack:
    """Rectified frames in time order, fed one at a time.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns of a canvas.
    border_xy : ndarray of shape (Q, 2), float
        Scaled places around the panel at which each frame's border is given; may be empty.
    most : int
        Canvases kept at the most, and the latest one.
    """

    def __init__(
        self, shape: tuple[int, int], border_xy: FloatArray, most: int = MOST_FRAMES
    ) -> None:
        self.shape = shape
        self.border_xy = border_xy
        self.most = most
        self.stride = 1
        self.offered = 0
        self.times_s: list[float] = []
        self.canvases: list[np.ndarray] = []
        # Cells are worked out on a thread beside the one that follows the camera.
        self._aside = ThreadPoolExecutor(1)
        self._cells: list[Future[np.ndarray]] = []
        self.borders: list[np.ndarray] = []
        self.in_view: list[BoolArray | None] = []
        self._passed_over: _Offer | None = None
        rows, cols = shape
        size = max(rows, cols) / CELLS_ALONG
        self.cell_shape = (max(4, round(rows / size)), max(4, round(cols / size)))

    def add(
        self,
        time_s: float,
        canvas: np.ndarray,
        border: FloatArray,
        in_view: BoolArray | None = None,
    ) -> bool:
        """Take the next canvas; False when it was thinned away.

        Parameters
        ----------
        time_s : float
            Later than any before.
        canvas : ndarray of shape (rows, cols, 3), uint8
        border : ndarray of shape (Q, 3), float
            Logarithm of the border places; NaN where not seen.
        in_view : ndarray of shape (rows, cols), bool, optional
            Where the canvas lies inside the photo; left out, everywhere. What lies outside is not
            seen: it keeps what it showed last.
        """
        if in_view is not None and self.canvases:
            canvas = np.where(in_view[..., None], canvas, self.canvases[-1])
        offer = _Offer(time_s, canvas, border, in_view)
        wanted = self.offered % self.stride == 0
        self.offered += 1
        self._passed_over = None if wanted else offer
        if not wanted:
            return False
        self._take(offer)
        if len(self.times_s) > self.most:
            self._thin()
        return True

    def close(self) -> None:
        """Take the latest canvas too where it was thinned away: a run is read to its end."""
        if self._passed_over is not None:
            self._take(self._passed_over)
            self._passed_over = None

    def _take(self, offer: _Offer) -> None:
        self.times_s.append(offer.time_s)
        self.canvases.append(offer.canvas)
        self._cells.append(self._aside.submit(_cells_of, offer.canvas, self.shape, self.cell_shape))
        self.borders.append(np.asarray(offer.border, dtype=np.float32))
        self.in_view.append(offer.in_view)

    @property
    def cells(self) -> list[np.ndarray]:
        """Mean logarithm per cell of each canvas, thin ink taken away."""
        return [cells.result() for cells in self._cells]

    def unseen_cells(self) -> BoolArray | None:
        """Return which cells lie outside of each photo, shape (K, h, w); None where none do."""
        if all(view is None for view in self.in_view):
            return None
        rows, cols = self.cell_shape
        unseen = np.zeros((len(self), rows, cols), bool)
        for k, view in enumerate(self.in_view):
            if view is not None:
                share = cv2.resize(
                    view.astype(np.float32), (cols, rows), interpolation=cv2.INTER_AREA
                )
                unseen[k] = np.asarray(share) < ALL_OF_CELL
        return unseen

    def cells_on(self, cloth: BoolArray | None) -> BoolArray | None:
        """Return the cells that lie on cloth for the most part, shape (h, w); None for None."""
        if cloth is None:
            return None
        size = self.cell_shape[::-1]
        share = cv2.resize(cloth.astype(np.float32), size, interpolation=cv2.INTER_AREA)
        return np.asarray(np.asarray(share) > 0.5)

    def _thin(self) -> None:
        """Keep every second frame from here on."""
        self.stride *= 2
        for held in (self.times_s, self.canvases, self._cells, self.borders, self.in_view):
            del held[1::2]

    def __len__(self) -> int:
        return len(self.times_s)


def _cells_of(
    canvas: np.ndarray, shape: tuple[int, int], cell_shape: tuple[int, int]
) -> np.ndarray:
    """Return the mean logarithm per cell, thin ink taken away."""
    rows, cols = cell_shape
    # A whole number of pixels is averaged far quicker than part of one.
    whole = max(1, round(max(shape) / CELLS_ALONG / CELL_PX))
    below, right = -shape[0] % whole, -shape[1] % whole
    if below or right:
        canvas = cv2.copyMakeBorder(canvas, 0, below, 0, right, cv2.BORDER_REPLICATE)
    size = (canvas.shape[1] // whole, canvas.shape[0] // whole)
    logs = cv2.resize(cv2.LUT(canvas, LOG_TABLE), size, interpolation=cv2.INTER_AREA)
    return cv2.resize(cv2.medianBlur(logs, 3), (cols, rows), interpolation=cv2.INTER_AREA)


def middle_of(images: Sequence[NDArray[Any]]) -> NDArray[Any]:
    """Return the pixel-wise median of one or three images.

    Examples
    --------
    >>> middle_of([np.array([1, 9]), np.array([5, 2]), np.array([3, 3])])
    array([3, 3])
    """
    if len(images) != 3:
        return images[0]
    a, b, c = images
    result: NDArray[Any] = np.maximum(np.minimum(a, b), np.minimum(np.maximum(a, b), c))
    return result
