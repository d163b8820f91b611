"""A recorded video as frames in time order, one picture in memory at a time."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np

from vision.common.outside.input_files import MOST_PIXELS, check_file
from vision.errors import WetlineError
from vision.frames.reader import Frames
from vision.records import Frame
from vision.settings.frame_settings import FrameSource

MOST_FRAMES = 250
SHORT_RUN_S = 180.0
"""Few panels fill in less (common practice, no source): said, so that a wrong speed is seen."""
SLOWEST = 0.9
"""Below this share of real time a film is in slow motion, or its stated length is wrong."""
_SEEK_FROM_FRAMES = 90
MOST_FILM_BYTES = 1_000_000_000_000
MOST_SAMPLES = 100_000
"""Samples of one film at the most; memory does not grow with them, but names and rows do."""


class _Player:
    """A playing position in a video file; each picture comes with its presentation time."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._capture = _capture(path)
        self.fps = self._capture.get(cv2.CAP_PROP_FPS)
        self.fps = self.fps if 0 < self.fps < 1000 else 25.0
        self.frame_count = int(self._capture.get(cv2.CAP_PROP_FRAME_COUNT))
        self.time_s = -math.inf
        self._may_jump = True

    def step(self) -> bool:
        """Go one picture on, without turning it into an image."""
        if not self._capture.grab():
            return False
        self.time_s = self._capture.get(cv2.CAP_PROP_POS_MSEC) / 1000
        return True

    def go_to(self, time_s: float) -> bool:
        """Go forward to the first picture shown at `time_s` or later."""
        edge_s = time_s - 0.25 / self.fps
        ahead = (time_s - max(self.time_s, 0.0)) * self.fps
        if ahead > _SEEK_FROM_FRAMES and self._may_jump:
            self._jump(time_s)
        while self.time_s < edge_s:
            if not self.step():
                return False
        return True

    def _jump(self, time_s: float) -> None:
        """Jump to just before a time; where that overshoots, play from the start, now and later.

        The reader jumps by frame count and mean frame rate, which a variable rate defeats.
        """
        self.seek(time_s - 2 / self.fps)
        if not self.step() or self.time_s > time_s:
            self._may_jump = False
            self._capture.release()
            self._capture = _capture(self._path)
            self.time_s = -math.inf

    def seek(self, time_s: float) -> None:
        """Jump near a time; what is really there is read from the picture's own time."""
        self._capture.set(cv2.CAP_PROP_POS_MSEC, max(0.0, time_s) * 1000)
        self.time_s = -math.inf

    def image(self) -> np.ndarray | None:
        """Decode the picture at the playing position."""
        ok, image = self._capture.retrieve()
        return image if ok and image is not None and image.size else None

    def close(self) -> None:
        """Close the file."""
        self._capture.release()


def _capture(path: Path) -> cv2.VideoCapture:
    # The decoder would print its own complaints over ours; -8 is FFmpeg's AV_LOG_QUIET.
    os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
    try:
        check_file(path, MOST_FILM_BYTES)
    except OSError as error:
        raise WetlineError(f"{path}: not found: put the film there") from error
    capture = cv2.VideoCapture(str(path))
    if not capture.isOpened():
        raise WetlineError(
            f"{path}: the video will not open: play it to see that it is whole, or save it "
            "again as MP4 (H.264)"
        )
    pixels = capture.get(cv2.CAP_PROP_FRAME_WIDTH) * capture.get(cv2.CAP_PROP_FRAME_HEIGHT)
    if pixels > MOST_PIXELS:
        capture.release()
        raise WetlineError(
            f"{path}: its pictures have more than {MOST_PIXELS // 1_000_000} million pixels: save "
            "it smaller"
        )
    capture.set(cv2.CAP_PROP_ORIENTATION_AUTO, 1)
    return capture


