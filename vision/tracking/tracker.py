"""One panel, from frames to the arrival map and the front curve; fed a frame at a time."""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Callable, Generator, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from vision.arrival.arrival_map import Measured, measure
from vision.frames.prefetch import prefetch
from vision.frames.reader import Frames
from vision.frames.source import open_frames, resin_start_clock_s, wall_time_iso
from vision.front.corrections import bend, map_from_hand, read_fixes
from vision.front.front_csv import EXTRA, NUMBERS
from vision.front.front_curve import FrameTimes, read_curve
from vision.illumination.light_basis import LOG_OFFSET
from vision.records import FloatArray, Frame, FrontCurve, FrontSummary, Tracked
from vision.rectify.rectifier import Rectifier, look_mask
from vision.repair.feed import Feed
from vision.scale.plane_map import PlaneMap
from vision.settings.panel_settings import PanelSetup
from vision.wetting.canvas_series import CanvasStack

HAND_SD_MM = 3.0
"""Uncertainty of a front drawn by hand on a photo. Common practice, no source."""

MOST_LOST = 0.5
"""Share of frames without a sight of the panel past which the run is not judged."""

FEWEST_SEEN = 4
"""Frames that must show the panel for anything to be measured."""

FIX_FILE = "fix.csv"
"""Corrections by hand, beside panel.toml."""

LOST = (
    "the panel could not be found again in most frames: the camera moved and nothing fixed is in "
    "view, or the lens was covered or out of focus: clamp the camera, leave markers or the table "
    "edge in view, and record again"
)


class Tracker:
    """Follows one panel frame by frame.

    Parameters
    ----------
    setup : PanelSetup
    rectifier : Rectifier
        Lays the frames flat.

    Attributes
    ----------
    planes : list of PlaneMap
        Map of each frame, for drawing on the photos.
    clock_s : list of float
        Time of each frame.
    start_clock_s : float
        Resin start on the frames' clock, once `finish` has found it.
    last : Frame or None
        The last frame in which the panel was found, for drawing on.
    """

    def __init__(self, setup: PanelSetup, rectifier: Rectifier) -> None:
        self.setup = setup
        self.rectifier = rectifier
        self.planes: list[PlaneMap] = []
        self.start_clock_s = float("nan")
        self._names: list[str] = []
        self.clock_s: list[float] = []
        self.last: Frame | None = None
        self._notes: list[str] = []
        self._lost: list[bool] = []
        plane = rectifier.plane
        half = np.array([plane.length_mm, plane.width_mm]) / 2
        self._border_xy = (rectifier.border_mm - half) / half
        self.stack = CanvasStack(rectifier.shape, self._border_xy)

    def add(self, frame: Frame) -> None:
        """Take the next frame in time."""
        flat = self.rectifier.rectify(frame)
        self._names.append(frame.name)
        self.clock_s.append(frame.clock_s)
        self._notes.append(flat.note)
        self._lost.append(flat.lost)
        self.planes.append(flat.plane)
        if flat.lost:
            return
        self.last = frame
        border = np.log(flat.border + LOG_OFFSET)
        self.stack.add(frame.clock_s, flat.canvas, border)

    def __len__(self) -> int:
        return len(self._names)

    def _nothing(self, start_clock_s: float | None) -> Tracked:
        """Say that the panel could not be found."""
        clock = np.array(self.clock_s)
        self.start_clock_s = float(clock[0]) if start_clock_s is None else start_clock_s
        times = clock - self.start_clock_s
        curve, front = blank_front(self.setup.flow, tuple(self._names), times, LOST)
        return Tracked(None, curve, front, self.rectifier.summary())

    def finish(
        self, start_clock_s: float | None, fixes: Callable[[float], FloatArray | None]
    ) -> Tracked:
        """Measure what has been seen so far.

        Parameters
        ----------
        start_clock_s : float or None
            Resin start on the frames' clock, if known.
        fixes : callable
            Given the resin start on the frames' clock, the user's points (see `hand`), or None.

        """
        if len(self.stack) < FEWEST_SEEN:
            return self._nothing(start_clock_s)
        feed = Feed(
            point_mm=self.setup.feed_point_mm,
            radius_mm=self.setup.feed_radius_mm or 0.0,
            is_point=self.setup.flow == "point",
        )
        looked = look_mask(self.setup, self.rectifier.shape, self.rectifier.mm_per_px)
        measured = measure(self.stack, self.rectifier.mm_per_px, feed, start_clock_s, looked)
        if np.mean(self._lost) > MOST_LOST:
            measured = replace(measured, reason=LOST)
        self.start_clock_s = measured.start_s
        points = fixes(measured.start_s)
        if points is not None:
            measured = corrected(measured, points, start_clock_s)
        frames = FrameTimes(
            names=tuple(self._names),
            time_s=np.array(self.clock_s) - measured.start_s,
            notes=tuple(self._notes),
            lost=np.array(self._lost),
        )
        scale = self.rectifier.summary()
        lanes = looked.mean(axis=1) > 0.5
        curve, front = read_curve(measured, frames, scale, lanes)
        if measured.reason:
            curve, front = blank_front(curve.flow, curve.frames, curve.time_s, measured.reason)
        return Tracked(measured.arrival, curve, front, scale)


