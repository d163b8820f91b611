"""Tracking one panel folder from start to finish, and writing what was found."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from vision.common.atomic_files import replace_file
from vision.common.progress import bar
from vision.drawing.pictures import lines_on_photo, subtitle_of
from vision.drawing.strokes import encode_image
from vision.frames.source import open_frames
from vision.front.pen_marks import track_marks
from vision.front.results import save_tracked
from vision.records import Frame, Tracked
from vision.scale.plane_map import PlaneMap
from vision.settings.panel_settings import read_setup
from vision.tracking.tracker import FIX_FILE, Tracker, track_frames


@dataclass(frozen=True)
class Job:
    """A tracked folder.

    Attributes
    ----------
    tracked : Tracked
    photo : bytes or None
        JPEG of the front lines on the last photo; None for pen marks.
    start_clock_s : float
        Resin start on the camera's clock; NaN for pen marks.
    planes : tuple of PlaneMap
        Where the panel lies in each frame; empty for pen marks.
    clock_s : tuple of float
        Time of each frame on the camera's clock; empty for pen marks.
    """

    tracked: Tracked
    photo: bytes | None
    start_clock_s: float = float("nan")
    planes: tuple[PlaneMap, ...] = ()
    clock_s: tuple[float, ...] = ()

    def lines(self) -> list[str]:
        """Tell what was found in a few plain lines."""
        front, scale = self.tracked.front, self.tracked.scale
        told = [f"Frames:  {front.frames}, {front.frames_used} fit for use"]
        told += [f"         {note}" for note in list(self.tracked.frame_notes)[:5]]
        if scale.method != "marks":
            told.append(
                f"Scale:   {scale.method}, expected error {scale.error_mm:.1f} mm on the panel"
            )
        if not front.usable:
            return [*told, f"Front:   cannot be measured: {front.reason}"]
        reached = f"Front:   reached {front.length_reached_mm:.0f} mm"
        told.append(reached + (" (the end)" if front.filled else ""))
        if front.resin_start:
            told.append(f"         resin start {front.resin_start.replace('T', ' ')[:19]}")
        return told + [f"Look at: {text}" for text in front.warnings]


def track_folder(folder: Path, quiet: bool, told: Callable[[int, int], None] | None = None) -> Job:
    """Track a panel folder and write front.csv, arrival.npz, results.json and the front lines.

    Nothing is written before all frames are read: a stopped run leaves the last results.
    `told` is given the frames done and the frames in all, in place of the bar.

    Raises
    ------
    WetlineError
        As reading the settings and tracking.
    """
    job = track_unsaved(folder, quiet, told)
    save_job(job, folder / "results")
    return job


def track_unsaved(folder: Path, quiet: bool, told: Callable[[int, int], None] | None = None) -> Job:
    """Track a panel folder without writing anything (see `track_folder`)."""
    setup = read_setup(folder)
    if setup.frames.kind == "marks":
        return Job(track_marks(setup), None)
    with open_frames(setup) as frames:
        watch = bar("Tracking", len(frames), quiet) if told is None else _telling(told, len(frames))
        tracked, tracker = track_frames(setup, frames, watch, setup.folder / FIX_FILE)
    photo = _photo(tracker, tracked)
    return Job(tracked, photo, tracker.start_clock_s, tuple(tracker.planes), tuple(tracker.clock_s))


def save_job(job: Job, results: Path) -> None:
    """Write what tracking found under `results`, each file whole or not at all."""
    save_tracked(results, job.tracked, job.planes, job.clock_s, job.start_clock_s)
    if job.photo is not None:
        photo = job.photo
        replace_file(results / "front_lines.jpg", lambda part: part.write_bytes(photo))


def _telling(
    told: Callable[[int, int], None], count: int
) -> Callable[[Iterable[Frame]], Iterator[Frame]]:
    def wrap(frames: Iterable[Frame]) -> Iterator[Frame]:
        for done, frame in enumerate(frames):
            told(done, count)
            yield frame

    return wrap


def _photo(tracker: Tracker, tracked: Tracked) -> bytes | None:
    if tracker.last is None or tracked.arrival is None:
        return None
    plane = tracker.planes[tracker.last.index]
    subtitle = subtitle_of(tracked.front, tracked.arrival.last_s)
    times: list[float] | None = None if tracked.front.usable else []
    drawn = lines_on_photo(
        tracker.last.image, plane, tracked.arrival, tracker.setup, subtitle, times
    )
    return encode_image(drawn, ".jpg")
