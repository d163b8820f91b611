"""Two ways of keeping a run's canvases: those of a recording, or few and coarse ones while live."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.illumination.light_basis import LOG_OFFSET
from vision.records import BoolArray, FloatArray, Frame
from vision.rectify.rectifier import Rectifier
from vision.scale.plane_map import PlaneMap
from vision.wetting.canvas_series import CanvasStack

MOST_HELD = 32
"""Canvases kept over a live run; past that every second one goes."""

MOST_RECENT = 6
"""Latest canvases of a live run, kept beside those, so that the front of now is among them."""

COARSE_MM = 1.8
"""Canvas pixels of a live run are joined until they are about this large: the front is a mean
over a hundred lanes, so it loses little, and measuring is several times quicker."""


@dataclass(frozen=True)
class SeenFrame:
    """What is known of one frame, without its picture.

    Attributes
    ----------
    name : str
    clock_s : float
        Seconds on the run's clock.
    note : str
        What happened at it; may be empty.
    lost : bool
        Whether the panel could not be found in it.
    plane : PlaneMap
        Where the panel lies in it; where it last lay when it is lost.
    taken_still : bool
        Whether nothing fixed told the camera's place, and nothing showed that it had moved.
    """

    name: str
    clock_s: float
    note: str
    lost: bool
    plane: PlaneMap
    taken_still: bool = False


@dataclass(frozen=True)
class FlatFrame:
    """A frame laid flat.

    Attributes
    ----------
    frame : SeenFrame
    canvas : ndarray of shape (rows, cols, 3), uint8
    border : ndarray of shape (Q, 3), float
        Logarithm of the light around the panel; NaN where not seen.
    in_view : ndarray of shape (rows, cols), bool, or None
        Where the canvas lies inside the photo; None: everywhere.
    """

    frame: SeenFrame
    canvas: NDArray[np.uint8]
    border: FloatArray
    in_view: BoolArray | None = None


def flat_frame(rectifier: Rectifier, frame: Frame) -> FlatFrame:
    """Lay a frame flat, with what is known of it and the light around the panel."""
    flat = rectifier.rectify(frame)
    seen = SeenFrame(frame.name, frame.clock_s, flat.note, flat.lost, flat.plane, flat.taken_still)
    return FlatFrame(seen, flat.canvas, np.log(flat.border + LOG_OFFSET), flat.in_view)


class Canvases(ABC):
    """Canvases of a run, taken one at a time and handed on for measuring.

    Attributes
    ----------
    mm_per_px : float
        Length of a pixel of the canvases kept.
    fewest : int
        Canvases with the panel in sight below which nothing is measured.
    """

    mm_per_px: float
    fewest: int

    @property
    @abstractmethod
    def frames(self) -> Sequence[SeenFrame]:
        """The frames at which the front is read, in time order."""

    @abstractmethod
    def add(self, flat: FlatFrame) -> None:
        """Take the next canvas."""

    @abstractmethod
    def stack(self) -> CanvasStack:
        """Return the canvases in which the panel was found."""

    @abstractmethod
    def resized(self, mask: BoolArray) -> BoolArray:
        """Return a mask of the rectifier's size at the size of the canvases kept."""


class RecordedCanvases(Canvases):
    """All frames of a recording; of a long one, canvases evenly over it."""

    fewest = 4

    def __init__(self, rectifier: Rectifier) -> None:
        self.mm_per_px = rectifier.mm_per_px
        self._frames: list[SeenFrame] = []
        self._stack = CanvasStack(rectifier.shape, border_places(rectifier))

    @property
    def frames(self) -> Sequence[SeenFrame]:
        """The frames at which the front is read: all."""
        return self._frames

    def add(self, flat: FlatFrame) -> None:
        """Take the next canvas (see `Canvases.add`)."""
        self._frames.append(flat.frame)
        if not flat.frame.lost:
            self._stack.add(flat.frame.clock_s, flat.canvas, flat.border, flat.in_view)

    def stack(self) -> CanvasStack:
        """Return the canvases in which the panel was found, the latest among them."""
        self._stack.close()
        return self._stack

    def resized(self, mask: BoolArray) -> BoolArray:
        """Return the mask as it is."""
        return mask


class LiveCanvases(Canvases):
    """Some coarse canvases over the run and the latest ones, in a memory that does not grow.

    Parameters
    ----------
    rectifier : Rectifier
    held, recent : int
        Canvases kept over the run, and latest ones kept beside them.

    Attributes
    ----------
    repeats : int
        How many times running the very same picture has come; it is not taken again.
    """

    fewest = 8
    """Fewer cannot tell resin from the noise of a dry panel."""

    def __init__(
        self, rectifier: Rectifier, held: int = MOST_HELD, recent: int = MOST_RECENT
    ) -> None:
        factor = max(1, round(COARSE_MM / rectifier.mm_per_px))
        rows, cols = rectifier.shape
        self._shape = (max(1, rows // factor), max(8, cols // factor))
        self.mm_per_px = rectifier.plane.length_mm / self._shape[1]
        self._border_xy = border_places(rectifier)
        self._most, self._recent_most = held, recent
        self.repeats, self._offered, self._stride = 0, 0, 1
        self._held: list[FlatFrame] = []
        self._recent: list[FlatFrame] = []

    @property
    def frames(self) -> Sequence[SeenFrame]:
        """The frames at which the front is read: those in memory."""
        return [kept.frame for kept in (*self._held, *self._recent)]

    def add(self, flat: FlatFrame) -> None:
        """Take the next canvas (see `Canvases.add`)."""
        coarse = np.asarray(self._coarse(flat.canvas), np.uint8)
        if self._recent and np.array_equal(coarse, self._recent[-1].canvas):
            # A sensor has noise: the very same picture is a camera that has hung itself up.
            self.repeats += 1
            return
        self.repeats = 0
        view = None if flat.in_view is None else self.resized(flat.in_view)
        self._recent.append(replace(flat, canvas=coarse, in_view=view))
        if len(self._recent) > self._recent_most:
            self._hold(self._recent.pop(0))

    def _hold(self, kept: FlatFrame) -> None:
        """Move a frame from the latest to those kept over the run, thinning where it must."""
        self._offered += 1
        if (self._offered - 1) % self._stride:
            return
        self._held.append(kept)
        if len(self._held) > self._most:
            del self._held[1::2]
            self._stride *= 2

    def stack(self) -> CanvasStack:
        """Return the canvases in which the panel was found."""
        sighted = [kept for kept in (*self._held, *self._recent) if not kept.frame.lost]
        stack = CanvasStack(self._shape, self._border_xy, most=len(sighted) + 1)
        for kept in sighted:
            stack.add(kept.frame.clock_s, kept.canvas, kept.border, kept.in_view)
        return stack

    def resized(self, mask: BoolArray) -> BoolArray:
        """Return the mask on the coarse canvas: set where most of a pixel is."""
        return np.asarray(self._coarse(mask.astype(np.float32)) > 0.5)

    def _coarse(self, image: np.ndarray) -> np.ndarray:
        rows, cols = self._shape
        return np.asarray(cv2.resize(image, (cols, rows), interpolation=cv2.INTER_AREA))


def border_places(rectifier: Rectifier) -> FloatArray:
    """Return where around the panel the light is read, in half panel sizes from its middle."""
    plane = rectifier.plane
    half = np.array([plane.length_mm, plane.width_mm]) / 2
    return (rectifier.border_mm - half) / half