class VideoFrames(Frames):
    """Samples of a video at even steps of the run's time.

    The picture taken for a step is the first one shown at or after it; its own presentation time
    is its time, so that a variable frame rate does no harm.
    """

    def __init__(self, source: FrameSource) -> None:
        self._path = source.path
        self.notes: list[str] = []
        self._first_s, self._last_s, self._fps, self.size = _survey(source.path)
        self._speed_up = _speed_up(source, self._last_s - self._first_s, self._fps)
        self._targets_s = self._plan(source)
        span_s = self._last_s - self._first_s
        self.notes.append(
            f"{self._path.name}: its {span_s:.0f} s stand for {span_s * self._speed_up / 60:.1f} "
            f"min of the run ({self._speed_up:.4g} times faster)"
        )
        if self._speed_up < SLOWEST:
            self.warnings = (
                f"{self._path.name} is said to play slower than the run went "
                f"({self._speed_up:.2g} times): check [frames] speed_up or duration",
            )
        elif span_s * self._speed_up < SHORT_RUN_S:
            self.warnings = (
                f"the whole film stands for {span_s * self._speed_up:.0f} s of the run: if that is "
                "too short, mend [frames] speed_up or duration",
            )
        self.names = tuple(self._name(target_s) for target_s in self._targets_s)
        self.clock_s = (np.array(self._targets_s) - self._first_s) * self._speed_up
        self._reader: _Player | None = None

    def _plan(self, source: FrameSource) -> tuple[float, ...]:
        span_s = self._last_s - self._first_s
        step_s = max(1 / self._fps, span_s / (MOST_FRAMES - 1))
        if source.sample_every_s is not None:
            step_s = max(1 / self._fps, source.sample_every_s / self._speed_up)
        count = int(min(span_s / step_s, 2.0 * MOST_SAMPLES) + 1e-6) + 1
        if count > MOST_SAMPLES:
            raise WetlineError(
                f"{self._path}: more than {MOST_SAMPLES} frames would be looked at: give a larger "
                "[frames] sample_every_s, or leave it out"
            )
        return tuple(self._first_s + i * step_s for i in range(count))

    def _name(self, time_s: float) -> str:
        return f"{self._path.name}@{time_s:.2f}s"

    def __iter__(self) -> Iterator[Frame]:
        """Play the video once through, giving the picture of each step."""
        player = _Player(self._path)
        last_s = -math.inf
        try:
            for index, target_s in enumerate(self._targets_s):
                frame = self._take(player, index, target_s)
                if frame is None:
                    self._note_early_end(index)
                    return
                if player.time_s > last_s:
                    yield frame
                last_s = player.time_s
        finally:
            player.close()

    def _note_early_end(self, index: int) -> None:
        note = f"{self._path.name}: ends early, after {index} of {len(self)} frames"
        if index < len(self) - 1 and note not in self.notes:
            self.notes.append(note)

    def _take(self, player: _Player, index: int, target_s: float) -> Frame | None:
        if not player.go_to(target_s):
            return None
        image = player.image()
        if image is None:
            return None
        clock_s = (player.time_s - self._first_s) * self._speed_up
        return Frame(index, self._name(player.time_s), clock_s, np.asarray(image, dtype=np.uint8))

    def read(self, index: int) -> Frame:
        """Decode one frame by its place; WetlineError if the video ends before it."""
        index = range(len(self))[index]
        target_s = self._targets_s[index]
        if self._reader is None or self._reader.time_s > target_s - 0.25 / self._fps:
            self.close()
            self._reader = _Player(self._path)
        frame = self._take(self._reader, index, target_s)
        if frame is None:
            raise WetlineError(
                f"{self._path}: no picture at {target_s:.2f} s: the video is damaged"
            )
        return frame

    def close(self) -> None:
        """Close the file."""
        if self._reader is not None:
            self._reader.close()
            self._reader = None


def _survey(path: Path) -> tuple[float, float, float, tuple[int, int]]:
    """Find the first and last presentation time, the frame rate, and the upright picture size."""
    player = _Player(path)
    try:
        image = player.image() if player.step() else None
        if image is None:
            raise WetlineError(f"{path}: the video holds no pictures: save it again as MP4 (H.264)")
        size = (int(image.shape[1]), int(image.shape[0]))
        first_s, last_s = player.time_s, -math.inf
        if player.frame_count > _SEEK_FROM_FRAMES:
            player.seek((player.frame_count - 2) / player.fps)
        while player.step():
            last_s = max(last_s, player.time_s)
    finally:
        player.close()
    if last_s <= first_s:  # seeking failed: play it through
        last_s = _last_time(path)
    return first_s, max(first_s, last_s), player.fps, size


def _last_time(path: Path) -> float:
    player = _Player(path)
    try:
        last_s = 0.0
        while player.step():
            last_s = max(last_s, player.time_s)
    finally:
        player.close()
    return last_s


def _speed_up(source: FrameSource, span_s: float, fps: float) -> float:
    """Seconds of the run per second of film."""
    if source.duration_s is not None and span_s > 0:
        return source.duration_s / span_s
    if source.interval_s is not None:
        return source.interval_s * fps
    if source.speed_up is None:
        raise WetlineError(f"{source.path}: say how fast it plays: [frames] speed_up")
    return source.speed_up
