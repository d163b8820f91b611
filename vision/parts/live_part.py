"""A part while it fills, in a memory that does not grow with the run."""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from vision.frames.reader import Frames
from vision.part_records import PartSeen
from vision.parts.framing.rim_check import LATE, with_rim
from vision.parts.hand.part_fixes import with_live_fixes
from vision.parts.height import Height
from vision.parts.part_settings import PartCamera
from vision.parts.track_part import PartTracker, part_rectifier
from vision.records import Frame
from vision.rectify.rectifier import Rectifier
from vision.tracking.canvases import MOST_HELD, MOST_RECENT, LiveCanvases


class LivePart:
    """Follows one part while it fills.

    Parameters
    ----------
    camera : PartCamera
    rectifier : Rectifier
    height : Height
        Both made from the first frames by `vision.parts.track_part.part_rectifier`.
    held, recent : int
        Canvases kept over the run, and latest ones kept beside them.
    """

    def __init__(
        self,
        camera: PartCamera,
        rectifier: Rectifier,
        height: Height,
        held: int = MOST_HELD,
        recent: int = MOST_RECENT,
    ) -> None:
        self.camera, self._first = camera, Frame(-1, "", 0.0, np.zeros((0, 0, 3), np.uint8))
        self._late: deque[Frame] = deque(maxlen=LATE)
        self.canvases = LiveCanvases(rectifier, held, recent)
        self.tracker = PartTracker(camera, rectifier, height, self.canvases)

    @classmethod
    def of(cls, camera: PartCamera, frames: Frames) -> LivePart:
        """Start from the frames that are there so far.

        Raises
        ------
        WetlineError
            As `vision.parts.track_part.part_rectifier`.
        """
        return cls(camera, *part_rectifier(camera, frames))

    @property
    def last_photo(self) -> Frame | None:
        """The last frame in which the part was found."""
        return self.tracker.last_photo

    @property
    def count(self) -> int:
        """Frames taken."""
        return self.tracker.count

    def add(self, frame: Frame) -> None:
        """Take the next frame in time."""
        self.tracker.add(frame)
        if self.last_photo is frame:
            self._late.append(frame)
            self._first = self._first if self._first.name else frame

    def _photo(self, name: str) -> NDArray[np.uint8] | None:
        """Return one of the photos that the rim is looked at in."""
        kept = (frame for frame in (self._first, *self._late) if frame.name == name)
        return next((frame.image for frame in kept), None)

    def read(self, start_clock_s: float | None = None) -> PartSeen | None:
        """Measure the part as it stands; None while fewer than 8 frames show it.

        Points by hand (fix.csv) and what the part's rim shows are in it, as in the final result.

        Parameters
        ----------
        start_clock_s : float or None
            Resin start on the frames' clock, where it is known.
        """
        seen = self.tracker.read(start_clock_s)
        if seen is None:
            return None
        return with_rim(self.camera.shape, with_live_fixes(self.camera, seen), self._photo)