def blank_front(
    flow: str, names: tuple[str, ...], time_s: FloatArray, reason: str
) -> tuple[FrontCurve, FrontSummary]:
    """Make the empty curve of a run that could not be measured: no number beats a wrong one."""
    nan = np.full(len(names), np.nan)
    numbers: dict[str, Any] = dict.fromkeys((*NUMBERS, *EXTRA), nan) | {"time_s": time_s}
    curve = FrontCurve(
        flow=flow,
        frames=names,
        used=np.zeros(len(names), bool),
        notes=("front not measured",) * len(names),
        **numbers,
    )
    front = FrontSummary(
        usable=False,
        reason=reason,
        frames=len(names),
        frames_used=0,
        resin_start=None,
        resin_start_sd_s=0.0,
        length_reached_mm=0.0,
        filled=False,
        stalled_at_mm=None,
        stalled_at_s=None,
        race_tracking_mm=0.0,
        clean_lanes_mm=(),
    )
    return curve, front


def corrected(measured: Measured, points: FloatArray, start_s: float | None) -> Measured:
    """Take the user's points as the truth."""
    arrival = measured.arrival
    if measured.reason:
        if measured.feed.is_point or len(points) < 2:
            return measured
        rough = map_from_hand(points, arrival.time_s.shape, arrival.mm_per_px, arrival.last_s)
        sd = 0.0 if start_s is not None else measured.start_sd_s
        return replace(
            measured,
            arrival=rough,
            reason="",
            edge_sd_mm=HAND_SD_MM,
            start_sd_s=sd,
            hidden_share=np.zeros_like(measured.hidden_share),
        )
    return replace(measured, arrival=bend(arrival, points))


def track_frames(
    setup: PanelSetup,
    frames: Frames,
    progress: Callable[[Iterable[Frame]], Iterable[Frame]],
    fix_file: Path | None = None,
) -> tuple[Tracked, Tracker]:
    """Track a recorded run.

    Parameters
    ----------
    setup : PanelSetup
    frames : Frames
        Open source.
    progress : callable
        Wraps the frames as they are read, for a progress bar.
    fix_file : Path, optional
        The user's corrections by hand; nothing happens where it is not there.

    Returns
    -------
    tracked : Tracked
    tracker : Tracker
        With the map of each frame, for drawing.
    """
    with contextlib.closing(_in_turn(frames)) as source:
        # Photos decode on other threads from here on, while the scale is found.
        first = list(itertools.islice(source, 1)) if frames.decodes_ahead else []
        tracker = Tracker(setup, Rectifier(setup, frames))
        for frame in progress(itertools.chain(first, source)):
            tracker.add(frame)
    start = resin_start_clock_s(setup, frames)
    tracked = tracker.finish(start, lambda found: _fixes(fix_file, frames, found))
    front = replace(tracked.front, resin_start=wall_time_iso(tracker.start_clock_s, frames))
    return replace(tracked, front=front, frame_notes=tuple(frames.notes)), tracker


def _in_turn(frames: Frames) -> Generator[Frame, None, None]:
    """Give the frames in time order, the next ones made meanwhile."""
    yield from frames if frames.decodes_ahead else prefetch(frames)


def _fixes(path: Path | None, frames: Frames, start_clock_s: float) -> FloatArray | None:
    if path is None or not path.exists():
        return None

    def seconds(text: str) -> float | None:
        return _clock_text_s(text, frames, start_clock_s)

    return read_fixes(path, seconds)


def _clock_text_s(text: str, frames: Frames, start_clock_s: float) -> float | None:
    parts = text.strip().split(":")
    if not frames.has_clock or len(parts) not in (2, 3):
        return None
    try:
        numbers = [float(part) for part in parts] + [0.0]
    except ValueError:
        return None
    seconds = numbers[0] * 3600 + numbers[1] * 60 + numbers[2]
    start_of_day = (start_clock_s + frames.utc_offset_s) % 86400
    after: float = (seconds - start_of_day) % 86400
    return after if after < 43200 else after - 86400


def track_panel(
    setup: PanelSetup, progress: Callable[[Iterable[Frame]], Iterable[Frame]]
) -> tuple[Tracked, Tracker]:
    """Open a panel's frames and track them (see `track_frames`)."""
    with open_frames(setup) as frames:
        return track_frames(setup, frames, progress, setup.folder / FIX_FILE)
