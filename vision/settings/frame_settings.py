"""What panel.toml says about the frames: its ``[frames]`` table.

All fields may be left out, but a film needs to say how fast it plays: its own clock is not the
shop's. That is one of `speed_up`, `duration`, `interval_s`, or `film_start` with `film_end`.

====================  =============================================================
source                folder of photos, video file, or ``marks.csv``; left out: the
                      folder ``frames`` if there, else the one video beside panel.toml,
                      else ``marks.csv``
interval_s            seconds between photos that carry no capture time (for a video:
                      real seconds between two of its frames)
speed_up              video only: how many times faster than the run it plays
duration              video only: how long the run really took, ``"40 min"``
duration_s            the same in seconds
film_start, film_end  video only: clock times of its first and last frame
sample_every_s        use one frame each so many seconds of the run
resin_start           when the resin entered: date and time, clock time of the first
                      frame's day (``"14:05:30"``), or seconds after the first frame. For
                      pen marks a number counts on the marks' own clock
camera                ``"fixed"``: the camera did not move, whatever moved around the
                      panel; left out, it is followed
follow                ``"first"`` or ``"second"``: which change is the resin where two pass
                      over the panel; left out, the first
skip                  frames to leave out: names, numbers counted from 1 in time order,
                      or ranges such as ``"12-15"``
====================  =============================================================

Tested in tests/vision/settings/test_panel_settings.py.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, time
from pathlib import Path

from vision.common.outside.folder_contents import VIDEO_SUFFIXES, pictures_there
from vision.common.outside.input_files import is_there
from vision.common.quantity import DURATION_S, TIME_S, read_quantity
from vision.common.toml_table import Table
from vision.errors import WetlineError

FRAMES_FIELDS = (
    "source",
    "interval_s",
    "speed_up",
    "duration",
    "duration_s",
    "film_start",
    "film_end",
    "sample_every_s",
    "resin_start",
    "camera",
    "follow",
    "skip",
)
CAMERAS = ("followed", "fixed")
FOLLOWED = ("first", "second")
FILM_CLOCKS = ("speed_up", "duration", "duration_s", "interval_s", "film_start")
"""Fields of which a film needs one."""
LEAST_BARE_S = 300.0
"""A `duration` without a unit below this may be minutes as well as seconds."""
DAY_S = 86400.0
MOST_SPEED_UP, MOST_DAYS = 100_000.0, 30.0
"""Beyond these no film of a panel is taken (common practice, no source)."""
MOST_DIGITS = 9
"""Digits of a frame's number; more are its name."""
_HEADER_DATE = re.compile(r"^(\d{4}):(\d{2}):(\d{2})(?=[ T])")
_RANGE = re.compile(r"^\s*(\d+)\s*(?:-\s*(\d+))?\s*$")


@dataclass(frozen=True)
class FrameSource:
    """Where the frames come from and how their time is read.

    Attributes
    ----------
    path : Path
        Folder of photos, video file or table of pen marks.
    kind : {"photos", "video", "marks", "images"}
        What `path` is; ``"images"`` are held in memory, and `path` only names them.
    interval_s, speed_up, duration_s, sample_every_s : float or None
        See the module's table.
    resin_start : float, datetime, time or None
        Float: seconds from the first frame. None: to be found from the frames.
    camera : {"followed", "fixed"}
        Whether the camera may have moved.
    follow : {"first", "second"}
        Which change to follow where two pass over the panel.
    skip_names : tuple of str
        Frame names to leave out, in lower case.
    skip_ranges : tuple of (int, int)
        First and last frame number to leave out, counted from 1 in time order.
    confirmed : tuple of str
        Fields whose unusual values the user has confirmed.
    understood : tuple of str
        How values written with a unit were understood.
    """

    path: Path
    kind: str
    interval_s: float | None = None
    speed_up: float | None = None
    duration_s: float | None = None
    sample_every_s: float | None = None
    resin_start: float | datetime | time | None = None
    camera: str = "followed"
    follow: str = "first"
    skip_names: tuple[str, ...] = ()
    skip_ranges: tuple[tuple[int, int], ...] = ()
    confirmed: tuple[str, ...] = ()
    understood: tuple[str, ...] = ()


