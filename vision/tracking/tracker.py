"""One panel, from frames to the arrival map and the front curve; fed a frame at a time."""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Callable, Generator, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.arrival.arrival_map import Measured, measure
from vision.check.doubts import Unexplained
from vision.check.panel_moved import move_doubts
from vision.common.csv_table import clock_text_s
from vision.common.outside.input_files import is_there
from vision.frames.prefetch import prefetch
from vision.frames.reader import Frames, left_out
from vision.frames.source import resin_start_clock_s, wall_time_iso
from vision.front.corrections import (
    FixLimits,
    bend,
    farthest_words,
    map_from_hand,
    read_fixes,
    start_from_hand,
    times_at,
)
from vision.front.front_curve import FrameTimes, blank_curve, read_curve
from vision.records import FloatArray, Frame, FrontCurve, FrontDoubt, FrontSummary, Tracked
from vision.rectify.rectifier import Rectifier
from vision.rectify.region import region_mask
from vision.repair.feed import Feed, FeedOnCanvas
from vision.settings.panel_settings import PanelSetup
from vision.settings.tracker_settings import TrackerSettings
from vision.tracking.canvases import Canvases, RecordedCanvases, SeenFrame, flat_frame

HAND_SD_MM = 3.0
"""Uncertainty of a front drawn by hand on a photo. Common practice, no source."""

MOST_LOST = 0.5
"""Share of frames without a sight of the panel past which the run is not judged."""

Fixes = Callable[[float], FloatArray | None]
"""Resin start on the frames' clock to the user's points, or None."""

"""Corrections by hand, beside panel.toml."""

LOST = (
    "the panel could not be found again in most frames: the camera moved and nothing fixed is in "
    "view, or the lens was covered or out of focus: clamp the camera, leave markers or the table "
    "edge in view, and record again"
)


@dataclass(frozen=True)
class TrackedRun:
    """A run as far as it was followed.

    Attributes
    ----------
    tracked : Tracked
        Arrival map, front curve and summary.
    frames : tuple of SeenFrame
        The frames of the curve.
    start_clock_s : float
        Resin start on the frames' clock.
    hidden_share : float
        Share of the front at the last frame that was filled in rather than seen.
    last_seen : Frame or None
        The last frame in which the panel was found, for drawing on.
    unexplained : Unexplained or None
        Where on the panel the run was not understood; None unless it is in doubt or refused, and
        where the panel was not found.
    """

    tracked: Tracked
    frames: tuple[SeenFrame, ...]
    start_clock_s: float
    hidden_share: float
    last_seen: Frame | None
    unexplained: Unexplained | None = None


def no_fixes(start_clock_s: float) -> FloatArray | None:
    """Return no corrections by hand."""
    return None


