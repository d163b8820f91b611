"""Tracking one panel folder from start to finish, and writing what was found.

Tested in tests/vision/tracking/test_api.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from vision.common.atomic_files import replace_file
from vision.common.progress import bar
from vision.drawing.pictures import lines_on_photo, subtitle_of
from vision.drawing.strokes import encode_image
from vision.frames.source import open_frames
from vision.front.pen_marks import track_marks
from vision.front.results import PlacedFrames, save_tracked
from vision.records import Frame, Tracked
from vision.settings.panel_settings import PanelSetup, read_setup
from vision.settings.settings_stamp import FIX_FILE, settings_stamp
from vision.tracking.tracker import TrackedRun, track_frames

Progress = Callable[[int, int], None]
"""Given the frames done and the frames in all."""


@dataclass(frozen=True)
class Job:
    """A tracked folder.

    Attributes
    ----------
    tracked : Tracked
    photo : bytes or None
        JPEG of the front lines on the last photo; None for pen marks.
    run : TrackedRun or None
        The frames and what they showed; None for pen marks.
    """

    tracked: Tracked
    photo: bytes | None
    run: TrackedRun | None = None

    @property
    def start_clock_s(self) -> float:
        """Resin start on the camera's clock; NaN for pen marks."""
        return math.nan if self.run is None else self.run.start_clock_s

    def lines(self) -> list[str]:
        """Return what was found in a few plain lines."""
        front, scale = self.tracked.front, self.tracked.scale
        lines = [f"Frames:  {front.frames}, {front.frames_used} fit for use"]
        lines += [f"         {note}" for note in list(self.tracked.frame_notes)[:5]]
        if scale.method != "marks":
            lines.append(
                f"Scale:   {scale.method}, expected error {scale.error_mm:.1f} mm on the panel"
            )
        if not front.usable:
            return [*lines, f"Front:   cannot be measured: {front.reason}"]
        reached = f"Front:   reached {front.length_reached_mm:.0f} mm"
        lines.append(reached + (" (the end)" if front.filled else ""))
        if front.resin_start:
            lines.append(f"         resin start {front.resin_start.replace('T', ' ')[:19]}")
        lines += [f"In doubt: {text}" for text in front.doubts]
        return lines + [f"Look at: {text}" for text in front.warnings]


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
        return Job(replace(track_marks(setup), settings_stamp=stamp), None)
    with open_frames(setup) as frames:
        count = len(frames)
        watch = bar("Tracking", count, quiet) if progress is None else _calling(progress, count)
        run = track_frames(setup, frames, watch, setup.folder / FIX_FILE)
    return Job(replace(run.tracked, settings_stamp=stamp), _photo(run, setup), run)


def save_job(job: Job, results: Path) -> None:
    """Write what tracking found under `results`, each file whole or not at all."""
    save_tracked(results, job.tracked, None if job.run is None else _placed(job.run))
    if job.photo is not None:
        photo = job.photo
        replace_file(results / "front_lines.jpg", lambda part: part.write_bytes(photo))


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


def _photo(run: TrackedRun, setup: PanelSetup) -> bytes | None:
    arrival, front = run.tracked.arrival, run.tracked.front
    if run.last_seen is None or arrival is None:
        return None
    name = run.last_seen.name
    plane = next(frame.plane for frame in reversed(run.frames) if frame.name == name)
    times: list[float] | None = None if front.usable else []
    subtitle = subtitle_of(front, arrival.last_s)
    drawn = lines_on_photo(run.last_seen.image, plane, arrival, setup, subtitle, times)
    return encode_image(drawn, ".jpg")
