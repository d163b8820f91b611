"""Frames in time order, from a photo folder or a video, one picture in memory at a time."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta

import numpy as np

from vision.errors import WetlineError
from vision.frames.photo_times import natural_key
from vision.frames.photos import open_photos
from vision.frames.reader import Frames
from vision.frames.video import VideoFrames
from vision.records import FloatArray, Frame
from vision.settings.event_log import RESIN_OPEN, read_stamps, stamped_clock_s
from vision.settings.panel_settings import PanelSetup

__all__ = [
    "FEWEST_FRAMES",
    "Frames",
    "natural_key",
    "open_frames",
    "resin_start_clock_s",
    "wall_time_iso",
]

FEWEST_FRAMES = 4
_DAY_S = 86400.0


class SelectedFrames(Frames):
    """Some frames of a source, numbered anew from 0."""

    def __init__(self, source: Frames, chosen: tuple[int, ...]) -> None:
        self._source, self._chosen = source, chosen
        self.notes, self.warnings = source.notes, source.warnings
        self.has_clock, self.utc_offset_s = source.has_clock, source.utc_offset_s
        self.size, self.focal_35mm = source.size, source.focal_35mm
        self.decodes_ahead = source.decodes_ahead
        self.names = tuple(source.names[i] for i in chosen)
        self.clock_s = source.clock_s[list(chosen)]

    def __iter__(self) -> Iterator[Frame]:
        """Yield the chosen frames; the others are read past, or jumped when few are chosen."""
        if len(self._chosen) * 3 < len(self._source):
            yield from (self.read(i) for i in range(len(self)))
            return
        place = {old: new for new, old in enumerate(self._chosen)}
        for frame in self._source:
            if frame.index in place:
                yield Frame(place[frame.index], frame.name, frame.clock_s, frame.image)

    def read(self, index: int) -> Frame:
        """Decode one frame by its place."""
        index = range(len(self))[index]
        frame = self._source.read(self._chosen[index])
        return Frame(index, frame.name, frame.clock_s, frame.image)

    def close(self) -> None:
        """Close the source."""
        self._source.close()


def open_frames(setup: PanelSetup) -> Frames:
    """Open the frames of a panel, ordered in time, without decoding them.

    Raises
    ------
    WetlineError
        If there are none, their times are unknown, a video will not open, a frame to skip is
        not there, or fewer than four are left.
    """
    source = setup.frames
    if source.kind == "marks":
        raise WetlineError(f"{source.path}: pen marks have no frames to look at")
    frames: Frames = open_photos(source) if source.kind == "photos" else VideoFrames(source)
    skipped = _skipped(setup, frames)
    chosen = [i for i in range(len(frames)) if i not in skipped]
    if source.sample_every_s is not None and source.kind == "photos":
        chosen = _thinned(chosen, frames.clock_s, source.sample_every_s)
    if len(chosen) < FEWEST_FRAMES:
        why = f" ({'; '.join(frames.notes[:3])})" if frames.notes else ""
        frames.close()
        raise WetlineError(
            f"{source.path}: {len(chosen)} usable frame{'' if len(chosen) == 1 else 's'}{why}: at "
            f"least {FEWEST_FRAMES} are needed"
        )
    return frames if len(chosen) == len(frames) else SelectedFrames(frames, tuple(chosen))


def _skipped(setup: PanelSetup, frames: Frames) -> set[int]:
    source = setup.frames
    names = [name.lower() for name in frames.names]
    skipped: set[int] = set()
    for wanted in source.skip_names:
        hits = [i for i, n in enumerate(names) if wanted in (n, n.rpartition(".")[0])]
        if not hits and not any(note.lower().startswith(wanted) for note in frames.notes):
            raise WetlineError(
                f"{setup.shown_file}: [frames] skip = {wanted}: no such frame: frames are named "
                f"as {frames.names[0]}"
            )
        skipped.update(hits)
    for first, last in source.skip_ranges:
        if first > len(frames):
            raise WetlineError(
                f"{setup.shown_file}: [frames] skip = {first}: there are {len(frames)} frames only"
            )
        skipped.update(range(first - 1, min(last, len(frames))))
    return skipped


def _thinned(chosen: list[int], clock_s: FloatArray, step_s: float) -> list[int]:
    kept: list[int] = []
    for i in chosen:
        if not kept or clock_s[i] >= clock_s[kept[-1]] + step_s * (1 - 1e-9):
            kept.append(i)
    return kept


def resin_start_clock_s(setup: PanelSetup, frames: Frames) -> float | None:
    """Return the user's resin start on the frames' clock, or None when it is to be found.

    A clock time without a date is taken on the day of the first frame, or on the day after it
    when the run went past midnight.

    Raises
    ------
    WetlineError
        If a clock time is given but the frames carry none, or the start is outside the run.
    """
    start = setup.frames.resin_start
    if start is None:
        return _stamped_start(setup, frames)
    first_s, last_s = float(frames.clock_s[0]), float(frames.clock_s[-1])
    if isinstance(start, float):
        found_s = first_s + start
    elif not frames.has_clock:
        raise WetlineError(
            f"{setup.shown_file}: [frames] resin_start = {start}: the frames carry no clock time: "
            "give seconds after the first frame, as a number"
        )
    elif isinstance(start, datetime):
        found_s = _clock_of(start, frames)
    else:
        found_s = _time_of_day(start, first_s, last_s, frames.utc_offset_s)
    if found_s >= last_s:
        raise WetlineError(
            f"{setup.shown_file}: [frames] resin_start = {start}: is after the last frame: "
            "mend the time, or check the camera's clock"
        )
    if found_s < first_s - _DAY_S:
        raise WetlineError(
            f"{setup.shown_file}: [frames] resin_start = {start}: is more than a day before the "
            "first frame: mend the date, or check the camera's clock"
        )
    return found_s


def _stamped_start(setup: PanelSetup, frames: Frames) -> float | None:
    """Return the moment somebody pressed "resin open" at the live board, if anybody did."""
    if not frames.has_clock:
        return None
    stamped = stamped_clock_s(read_stamps(setup.folder), RESIN_OPEN)
    return stamped if stamped is None or stamped < float(frames.clock_s[-1]) else None


def _clock_of(start: datetime, frames: Frames) -> float:
    if start.tzinfo is not None and frames.utc_offset_s:
        return start.timestamp()
    return start.replace(tzinfo=UTC).timestamp() - frames.utc_offset_s


def _time_of_day(start: time, first_s: float, last_s: float, offset_s: float) -> float:
    first = datetime.fromtimestamp(first_s + offset_s, UTC)
    midnight = first.replace(hour=0, minute=0, second=0, microsecond=0)
    on_day = midnight + timedelta(
        hours=start.hour, minutes=start.minute, seconds=start.second + start.microsecond / 1e6
    )
    found_s = on_day.timestamp() - offset_s
    if found_s + _DAY_S < last_s and found_s < first_s:
        return found_s + _DAY_S
    return found_s


def wall_time_iso(clock_s: float, frames: Frames) -> str | None:
    """Write a clock time as the camera's wall clock showed it, or None without a clock.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> wall_time_iso(0.0, SimpleNamespace(has_clock=True, utc_offset_s=7200.0))
    '1970-01-01T02:00:00'
    """
    if not frames.has_clock:
        return None
    wall = datetime.fromtimestamp(np.round(clock_s + frames.utc_offset_s, 3), UTC)
    return wall.replace(tzinfo=None).isoformat(timespec="auto")
