"""Frames that are held in memory already: a camera's buffer, a simulation, a stack of slices."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.errors import WetlineError, bad_field
from vision.frames.reader import Frames
from vision.frames.source import FEWEST_FRAMES
from vision.records import FloatArray, Frame


class ImageFrames(Frames):
    """Pictures held in memory, in time order.

    Parameters
    ----------
    images : sequence of ndarray of shape (H, W) or (H, W, 3), uint8
        Grey, or blue, green, red; all of one size. They are not copied.
    times_s : array_like of shape (K,), float
        Seconds on any clock, one per picture, each later than the one before.
    source : str
        Where the pictures come from, for messages.

    Raises
    ------
    WetlineError
        If a picture is of another kind or size, or the times do not fit.
    """

    def __init__(
        self, images: Sequence[NDArray[np.uint8]], times_s: ArrayLike, source: str = "images"
    ) -> None:
        self.notes = []
        self._images = tuple(images)
        if len(self._images) < FEWEST_FRAMES:
            raise WetlineError(
                f"{source}: {len(self._images)} pictures: at least {FEWEST_FRAMES} are needed"
            )
        _check_pictures(self._images, source)
        self.clock_s = _checked_times(times_s, len(self._images), source)
        self.names = tuple(f"image {k}" for k in range(1, len(self._images) + 1))
        height, width = self._images[0].shape[:2]
        self.size = (width, height)

    def __iter__(self) -> Iterator[Frame]:
        """Iterate over the pictures in time order."""
        return (self.read(index) for index in range(len(self)))

    def read(self, index: int) -> Frame:
        """Return one picture by its place, in three channels."""
        index = range(len(self))[index]
        image = self._images[index]
        if image.ndim == 2:
            image = np.asarray(cv2.cvtColor(image, cv2.COLOR_GRAY2BGR), np.uint8)
        return Frame(index, self.names[index], float(self.clock_s[index]), image)


def _check_pictures(images: Sequence[NDArray[np.uint8]], source: str) -> None:
    for k, image in enumerate(images, start=1):
        field = f"image {k}"
        if not isinstance(image, np.ndarray):
            raise bad_field(source, field, type(image).__name__, "must be an array")
        if image.dtype != np.uint8:
            raise bad_field(
                source, f"{field} dtype", image.dtype, "must be uint8, with values from 0 to 255"
            )
        if image.ndim not in (2, 3) or (image.ndim == 3 and image.shape[2] != 3):
            raise bad_field(
                source,
                f"{field} shape",
                image.shape,
                "must be (rows, cols), or (rows, cols, 3) with blue, green, red",
            )
        if image.shape != images[0].shape:
            raise bad_field(
                source, f"{field} shape", image.shape, f"must be {images[0].shape}, as the first"
            )


def _checked_times(times_s: ArrayLike, count: int, source: str) -> FloatArray:
    try:
        times = np.asarray(times_s, dtype=float)
    except (TypeError, ValueError):
        raise bad_field(source, "times_s", times_s, "must be numbers, in seconds") from None
    if times.shape != (count,):
        raise bad_field(
            source, "times_s shape", times.shape, f"must be ({count},): one time per picture"
        )
    bad = np.flatnonzero(~np.isfinite(times))
    if len(bad):
        k = int(bad[0])
        raise bad_field(source, f"times_s[{k}]", times[k], "must be a finite number of seconds")
    back = np.flatnonzero(np.diff(times) <= 0)
    if len(back):
        k = int(back[0]) + 1
        raise bad_field(
            source,
            f"times_s[{k}]",
            f"{times[k]:g}",
            f"must be later than the one before, {times[k - 1]:g}: put the pictures in order",
        )
    return times.copy()
