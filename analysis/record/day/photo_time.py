"""When a stage photo was taken: as said, by its own clock, or by the file's date."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path

from vision.errors import WetlineError
from vision.frames.exif import read_header

_CLOCK = re.compile(r"^(\d{1,2}):(\d{2})(?::(\d{2}))?$")


def photo_time(path: Path, at: str = "", file_counts: bool = True) -> tuple[str, str]:
    """Return when a photo was taken and where that comes from.

    Parameters
    ----------
    path : Path
        The photo.
    at : str
        As said: a clock time, for the day of the photo, or a date and time.
    file_counts : bool
        Whether the file's date stands in for a missing time.

    Returns
    -------
    time, time_from : str
        ISO time to the second as the clock on the wall showed it, and ``"said"``, ``"photo"`` or
        ``"file"``; both empty where it is not known.

    Raises
    ------
    WetlineError
        If `at` is no time.
    """
    own = _own_time(path)
    dated = own or datetime.fromtimestamp(path.stat().st_mtime).replace(microsecond=0)
    if at.strip():
        return said_time(at, dated).isoformat(), "said"
    if own is not None:
        return own.isoformat(), "photo"
    return (dated.isoformat(), "file") if file_counts else ("", "")


def said_time(text: str, day: datetime) -> datetime:
    """Read a time as somebody types it; a clock time belongs to `day`.

    Raises
    ------
    WetlineError
        If it is no time.

    Examples
    --------
    >>> said_time("14:05", datetime(2031, 5, 20, 9, 0)).isoformat()
    '2031-05-20T14:05:00'
    >>> said_time("2031-05-21 07:30", datetime(2031, 5, 20)).isoformat()
    '2031-05-21T07:30:00'
    """
    rule = f"time {text}: must be a time such as 14:05, or 2031-05-20 14:05"
    clock = _CLOCK.match(text.strip())
    try:
        if clock:
            hour, minute, second = (int(part or 0) for part in clock.groups())
            return day.replace(hour=hour, minute=minute, second=second, microsecond=0, tzinfo=None)
        return datetime.fromisoformat(text.strip()).replace(microsecond=0, tzinfo=None)
    except ValueError:
        raise WetlineError(rule) from None


def _own_time(path: Path) -> datetime | None:
    """Return the capture time in the photo's header, None where there is none."""
    try:
        header = read_header(path)
    except (OSError, ImportError):
        return None
    if header.wall_s is None or header.modified_only:
        return None
    return datetime.fromtimestamp(header.wall_s, UTC).replace(tzinfo=None, microsecond=0)
