"""A webcam by its number, or a network camera by its address."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import cv2

from vision.cameras.camera import Camera, Shot
from vision.cameras.clock import SteadyClock

JPEG_QUALITY = 92
OPEN_WAIT_MS, READ_WAIT_MS = 8000, 5000
RETRY_S = (1.0, 2.0, 5.0, 10.0)
"""Waits before the camera is tried again; the last one repeats."""

WANTED_SIZE = (1920, 1080)


class CaptureCamera(Camera):
    """Reads a camera without pause, so that what it gives is never an old buffered picture.

    Parameters
    ----------
    source : int or str
        Number or address.
    name : str
        As shown.
    interval_s : float
        Seconds between the pictures given.
    clock : SteadyClock
    open_capture : callable
        Opens the source; for trying faults.
    """

    def __init__(
        self,
        source: int | str,
        name: str,
        interval_s: float,
        clock: SteadyClock,
        open_capture: Callable[[int | str], Any] | None = None,
    ) -> None:
        self.name = name
        self.fault = f"{name}: not open yet"
        self._source, self._interval_s, self._clock = source, interval_s, clock
        self._open = open_capture or _open_capture
        self._latest: Shot | None = None
        self._due_s = -float("inf")
        self._fresh = threading.Condition()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._read, name="camera", daemon=True)
        self._thread.start()

    def next(self, wait_s: float) -> Shot | None:
        """Return the picture of this interval once it is there."""
        with self._fresh:
            if self._latest is None:
                self._fresh.wait(wait_s)
            shot, self._latest = self._latest, None
            return shot

    def close(self) -> None:
        """Stop reading."""
        self._stop.set()
        self._thread.join(timeout=READ_WAIT_MS / 1000 + 1)

    def _read(self) -> None:
        tries = 0
        while not self._stop.is_set():
            capture = self._open(self._source)
            try:
                if self._follow(capture):
                    tries = 0
            finally:
                capture.release()
            if self._stop.is_set():
                return
            self.fault = f"{self.name}: gives no picture: check its cable or address; trying again"
            self._stop.wait(RETRY_S[min(tries, len(RETRY_S) - 1)])
            tries += 1

    def _follow(self, capture: Any) -> bool:
        """Read until the camera fails; True when it gave something."""
        gave = False
        while not self._stop.is_set():
            if not capture.grab():
                return gave
            gave = True
            if self._clock.now() < self._due_s:
                continue
            ok, image = capture.retrieve()
            if not ok or image is None:
                return gave
            self._hand_over(image)
        return gave

    def _hand_over(self, image: Any) -> None:
        now = self._clock.now()
        ok, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
        if not ok:
            return
        # Keep to the beat where the camera does, start a new one where it does not.
        on_beat = now - self._due_s < self._interval_s
        self._due_s = (self._due_s if on_beat else now) + self._interval_s
        with self._fresh:
            self._latest = Shot(data.tobytes(), now)
            self.fault = ""
            self._fresh.notify()


def _open_capture(source: int | str) -> Any:
    if isinstance(source, int):
        capture = cv2.VideoCapture(source)
        capture.set(cv2.CAP_PROP_FRAME_WIDTH, WANTED_SIZE[0])
        capture.set(cv2.CAP_PROP_FRAME_HEIGHT, WANTED_SIZE[1])
        return capture
    waits = [
        cv2.CAP_PROP_OPEN_TIMEOUT_MSEC,
        OPEN_WAIT_MS,
        cv2.CAP_PROP_READ_TIMEOUT_MSEC,
        READ_WAIT_MS,
    ]
    return cv2.VideoCapture(source, cv2.CAP_FFMPEG, waits)
