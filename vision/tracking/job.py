"""Tracking one panel folder from start to finish, and writing what was found.

Tested in tests/vision/tracking/test_api.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np

from vision.common.atomic_files import replace_file, sweep_leftovers
from vision.common.progress import bar
from vision.drawing.pictures import lines_on_photo, subtitle_of
from vision.drawing.strokes import encode_image
from vision.frames.reader import SKIPPED
from vision.frames.source import open_frames
from vision.front.pen_marks import track_marks
from vision.front.results import SECOND_FILE, UNEXPLAINED_FILE, PlacedFrames, save_tracked
from vision.records import Frame, Tracked
from vision.scale.plane_map import PlaneMap
from vision.settings.panel_settings import PanelSetup, read_setup
from vision.settings.settings_stamp import FIX_FILE, settings_stamp
from vision.tracking.tracker import TrackedRun, track_frames

OTHER_CHANGE = f"the other change is in {SECOND_FILE}, and dotted in the curve of the record"

DRAWN_LATER = ("front_lines.png", "plan_view.png", "front_lines.mp4")
"""Pictures of a front, drawn when asked for, that a run without one takes away."""

Progress = Callable[[int, int], None]
"""Given the frames done and the frames in all."""


@dataclass(frozen=True)
class Job:
    """A tracked folder.

    Attributes
    ----------
    tracked : Tracked
    setup : PanelSetup
    run : TrackedRun or None
        The frames and what they showed; None for pen marks.
    unexplained : bytes or None
        PNG of the places that were not understood; None unless the run is in doubt or refused.
    """

    tracked: Tracked
    setup: PanelSetup
    run: TrackedRun | None = None
    unexplained: bytes | None = None

    @cached_property
    def photo(self) -> bytes | None:
        """JPEG of the front lines on the last photo, drawn when asked for; None for pen marks."""
        return None if self.run is None else _photo(self.run, self.setup)

    @property
    def start_clock_s(self) -> float:
        """Resin start on the camera's clock; NaN for pen marks."""
        return math.nan if self.run is None else self.run.start_clock_s

    def lines(self) -> list[str]:
        """Return what was found in a few plain lines."""
        front, scale = self.tracked.front, self.tracked.scale
        lines = [f"Frames:  {front.frames}, {front.frames_used} fit for use"]
        told = [note for note in self.tracked.frame_notes if SKIPPED not in note]
        lines += [f"         {note}" for note in told[:5]]
        if scale.method != "marks":
            lines.append(
                f"Scale:   {scale.method}, expected error {scale.error_mm:.1f} mm on the panel"
            )
        if not front.usable:
            lines.append(f"Front:   cannot be measured: {front.reason}")
            return lines + self._where()
        reached = f"Front:   reached {front.length_reached_mm:.0f} mm"
        lines.append(reached + (" (the end)" if front.filled else ""))
        if front.resin_start:
            lines.append(f"         resin start {front.resin_start.replace('T', ' ')[:19]}")
        lines += [f"In doubt: {text}" for text in front.doubts]
        lines += self._where()
        return lines + [f"Look at: {text}" for text in front.warnings]

    def _where(self) -> list[str]:
        picture = self.tracked.front.unexplained_picture
        return [f"Where:   see {picture} in the results"] if picture else []


def track_folder(folder: Path, quiet: bool, progress: Progress | None = None) -> Job:
    """Track a panel folder and write front.csv, arrival.npz, results.json and the front lines.

    Nothing is written before all frames are read: a stopped run leaves the last results.
    `progress` is given the frames done and the frames in all, in place of the bar.

    Raises
    ------
    WetlineError
        As reading the settings and tracking.
    """
    job = track_unsaved(folder, quiet, progress)
    save_job(job, folder / "results")
    return job


def track_unsaved(folder: Path, quiet: bool, progress: Progress | None = None) -> Job:
    """Track a panel folder without writing anything (see `track_folder`)."""
    setup = read_setup(folder)
    stamp = settings_stamp(setup.folder)
    if setup.frames.kind == "marks":
        return Job(replace(track_marks(setup), settings_stamp=stamp), setup)
    with open_frames(setup) as frames:
        count = len(frames)
        watch = bar("Tracking", count, quiet) if progress is None else _calling(progress, count)
        run = track_frames(setup, frames, watch, setup.folder / FIX_FILE)
    odd = _unexplained(run, setup)
    name = "" if odd is None else UNEXPLAINED_FILE
    front = run.tracked.front
    told = () if run.tracked.second is None else (OTHER_CHANGE,)
    front = replace(front, unexplained_picture=name, warnings=(*front.warnings, *told))
    tracked = replace(run.tracked, front=front, settings_stamp=stamp)
    return Job(tracked, setup, run, odd)


def save_job(job: Job, results: Path) -> None:
    """Write what tracking found under `results`, each file whole or not at all."""
    sweep_leftovers(results, results.parent)
    save_tracked(results, job.tracked, None if job.run is None else _placed(job.run))
    _write_or_remove(results / "front_lines.jpg", job.photo)
    _write_or_remove(results / UNEXPLAINED_FILE, job.unexplained)
    if not job.tracked.front.usable:
        for name in DRAWN_LATER:
            _write_or_remove(results / name, None)


def _write_or_remove(path: Path, data: bytes | None) -> None:
    """Write a picture; where there is none, one of an earlier run would mislead."""
    if data is None:
        path.unlink(missing_ok=True)
    else:
        replace_file(path, lambda part: part.write_bytes(data))


def _placed(run: TrackedRun) -> PlacedFrames:
    return PlacedFrames(
        names=tuple(frame.name for frame in run.frames),
        clock_s=np.array([frame.clock_s for frame in run.frames]),
        start_clock_s=run.start_clock_s,
        homographies=np.array([frame.plane.homography for frame in run.frames]),
    )


def _calling(progress: Progress, count: int) -> Callable[[Iterable[Frame]], Iterator[Frame]]:
    def wrap(frames: Iterable[Frame]) -> Iterator[Frame]:
        for done, frame in enumerate(frames):
            progress(done, count)
            yield frame

    return wrap


def _last_plane(run: TrackedRun, photo: Frame) -> PlaneMap:
    return next(frame.plane for frame in reversed(run.frames) if frame.name == photo.name)


def _unexplained(run: TrackedRun, setup: PanelSetup) -> bytes | None:
    if run.unexplained is None or run.last_seen is None:
        return None
    from vision.drawing.unexplained_view import photo_from_above, unexplained_view  # matplotlib

    plane = _last_plane(run, run.last_seen)
    flat = photo_from_above(run.last_seen.image, plane)
    size = (plane.length_mm, plane.width_mm)
    drawn = unexplained_view(flat, run.unexplained, size, title=setup.name, flow=setup.flow)
    return encode_image(drawn)


def _photo(run: TrackedRun, setup: PanelSetup) -> bytes | None:
    arrival, front = run.tracked.arrival, run.tracked.front
    if run.last_seen is None or arrival is None:
        return None
    plane = _last_plane(run, run.last_seen)
    times: list[float] | None = None if front.usable else []
    subtitle = subtitle_of(front, arrival.last_s)
    drawn = lines_on_photo(run.last_seen.image, plane, arrival, setup, subtitle, times)
    return encode_image(drawn, ".jpg")