class Tracker:
    """Follows one panel, fed a frame at a time.

    Parameters
    ----------
    setup : PanelSetup
    rectifier : Rectifier
        Lays the frames flat.
    canvases : Canvases, optional
        How the canvases are kept; left out, as for a recording.
    settings : TrackerSettings, optional
        What the measurement is set by.

    Attributes
    ----------
    count : int
        Frames taken.
    latest : SeenFrame or None
        The latest frame.
    """

    def __init__(
        self,
        setup: PanelSetup,
        rectifier: Rectifier,
        canvases: Canvases | None = None,
        settings: TrackerSettings | None = None,
    ) -> None:
        self.setup, self.rectifier = setup, rectifier
        settings = settings or TrackerSettings()
        steps = replace(settings.steps, follow=setup.frames.follow)
        self.settings = replace(settings, steps=steps)
        self.canvases = RecordedCanvases(rectifier) if canvases is None else canvases
        self.count = 0
        self.latest: SeenFrame | None = None
        self._last_seen: Frame | None = None
        self._flat_reference: NDArray[np.uint8] | None = None
        whole = region_mask(setup, rectifier.shape, rectifier.mm_per_px)
        self._watched = self.canvases.resized(whole)
        self._feed = Feed(
            point_mm=setup.feed_point_mm,
            radius_mm=setup.feed_radius_mm or 0.0,
            is_point=setup.flow == "point",
        )

    def add(self, frame: Frame) -> None:
        """Take the next frame in time."""
        flat = flat_frame(self.rectifier, frame)
        self.canvases.add(flat)
        self.count += 1
        self.latest = flat.frame
        if not flat.frame.lost:
            self._last_seen = frame

    def read(
        self, start_clock_s: float | None = None, fixes: Fixes = no_fixes
    ) -> TrackedRun | None:
        """Measure the front as it stands; None while too few frames show the panel.

        Parameters
        ----------
        start_clock_s : float or None
            Resin start on the frames' clock, if known.
        fixes : callable
            Given the resin start on the frames' clock, the user's points as
            `vision.front.corrections.read_fixes` reads them, or None.
        """
        stack = self.canvases.stack()
        if len(stack) < self.canvases.fewest:
            return None
        feed = FeedOnCanvas(self._feed, stack.shape, self.canvases.mm_per_px)
        measured = measure(stack, feed, start_clock_s, self._watched, self.settings)
        moved = move_doubts(self._reference(stack.shape), stack.canvases, self.canvases.mm_per_px)
        measured = replace(measured, doubts=(*moved, *measured.doubts))
        frames = tuple(self.canvases.frames)
        if np.mean([frame.lost for frame in frames]) > MOST_LOST:
            measured = replace(measured, reason=LOST)
        points = fixes(measured.start_s)
        if points is not None:
            measured = corrected(measured, points, start_clock_s)
        scale = self.rectifier.summary()
        lanes = self._watched.mean(axis=1) > 0.5
        times = frame_times(frames, measured.start_s)
        curve, front = read_curve(measured, times, scale, lanes)
        if measured.reason:
            curve, front = blank_curve(curve.flow, curve.frames, curve.time_s, measured.reason)
        front = replace(front, warnings=(*front.warnings, *_taken_still(frames)))
        return TrackedRun(
            tracked=Tracked(
                replace(measured.arrival, doubt=_doubt_of(curve, front)),
                curve,
                front,
                scale,
                second=None if measured.reason else measured.second,
            ),
            frames=frames,
            start_clock_s=measured.start_s,
            hidden_share=float(measured.hidden_share[-1]),
            last_seen=self._last_seen,
            unexplained=_not_understood(measured),
        )

    def _reference(self, shape: tuple[int, int]) -> NDArray[np.uint8]:
        """Return the photo of the scale, laid flat, at the size of the canvases kept."""
        if self._flat_reference is None:
            whole = self.rectifier.reference_canvas()
            small = cv2.resize(whole, shape[::-1], interpolation=cv2.INTER_AREA)
            self._flat_reference = np.asarray(small, np.uint8)
        return self._flat_reference

    def finish(self, start_clock_s: float | None = None, fixes: Fixes = no_fixes) -> TrackedRun:
        """Measure a recording that has come to its end (see `read`)."""
        return self.read(start_clock_s, fixes) or self._never_found(start_clock_s)

    def _never_found(self, start_clock_s: float | None) -> TrackedRun:
        """Return a run in which the panel could not be found."""
        frames = tuple(self.canvases.frames)
        start = frames[0].clock_s if start_clock_s is None else start_clock_s
        times = frame_times(frames, start)
        curve, front = blank_curve(self.setup.flow, times.names, times.time_s, LOST)
        tracked = Tracked(None, curve, front, self.rectifier.summary())
        return TrackedRun(tracked, frames, start, 1.0, self._last_seen)


def _doubt_of(curve: FrontCurve, front: FrontSummary) -> FrontDoubt | None:
    """Return how sure the fronts of a curve are; None where none could be measured."""
    if not front.usable:
        return None
    known = np.isfinite(curve.front_sd_mm) & np.isfinite(curve.front_mean_mm)
    columns = (curve.time_s, curve.front_mean_mm, curve.front_sd_mm)
    return FrontDoubt(front.resin_start_sd_s, *(values[known] for values in columns))


def _not_understood(measured: Measured) -> Unexplained | None:
    """Return where on the panel a doubtful or refused run was not understood, if anywhere."""
    places = measured.unexplained
    if places is None or measured.reason == LOST:
        return None
    doubtful = bool(measured.reason or measured.doubts)
    return places if doubtful and places.is_telling else None


def _taken_still(frames: Sequence[SeenFrame]) -> list[str]:
    """Return what was assumed about the camera, if anything was."""
    count = sum(frame.taken_still for frame in frames)
    if not count:
        return []
    return [
        f"in {count} of {len(frames)} pictures nothing fixed beside the panel was found again, so "
        "whether the camera moved cannot be checked there; it is taken to have stood still. If you "
        'know that it did, write [frames] camera = "fixed"'
    ]


