"""When each photo was taken: by its own clock where it has one, else by name and interval."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from vision.common.outside.input_files import shown_name
from vision.errors import WetlineError
from vision.frames.exif import PhotoHeader

FINE_STEP_S = 0.01
"""Step of a capture time that has fractions of a second."""
LONG_GAP_S, LONG_GAP_TIMES = 3600.0, 20.0
"""A gap between photos longer than both an hour and so many times their usual distance is most
often the one between two runs (common practice, no source)."""
CLOCK_SET_S, MOST_CLOCK_SET_H = 90.0, 12
"""A gap this close to whole hours, and no more of them, may be a clock that was set: summer time,
or a phone that found its time zone (common practice, no source)."""
FEWEST_STEPS = 4
"""With fewer steps between photos, one step back says nothing about the clock."""
INTERVAL_OFF = 0.2
"""Share by which a stated interval may differ from the photos' own times before it is said."""


@dataclass(frozen=True)
class Photo:
    """One usable photo file with its place on the run's clock."""

    path: Path
    header: PhotoHeader
    clock_s: float = 0.0


@dataclass(frozen=True)
class PhotoTimes:
    """Photos in time order and how their times were found.

    Attributes
    ----------
    photos : tuple of Photo
    has_clock : bool
        Whether times are Unix times rather than seconds from the first photo.
    utc_offset_s : float
        Offset of the camera's clock that has been taken off.
    notes : tuple of str
        What was left out or spread.
    warnings : tuple of str
        What the times rest on, where that is not the photos' own clock alone.
    """

    photos: tuple[Photo, ...]
    has_clock: bool
    utc_offset_s: float = 0.0
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def natural_key(name: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key that counts as people do: 2 before 10.

    Examples
    --------
    >>> sorted(["img10.jpg", "img2.jpg", "IMG1.jpg"], key=natural_key)
    ['IMG1.jpg', 'img2.jpg', 'img10.jpg']
    """
    parts = re.split(r"([0-9]+)", name.casefold())
    return tuple((0, int(p), "") if p.isdecimal() else (1, 0, p) for p in parts if p)


def in_time_order(photos: Sequence[Photo], interval_s: float | None, folder: Path) -> PhotoTimes:
    """Return the photos in the order of taking, each with its time.

    Their own capture times count, whatever their names say. Where most have none, they are taken
    in the order of their names, `interval_s` apart, and that is said.

    Parameters
    ----------
    photos : sequence of Photo
        In the order of their names.
    interval_s : float or None
        Seconds between two photos, as the user stated it.
    folder : Path
        For messages.

    Raises
    ------
    WetlineError
        If the times are not known, or the few that are contradict the names.
    """
    timed = [p for p in photos if p.header.wall_s is not None and not p.header.modified_only]
    changed_only = not timed
    timed = timed or [p for p in photos if p.header.wall_s is not None]
    times = {photo.header.wall_s for photo in timed}
    if len(timed) * 2 >= len(photos) and len(times) > 1:
        return _by_capture_time(photos, timed, interval_s, changed_only)
    if len(photos) > 1 and interval_s is None:
        why = "all carry the same capture time" if len(times) == 1 else "carry no capture time"
        raise WetlineError(
            f"{folder}: the photos {why}: write interval_s = SECONDS_BETWEEN_PHOTOS under "
            "[frames] in panel.toml"
        )
    return _by_name(photos, timed, interval_s or 0.0, folder)


def _by_name(
    photos: Sequence[Photo], timed: Sequence[Photo], step_s: float, folder: Path
) -> PhotoTimes:
    """Take the photos in the order of their names; the few own times must not say otherwise."""
    back = [
        (a, b) for a, b in pairwise(timed) if (a.header.wall_s or 0.0) > (b.header.wall_s or 0.0)
    ]
    if back:
        first, second = back[0]
        raise WetlineError(
            f"{folder}: {shown_name(second.path)} was taken before {shown_name(first.path)} by "
            "their own times, and most photos carry none: copy the photos again with their "
            "capture times"
        )
    minutes = step_s * (len(photos) - 1) / 60.0
    told = (
        f"the photos carry no capture time: taken in the order of their names, {step_s:g} s apart "
        f"({minutes:.1f} min in all)"
    )
    if timed and len({photo.header.wall_s for photo in timed}) > 1:
        told = (
            f"only {len(timed)} of {len(photos)} photos carry a capture time: all are taken in the "
            f"order of their names, {step_s:g} s apart ({minutes:.1f} min in all)"
        )
    in_turn = tuple(replace(photo, clock_s=i * step_s) for i, photo in enumerate(photos))
    return PhotoTimes(in_turn, False, warnings=(told,) if len(photos) > 1 else ())


def _by_capture_time(
    photos: Sequence[Photo],
    timed: Sequence[Photo],
    interval_s: float | None,
    changed_only: bool,
) -> PhotoTimes:
    notes = [
        f"{shown_name(photo.path)}: skipped, no capture time though others have one"
        for photo in photos
        if photo not in timed
    ]
    offset_s = _common_offset(timed)
    true_utc = offset_s is not None
    clocked = [
        replace(p, clock_s=(p.header.wall_s or 0.0) - ((p.header.offset_s or 0.0) * true_utc))
        for p in timed
    ]
    clocked, set_back = _counted_on(clocked)
    in_turn = sorted(clocked, key=lambda p: (p.clock_s, natural_key(p.path.name)))
    spread, shared = _spread_ties(in_turn)
    if shared:
        notes.append(f"{shared} photos share a capture time with another: spread evenly over it")
    warnings = [
        *_change_times(changed_only),
        *set_back,
        *_other_order(clocked, in_turn),
        *_long_gap(in_turn),
        *_other_interval(in_turn, interval_s),
    ]
    return PhotoTimes(tuple(spread), True, offset_s or 0.0, tuple(notes), tuple(warnings))


def _counted_on(by_name: list[Photo]) -> tuple[list[Photo], list[str]]:
    """Count on where the camera's clock was set back by whole hours, as when summer time ends.

    Sorted by such times, the photos of two hours would be shuffled into each other. It is taken
    for that only where names and times agree but for one step back.
    """
    steps = np.diff([photo.clock_s for photo in by_name])
    back = np.flatnonzero(steps < 0)
    if len(back) != 1 or len(steps) < FEWEST_STEPS:
        return by_name, []
    k = int(back[0])
    usual_s = float(np.median(np.delete(steps, k)))
    hours = round((usual_s - steps[k]) / 3600.0)
    off_s = abs(hours * 3600.0 + steps[k] - usual_s)
    if not 1 <= hours <= MOST_CLOCK_SET_H or off_s > max(CLOCK_SET_S, usual_s):
        return by_name, []
    later = [replace(one, clock_s=one.clock_s + hours * 3600.0) for one in by_name[k + 1 :]]
    told = (
        f"the camera's clock goes back by {hours} h between {shown_name(by_name[k].path)} and "
        f"{shown_name(by_name[k + 1].path)}, in the middle of the run: counted on as if it had not "
        "been set; if the photos are of two runs, list those of the other one under [frames] skip"
    )
    return [*by_name[: k + 1], *later], [told]


def _change_times(changed_only: bool) -> list[str]:
    if not changed_only:
        return []
    return [
        "the photos carry the time of their last change, not of their taking: an edited photo "
        "stands at the wrong time"
    ]


def _other_order(by_name: Sequence[Photo], by_time: Sequence[Photo]) -> list[str]:
    moved = sum(a.path != b.path for a, b in zip(by_name, by_time, strict=True))
    if not moved:
        return []
    return [
        "the photos were put in order by their own times, not by their names: the two differ for "
        f"{moved} of {len(by_time)} photos"
    ]


def _long_gap(in_turn: Sequence[Photo]) -> list[str]:
    steps = np.diff([photo.clock_s for photo in in_turn])
    k = int(np.argmax(steps))
    if steps[k] < max(LONG_GAP_S, LONG_GAP_TIMES * float(np.median(steps))):
        return []
    hours = (steps[k] - float(np.median(steps))) / 3600.0
    clock = ""
    if abs(hours - round(hours)) * 3600.0 < CLOCK_SET_S and round(hours) <= MOST_CLOCK_SET_H:
        clock = "; if the camera's clock was set in between, set the capture times right"
    return [
        f"{steps[k] / 3600:.1f} hours lie between {shown_name(in_turn[k].path)} and "
        f"{shown_name(in_turn[k + 1].path)}: if the photos are of two runs, list those of the "
        f"other one under [frames] skip{clock}"
    ]


def _other_interval(in_turn: Sequence[Photo], interval_s: float | None) -> list[str]:
    if interval_s is None:
        return []
    own_s = float(np.median(np.diff([photo.clock_s for photo in in_turn])))
    if abs(own_s - interval_s) <= INTERVAL_OFF * interval_s:
        return []
    return [
        f"interval_s = {interval_s:g} is not used: by their own times the photos are "
        f"{own_s:g} s apart"
    ]


def _common_offset(photos: Sequence[Photo]) -> float | None:
    """UTC offset of the first photo, if every photo states one."""
    offsets = [photo.header.offset_s for photo in photos]
    return offsets[0] if all(offset is not None for offset in offsets) else None


def _spread_ties(photos: Sequence[Photo]) -> tuple[list[Photo], int]:
    """Spread photos that share a clock reading evenly over the clock's step, in name order.

    The middle of the group stays where a lone photo would be, so that no bias arises. Also
    returns how many photos share one.
    """
    counts = Counter(photo.clock_s for photo in photos)
    place: Counter[float] = Counter()
    spread = []
    for photo in photos:
        n, j = counts[photo.clock_s], place[photo.clock_s]
        place[photo.clock_s] += 1
        step = FINE_STEP_S if photo.header.fine else 1.0
        spread.append(replace(photo, clock_s=photo.clock_s + ((j + 0.5) / n - 0.5) * step))
    return spread, sum(n for n in counts.values() if n > 1)
