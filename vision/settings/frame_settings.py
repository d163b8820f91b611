"""What panel.toml says about the frames: its ``[frames]`` table.

All fields may be left out.

====================  =============================================================
source                folder of photos, video file, or ``marks.csv``; left out: the
                      folder ``frames`` if there, else the one video beside panel.toml,
                      else ``marks.csv``
interval_s            seconds between photos that carry no capture time (for a video:
                      real seconds between two of its frames)
speed_up              video only: how many times faster than the run it plays
duration              video only: how long the run really took, ``"40 min"`` or seconds
duration_s            the same in seconds
sample_every_s        use one frame each so many seconds of the run
resin_start           when the resin entered: date and time, clock time of the first
                      frame's day (``"14:05:30"``), or seconds after the first frame
camera                ``"fixed"``: the camera did not move, whatever moved around the
                      panel; left out, it is followed
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

from vision.common.toml_table import Table
from vision.errors import WetlineError

FRAMES_FIELDS = (
    "source",
    "interval_s",
    "speed_up",
    "duration",
    "duration_s",
    "sample_every_s",
    "resin_start",
    "camera",
    "skip",
)
CAMERAS = ("followed", "fixed")
VIDEO_SUFFIXES = (".mp4", ".mov", ".m4v", ".avi", ".mkv", ".webm", ".mts")
_DURATION_UNITS_S = {"s": 1.0, "sec": 1.0, "min": 60.0, "h": 3600.0}
_DURATION = re.compile(r"^\s*(\d+(?:[.,]\d+)?)\s*(s|sec|min|h)\s*$", re.IGNORECASE)
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
    skip_names : tuple of str
        Frame names to leave out, in lower case.
    skip_ranges : tuple of (int, int)
        First and last frame number to leave out, counted from 1 in time order.
    """

    path: Path
    kind: str
    interval_s: float | None = None
    speed_up: float | None = None
    duration_s: float | None = None
    sample_every_s: float | None = None
    resin_start: float | datetime | time | None = None
    camera: str = "followed"
    skip_names: tuple[str, ...] = ()
    skip_ranges: tuple[tuple[int, int], ...] = ()


def read_frame_source(table: Table, folder: Path) -> FrameSource:
    """Read the ``[frames]`` table.

    Raises
    ------
    WetlineError
        If a field is wrong or no frames can be found.
    """
    table.refuse_unknown(FRAMES_FIELDS)
    path = _source_path(table, folder)
    kind = _kind(table, path)
    source = FrameSource(
        path=path,
        kind=kind,
        interval_s=table.number("interval_s", above=0, unit="seconds"),
        speed_up=table.number("speed_up", above=0),
        duration_s=_read_duration(table),
        sample_every_s=table.number("sample_every_s", above=0, unit="seconds"),
        resin_start=_read_start(table),
        camera=_read_camera(table),
        skip_names=_read_skip(table)[0],
        skip_ranges=_read_skip(table)[1],
    )
    _check_clock(table, source)
    return source


def _check_clock(table: Table, source: FrameSource) -> None:
    if source.kind != "video":
        for key in ("speed_up", "duration", "duration_s"):
            if table.has(key):
                raise table.bad(key, "is for a video only: take it out, or give interval_s")
        return
    given = [key for key in ("interval_s", "speed_up", "duration", "duration_s") if table.has(key)]
    if len(given) > 1:
        raise table.bad(given[1], f"says the same as {given[0]}: keep one of the two")


def _source_path(table: Table, folder: Path) -> Path:
    text = table.text("source")
    if text is not None:
        path = folder / text
        if not path.exists():
            raise table.bad("source", f"not found beside {table.file.name}: mend the name")
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
    raise WetlineError(
        f"{folder}: no frames: put the photos in {folder.name}/frames, or a video beside "
        f"{table.file.name}"
    )


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
        return table.number("duration_s", above=0, unit="seconds")
    value = table.values["duration"]
    if not isinstance(value, str):
        return table.number("duration", above=0, unit="seconds")
    match = _DURATION.match(value)
    if match is None or float(match.group(1).replace(",", ".")) <= 0:
        raise table.bad("duration", 'must be such as "40 min", "1.5 h" or a number of seconds')
    return float(match.group(1).replace(",", ".")) * _DURATION_UNITS_S[match.group(2).lower()]


def _read_camera(table: Table) -> str:
    camera = table.text("camera") or "followed"
    if camera not in CAMERAS:
        raise table.bad("camera", 'must be "fixed" (it did not move) or "followed"')
    return camera


def _read_start(table: Table) -> float | datetime | time | None:
    value = table.values.get("resin_start")
    if isinstance(value, datetime | time):
        return value
    if not isinstance(value, str):
        if value is not None and (isinstance(value, bool) or not isinstance(value, int | float)):
            raise table.bad("resin_start", _START_RULE)
        return table.number("resin_start", unit="seconds after the first frame")
    # Photo headers write the date with colons too, and people copy it from there.
    text = _HEADER_DATE.sub(r"\1-\2-\3", value.strip())
    for read in (time.fromisoformat, datetime.fromisoformat):
        try:
            if ":" in text:
                return read(text)
        except ValueError:
            continue
    raise table.bad("resin_start", _START_RULE)


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
        if match is None:
            names.append(str(item).strip().lower())
            continue
        first, last = int(match.group(1)), int(match.group(2) or match.group(1))
        if not 1 <= first <= last:
            raise table.bad("skip", f"{item}: frames count from 1, lower number first")
        ranges.append((first, last))
    return tuple(names), tuple(ranges)


_SKIP_RULE = 'must be a list of frame names, numbers or ranges, such as ["IMG_7.jpg", 3, "12-15"]'