def read_frame_source(table: Table, folder: Path, need_clock: bool = True) -> FrameSource:
    """Read the ``[frames]`` table.

    Parameters
    ----------
    table : Table
        The table.
    folder : Path
        The panel folder.
    need_clock : bool
        Whether a film must say how fast it plays.

    Raises
    ------
    WetlineError
        If a field is wrong or no frames can be found.
    """
    table.refuse_unknown(FRAMES_FIELDS)
    path = _source_path(table, folder)
    kind = _kind(table, path)
    _check_clock(table, kind, need_clock)
    names, ranges = _read_skip(table)
    film_s, start = _film_times(table, _read_start(table))
    return FrameSource(
        path=path,
        kind=kind,
        interval_s=table.quantity("interval_s", TIME_S, above=0, at_least=1e-3, at_most=DAY_S),
        speed_up=table.number("speed_up", above=0, at_least=0.01, at_most=MOST_SPEED_UP),
        duration_s=_read_duration(table) if film_s is None else film_s,
        sample_every_s=table.quantity(
            "sample_every_s", TIME_S, above=0, at_least=1e-3, at_most=DAY_S
        ),
        resin_start=start,
        camera=_read_camera(table),
        follow=_read_follow(table),
        skip_names=names,
        skip_ranges=ranges,
        confirmed=tuple(table.confirmed_names()),
        understood=tuple(table.understood),
    )


def _check_clock(table: Table, kind: str, need_clock: bool) -> None:
    """Refuse clock fields of another kind of source, and a film without any."""
    if kind == "marks":
        for key in ("interval_s", "sample_every_s", "skip"):
            if table.has(key):
                raise table.bad(key, "is for photos and films: pen marks carry their own times")
    if kind != "video":
        for key in ("speed_up", "duration", "duration_s", "film_start", "film_end"):
            if table.has(key):
                raise table.bad(key, "is for a video only: take it out, or give interval_s")
        return
    given = [key for key in FILM_CLOCKS if table.has(key)]
    if len(given) > 1:
        raise table.bad(given[1], f"says the same as {given[0]}: keep one of the two")
    if not given and need_clock and not table.has("film_end"):
        raise table.bad(
            "speed_up",
            "is needed, for a film's own clock is not the shop's: write speed_up = 30 (how many "
            'times faster it plays; 1 in real time), duration = "40 min" (how long the run '
            'really took), or film_start = "14:05:00" and film_end = "14:45:00"',
        )


def _film_times(
    table: Table, start: float | datetime | time | None
) -> tuple[float | None, float | datetime | time | None]:
    """Return how long a film really took by its two clock times, and resin start on its clock."""
    ends = [_read_clock(table, key) for key in ("film_start", "film_end")]
    if ends == [None, None]:
        return None, start
    first, last = ends
    if first is None or last is None:
        missing = "film_start" if first is None else "film_end"
        raise table.bad(missing, "is needed: film_start and film_end go together")
    span_s = _between_s(first, last)
    if span_s is None or span_s <= 0:
        raise table.bad("film_end", "must be after film_start, both with a date or both without")
    if not isinstance(start, datetime | time):
        return span_s, start
    after_s = _between_s(first, start)
    if after_s is None:
        raise table.bad("resin_start", "must have a date where film_start has one, else none")
    return span_s, after_s - DAY_S * (isinstance(start, time) and after_s > DAY_S / 2)


def _between_s(first: datetime | time, last: datetime | time) -> float | None:
    """Return the seconds between two times of one kind; clock times may pass midnight."""
    if isinstance(first, datetime) and isinstance(last, datetime):
        if (first.tzinfo is None) != (last.tzinfo is None):
            return None
        return (last - first).total_seconds()
    if isinstance(first, time) and isinstance(last, time):
        return (_of_day_s(last) - _of_day_s(first)) % DAY_S
    return None


def _of_day_s(at: time) -> float:
    return at.hour * 3600.0 + at.minute * 60.0 + at.second + at.microsecond / 1e6


def _source_path(table: Table, folder: Path) -> Path:
    text = table.text("source")
    if text is not None:
        path = folder / text
        if not is_there(path):
            there = pictures_there(folder) or "write the folder or film that holds the run"
            raise table.bad("source", f"not found beside {table.file.name}: {there}")
        return path
    if (folder / "frames").is_dir():
        return folder / "frames"
    videos = sorted(p for p in folder.iterdir() if p.suffix.lower() in VIDEO_SUFFIXES)
    if len(videos) == 1:
        return videos[0]
    if len(videos) > 1:
        names = ", ".join(video.name for video in videos)
        raise table.bad("source", f"say which of {names} to use")
    if (folder / "marks.csv").is_file():
        return folder / "marks.csv"
    there = pictures_there(folder)
    mend = f"put the photos in {folder.name}/frames, or a film beside {table.file.name}"
    raise WetlineError(f"{folder}: no pictures of the run: {there or mend}")


