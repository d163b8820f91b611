"""Where live pictures come from: one small interface, and the door that opens each kind."""

from __future__ import annotations

import threading
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass

from vision.common.closing import Closing

PHONE = "phone"


@dataclass(frozen=True)
class Shot:
    """One picture as a file's content, and when it was taken.

    Attributes
    ----------
    data : bytes
        JPEG.
    clock_s : float
        Unix time of the picture.
    orientation : int
        Exif orientation, 1 to 8.
    """

    data: bytes
    clock_s: float
    orientation: int = 1


class Camera(Closing, ABC):
    """A source of live pictures.

    Attributes
    ----------
    name : str
        As the user knows it.
    fault : str
        What is wrong now, in plain words; empty while pictures come.
    """

    name: str = ""
    fault: str = ""

    @abstractmethod
    def next(self, wait_s: float) -> Shot | None:
        """Return the next picture, or None when none came within `wait_s`."""


class PhoneCamera(Camera):
    """A phone that hands pictures in through its browser.

    A picture counts as handed in only once it is on disk; until then the phone keeps it.
    """

    def __init__(self) -> None:
        self.name = PHONE
        self.fault = "waiting for the phone's first picture"
        self._take: Callable[[Shot], bool] | None = None
        self._closed = threading.Event()

    def deliver_to(self, take: Callable[[Shot], bool]) -> None:
        """Set who puts the pictures on disk; `take` returns True once one is there."""
        self._take = take

    def receive(self, shot: Shot) -> bool:
        """Take a picture in; False when the phone must keep it and send it again."""
        stored = self._take is not None and self._take(shot)
        if stored:
            self.fault = ""
        return stored

    def next(self, wait_s: float) -> Shot | None:
        """Wait; pictures come by `receive`."""
        self._closed.wait(wait_s)
        return None

    def close(self) -> None:
        """Let go of who waits."""
        self._closed.set()