def frame_times(frames: Sequence[SeenFrame], start_clock_s: float) -> FrameTimes:
    """Return names, notes and times since resin start of frames."""
    return FrameTimes(
        names=tuple(frame.name for frame in frames),
        time_s=np.array([frame.clock_s for frame in frames]) - start_clock_s,
        notes=tuple(frame.note for frame in frames),
        lost=np.array([frame.lost for frame in frames]),
    )


def corrected(measured: Measured, points: FloatArray, start_s: float | None) -> Measured:
    """Take the user's points as the truth."""
    arrival = measured.arrival
    if measured.reason or measured.doubts:
        if measured.feed.is_point or len(points) < 2:
            return measured
        # The start that was found is no better than the rest; the points tell their own.
        shift, sd = (0.0, 0.0) if start_s is not None else start_from_hand(points, HAND_SD_MM)
        if not np.isfinite(shift):
            return measured
        rough = map_from_hand(
            points - np.array([shift, 0.0, 0.0]),
            arrival.time_s.shape,
            arrival.mm_per_px,
            arrival.last_s - shift,
        )
        return replace(
            measured,
            arrival=rough,
            start_s=measured.start_s + shift,
            stack_s=measured.stack_s - shift,
            reason="",
            doubts=(),
            row_doubts=("",) * len(measured.row_doubts),
            edge_sd_mm=HAND_SD_MM,
            start_sd_s=sd,
            hidden_share=np.zeros_like(measured.hidden_share),
        )
    told = farthest_words(points, times_at(arrival, points), arrival.last_s)
    return replace(measured, arrival=bend(arrival, points), by_hand=told)


def track_frames(
    setup: PanelSetup,
    frames: Frames,
    progress: Callable[[Iterable[Frame]], Iterable[Frame]],
    fix_file: Path | None = None,
) -> TrackedRun:
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
    run : TrackedRun
    """
    with contextlib.closing(_in_turn(frames)) as source:
        # Photos decode on other threads from here on, while the scale is found.
        first = list(itertools.islice(source, 1)) if frames.decodes_ahead else []
        tracker = Tracker(setup, Rectifier(setup, frames))
        for frame in progress(itertools.chain(first, source)):
            tracker.add(frame)
    start = resin_start_clock_s(setup, frames)
    run = tracker.finish(start, lambda found: _fixes(fix_file, frames, found, tracker))
    asked = (run.tracked.scale.question,) if run.tracked.scale.question else ()
    front = replace(
        run.tracked.front,
        resin_start=wall_time_iso(run.start_clock_s, frames),
        warnings=(*asked, *frames.warnings, *left_out(frames.notes), *run.tracked.front.warnings),
    )
    return replace(
        run,
        tracked=replace(run.tracked, front=front, frame_notes=(*setup.understood, *frames.notes)),
    )


def _in_turn(frames: Frames) -> Generator[Frame, None, None]:
    """Yield the frames in time order, the next ones made meanwhile."""
    yield from frames if frames.decodes_ahead else prefetch(frames)


def _fixes(
    path: Path | None, frames: Frames, start_clock_s: float, tracker: Tracker
) -> FloatArray | None:
    if path is None or not is_there(path):
        return None
    scale = tracker.rectifier.summary()
    limits = FixLimits(
        length_mm=scale.length_mm,
        width_mm=scale.width_mm,
        last_s=float(frames.clock_s[-1]) - start_clock_s,
        flow=tracker.setup.flow,
    )
    return read_fixes(path, lambda text: clock_text_in_run_s(text, frames, start_clock_s), limits)


def clock_text_in_run_s(text: str, frames: Frames, start_clock_s: float) -> float:
    """Return a clock text such as ``14:03:20`` in seconds since resin start.

    Raises
    ------
    ValueError
        If it is no clock time, or the frames carry no clock.
    """
    seconds = clock_text_s(text)
    if not frames.has_clock:
        raise ValueError("cannot be used: the frames carry no clock; give time_s since resin start")
    start_of_day = (start_clock_s + frames.utc_offset_s) % 86400
    after: float = (seconds - start_of_day) % 86400
    return after if after < 43200 else after - 86400