def _kind(table: Table, path: Path) -> str:
    if path.is_dir():
        return "photos"
    if path.suffix.lower() in VIDEO_SUFFIXES:
        return "video"
    if path.suffix.lower() == ".csv":
        return "marks"
    known = ", ".join(VIDEO_SUFFIXES)
    raise table.bad("source", f"must be a folder of photos, a video ({known}) or marks.csv")


def _read_duration(table: Table) -> float | None:
    if not table.has("duration"):
        return table.quantity("duration_s", TIME_S, above=0, at_most=MOST_DAYS * DAY_S)
    value = table.values["duration"]
    kind = DURATION_S if isinstance(value, str) else TIME_S
    duration_s = table.quantity("duration", kind, above=0, at_most=MOST_DAYS * DAY_S)
    if not isinstance(value, str) and (duration_s or 0.0) < LEAST_BARE_S:
        raise table.bad(
            "duration", f'may be minutes or seconds: write "{value} min" or duration_s = {value}'
        )
    return duration_s


def _read_follow(table: Table) -> str:
    follow = table.text("follow") or "first"
    if follow not in FOLLOWED:
        raise table.bad("follow", 'must be "first" or "second": the change that is the resin')
    return follow


def _read_camera(table: Table) -> str:
    camera = table.text("camera") or "followed"
    if camera not in CAMERAS:
        raise table.bad("camera", 'must be "fixed" (it did not move) or "followed"')
    return camera


def _read_start(table: Table) -> float | datetime | time | None:
    value = table.values.get("resin_start")
    if not isinstance(value, str | datetime | time):
        if value is not None and (isinstance(value, bool) or not isinstance(value, int | float)):
            raise table.bad("resin_start", _START_RULE)
        return table.number("resin_start", unit="seconds after the first frame")
    if isinstance(value, str) and ":" not in value:
        try:
            return read_quantity(value, DURATION_S)
        except ValueError:
            raise table.bad("resin_start", _START_RULE) from None
    return _read_clock(table, "resin_start")


def _read_clock(table: Table, key: str) -> datetime | time | None:
    """Read a clock time, with or without a date; None where it is missing."""
    value = table.values.get(key)
    if value is None or isinstance(value, datetime | time):
        return value
    if not isinstance(value, str):
        raise table.bad(key, _START_RULE if key == "resin_start" else _CLOCK_RULE)
    # Photo headers write the date with colons too, and people copy it from there.
    text = _HEADER_DATE.sub(r"\1-\2-\3", value.strip())
    for read in (time.fromisoformat, datetime.fromisoformat):
        try:
            if ":" in text:
                return read(text)
        except ValueError:
            continue
    raise table.bad(key, _START_RULE if key == "resin_start" else _CLOCK_RULE)


_CLOCK_RULE = 'must be a time such as "14:05:30" or "2031-05-20 14:05:30"'
_START_RULE = (
    'must be a time such as "14:05:30" or "2031-05-20 14:05:30", or seconds after the first frame'
)


def _read_skip(table: Table) -> tuple[tuple[str, ...], tuple[tuple[int, int], ...]]:
    value = table.values.get("skip", [])
    items = value.split(",") if isinstance(value, str) else value
    if not isinstance(items, list):
        raise table.bad("skip", _SKIP_RULE)
    names: list[str] = []
    ranges: list[tuple[int, int]] = []
    for item in items:
        if isinstance(item, bool) or not isinstance(item, int | str) or not str(item).strip():
            raise table.bad("skip", _SKIP_RULE)
        match = _RANGE.match(str(item))
        if match is None or max(map(len, filter(None, match.groups()))) > MOST_DIGITS:
            names.append(str(item).strip().lower())
            continue
        first, last = int(match.group(1)), int(match.group(2) or match.group(1))
        if not 1 <= first <= last:
            raise table.bad("skip", f"{item}: frames count from 1, lower number first")
        ranges.append((first, last))
    return tuple(names), tuple(ranges)


_SKIP_RULE = 'must be a list of frame names, numbers or ranges, such as ["IMG_7.jpg", 3, "12-15"]'
