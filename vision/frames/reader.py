"""What every source of frames gives: frames in time order, one picture in memory at a time.

Tested in tests/vision/frames/test_source.py.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence

import numpy as np

from vision.common.closing import Closing
from vision.records import FloatArray, Frame

SKIPPED = ": skipped, "
"""Between a picture's name and why it was left out, in the notes of a source."""


def left_out(notes: Sequence[str]) -> tuple[str, ...]:
    """Return one line for each reason why pictures were left out, with the first names.

    Examples
    --------
    >>> left_out(["a.jpg: skipped, empty", "b.jpg: skipped, empty", "c.jpg: skipped, empty"])
    ('3 photos left out (a.jpg, b.jpg and 1 more): empty',)
    """
    why: dict[str, list[str]] = {}
    for note in notes:
        name, mark, reason = note.partition(SKIPPED)
        if mark:
            why.setdefault(reason, []).append(name)
    return tuple(
        f"{len(names)} photo{'s' if len(names) > 1 else ''} left out ({_listed(names)}): {reason}"
        for reason, names in why.items()
    )


def _listed(names: Sequence[str]) -> str:
    if len(names) <= 2:
        return " and ".join(names)
    return f"{names[0]}, {names[1]} and {len(names) - 2} more"


class Frames(Closing, ABC):
    """Frames of one run in time order. Iterate as often as needed; use as a context manager.

    Attributes
    ----------
    notes : list of str
        What was skipped and why, by name. May grow while iterating.
    warnings : tuple of str
        What the answer rests on and the user should look at, such as where the times come from.
    has_clock : bool
        Whether times are Unix times rather than seconds from the first frame.
    utc_offset_s : float
        Offset of the camera's wall clock that has been taken off; 0 when the photos state none.
    names : tuple of str
        One per frame.
    clock_s : ndarray, float
        One per frame; for a video the planned time, which the frame's own may differ from by
        one film frame.
    size : (int, int)
        Width and height in pixels, upright.
    focal_35mm : float or None
        Focal length as for 35 mm film, where the photos tell it.
    decodes_ahead : bool
        Whether iterating decodes the next frames while the last one is used.
    """

    notes: list[str]
    warnings: tuple[str, ...] = ()
    names: tuple[str, ...] = ()
    clock_s: FloatArray = np.zeros(0)
    size: tuple[int, int] = (0, 0)
    has_clock: bool = False
    utc_offset_s: float = 0.0
    focal_35mm: float | None = None
    decodes_ahead: bool = False

    def __len__(self) -> int:
        """Count the frames."""
        return len(self.names)

    @abstractmethod
    def __iter__(self) -> Iterator[Frame]:
        """Return the frames in time order, from the first again each time."""

    @abstractmethod
    def read(self, index: int) -> Frame:
        """Decode one frame by its place.

        Raises
        ------
        WetlineError
            If the picture cannot be decoded.
        """
