"""From frames on disk to the live tracker: starts it, resumes it, keeps what the picture needs."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from vision.cameras.frame_store import StoredFrame
from vision.common.outside.input_files import is_there
from vision.common.toml_table import Table, read_toml
from vision.drawing.live_picture import PictureParts, load_frame
from vision.errors import WetlineError
from vision.frames.reader import Frames
from vision.frames.source import FEWEST_FRAMES, open_frames, resin_start_clock_s
from vision.front.corrections import read_fixes
from vision.records import FloatArray, Frame
from vision.rectify.rectifier import Rectifier
from vision.scale.corner_picker import read_setup_for_corners
from vision.scale.plane_map import PlaneMap
from vision.settings.panel_settings import PanelSetup, read_setup
from vision.settings.settings_stamp import FIX_FILE
from vision.tracking.live_tracker import LiveFront, LiveTracker, Reading

MOST_REPLAYED = 400
"""Frames of a long run that are read again when it is taken up."""
LATEST = 12
"""Last frames of it that are all read again."""

TAP_CORNERS = "Tap the panel's four corners on the picture."
FROZEN_AFTER = 3
MOVED_MM = 1.5
"""A larger step of the panel in the picture from one frame to the next is told."""

_MOVED_FRAMES = 3


class FolderEyes(ABC):
    """What live eyes on a folder of frames share, of a panel or a part.

    Attributes
    ----------
    todo : str
        What is missing before it can be followed; empty when nothing is.
    count : int
        Frames seen.
    last_clock_s : float or None
    lost : bool
        Whether it was not found in the last frame.
    """

    def __init__(self) -> None:
        self.todo, self.count, self.lost = "", 0, False
        self.last_clock_s: float | None = None
        self._start_s: float | None = None

    @property
    @abstractmethod
    def frozen(self) -> bool:
        """Whether the camera gives the very same picture again and again."""

    def given_start_s(self, stamped: float | None) -> float | None:
        """Resin start as somebody gave it: the settings before the button."""
        return self._start_s if self._start_s is not None else stamped


def replayed(frames: Frames) -> Iterator[Frame]:
    """Yield the frames of a run that is taken up: evenly over it, and all of the latest."""
    every = max(1, -(-len(frames) // MOST_REPLAYED))
    for frame in frames:
        if frame.index % every == 0 or frame.index >= len(frames) - LATEST:
            yield frame


class LiveFeed(FolderEyes):
    """Follows the frames of one panel folder.

    Parameters
    ----------
    folder : Path
        Panel folder; its ``frames`` folder must be there.

    Attributes
    ----------
    latest : LiveFront or None
    moved_note : str
        Camera moved within the last few frames.
    """

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self.folder = folder
        self.latest: LiveFront | None = None
        self.moved_note = ""
        self.feed_point_mm: tuple[float, float] | None = None
        self._tracker: LiveTracker | None = None
        self._setup: PanelSetup | None = None
        self._image: np.ndarray | None = None
        self._moved_at = -(10**9)
        self._corners: FloatArray | None = None

    @property
    def frozen(self) -> bool:
        """Whether the camera gives the very same picture again and again."""
        return self._tracker is not None and self._tracker.canvases.repeats >= FROZEN_AFTER

    @property
    def firm(self) -> list[Reading]:
        """Readings that no longer change."""
        return [] if self._tracker is None else self._tracker.firm

    def resume(self) -> float | None:
        """Take up the frames on disk; give the time of the last one, or None if there are none."""
        paths = [p for p in (self.folder / "frames").iterdir() if p.is_file() and p.name[0] != "."]
        self.count = len(paths)
        self._prepare()
        if self.last_clock_s is None and paths:
            newest = max(paths, key=lambda p: p.stat().st_mtime)
            self.last_clock_s = newest.stat().st_mtime
            self._image = load_frame(newest)
        return self.last_clock_s

    def add(self, frame: StoredFrame) -> None:
        """Take the next frame that is on disk; one that is older than the last is left to the end.

        A frame that cannot be decoded is passed over, as for a recording.
        """
        self.count += 1
        if self.last_clock_s is not None and frame.clock_s <= self.last_clock_s:
            return
        image = load_frame(frame.path)
        if image is None:
            return
        self.last_clock_s, self._image = frame.clock_s, image
        if self._tracker is None:
            self._prepare()
            return
        if image.shape != self._tracker.tracker.rectifier.reference.image.shape:
            self.todo = "The pictures changed size: turn the phone back as it was."
            return
        self._track(Frame(self.count - 1, frame.path.name, frame.clock_s, image))

    def _track(self, frame: Frame) -> None:
        assert self._tracker is not None
        self._tracker.add(frame)
        self.todo = ""
        latest = self._tracker.tracker.latest
        self.lost = latest is None or latest.lost
        if latest is None or latest.lost:
            return
        corners = _corners_px(latest.plane)
        if self._corners is not None:
            apart = float(np.abs(corners - self._corners).max()) * latest.plane.mm_per_px()
            if apart > MOVED_MM:
                self._moved_at = self.count
                self.moved_note = f"by about {apart:.0f} mm on the panel"
            elif self.count > self._moved_at + _MOVED_FRAMES:
                self.moved_note = ""
        self._corners = corners

    def _prepare(self) -> None:
        """Start the tracker once there are frames and a scale; else say what is missing."""
        try:
            if not has_scale(self.folder):
                read_setup_for_corners(self.folder)
                self.todo = TAP_CORNERS if self.count else "Waiting for the first picture."
                return
            setup = read_setup(self.folder)
        except WetlineError as error:
            self.todo = str(error)
            return
        if setup.frames.kind != "photos":
            self.todo = (
                "panel.toml names a film or pen marks: delete the line source = ... under [frames]."
            )
            return
        if self.count < FEWEST_FRAMES:
            self.todo = f"{self.count} of the {FEWEST_FRAMES} pictures needed to begin."
            return
        try:
            self._begin(setup)
        except WetlineError as error:
            self.todo = str(error)

    def _begin(self, setup: PanelSetup) -> None:
        with open_frames(setup) as frames:
            rectifier = Rectifier(setup, frames)
            tracker = LiveTracker(setup, rectifier)
            if setup.frames.resin_start is not None:
                self._start_s = resin_start_clock_s(setup, frames)
            last: Frame | None = None
            for frame in replayed(frames):
                if frame.index == len(frames) - 1:
                    tracker.measure(self._start_s)  # for the next measurement to agree with
                tracker.add(frame)
                last = frame
        self._tracker, self._setup = tracker, setup
        self.feed_point_mm = setup.feed_point_mm
        self.todo = ""
        if last is not None:
            self.last_clock_s, self._image = last.clock_s, last.image

    def restart(self) -> None:
        """Begin again with the frames on disk, after panel.toml has changed."""
        self._tracker, self.latest = None, None
        self._prepare()

    def measure(self, stamped: float | None) -> LiveFront | None:
        """Measure the front as it stands; None while there is too little to see."""
        if self._tracker is None:
            return None
        self.latest = self._tracker.measure(self.given_start_s(stamped), self._fixes)
        return self.latest

    def _fixes(self, start_clock_s: float) -> FloatArray | None:
        path = self.folder / FIX_FILE
        try:
            return read_fixes(path, _no_clock) if is_there(path) else None
        except WetlineError:
            return None  # the final result says what is wrong with it

    def picture(self, front_s: float) -> PictureParts | None:
        """Return what the board's picture is drawn from."""
        if self._image is None:
            return None
        latest = None if self._tracker is None else self._tracker.tracker.latest
        plane = None if latest is None else latest.plane
        arrival = None if self.latest is None else self.latest.tracked.arrival
        flow = "edge" if self._setup is None else self._setup.flow
        return PictureParts(self._image, plane, arrival, front_s, flow)


def _corners_px(plane: PlaneMap) -> FloatArray:
    length, width = plane.length_mm, plane.width_mm
    return plane.to_px(np.array([[0, 0], [length, 0], [length, width], [0, width]], float))


def has_scale(folder: Path) -> bool:
    """Return whether panel.toml has a ``[scale]`` method, and its corners where it needs them."""
    file = folder / "panel.toml"
    table = Table.of(file, read_toml(file), "scale")
    method = table.text("method")
    if method is None:
        return False
    return method == "sheet" or table.has("corners_px")


def _no_clock(text: str) -> float:
    """Refuse a clock time: only the final result knows the camera's clock."""
    raise ValueError(f"{text}: is read in the final result")
