"""A part while it fills, in a memory that does not grow with the run."""

from __future__ import annotations

from vision.frames.reader import Frames
from vision.part_records import PartSeen
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

    def read(self, start_clock_s: float | None = None) -> PartSeen | None:
        """Measure the part as it stands; None while fewer than 8 frames show it.

        Parameters
        ----------
        start_clock_s : float or None
            Resin start on the frames' clock, where it is known.
        """
        return self.tracker.read(start_clock_s)
