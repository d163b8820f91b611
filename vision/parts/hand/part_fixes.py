"""``fix.csv`` of a part: where a person knows that the front stood, taken into its arrival map.

The columns are those of a panel's (`vision.front.corrections`), in the plan's coordinates.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from vision.common.outside.input_files import is_there
from vision.errors import WetlineError
from vision.frames.reader import Frames
from vision.front.corrections import BACK_MM, bend, farthest_words, read_fixes
from vision.part_records import PartSeen
from vision.parts.part_settings import PartCamera, box_map
from vision.parts.uncertainty import wet_share
from vision.records import ArrivalMap, BoolArray, FloatArray
from vision.scale.plane_map import apply_homography
from vision.tracking.tracker import clock_text_in_run_s

FIX_FILE = "fix.csv"
TAKEN_IN = f"{FIX_FILE}: its points by hand are taken as the truth"
SHARE_IN_DOUBT = 0.3
"""Share of what the points change a time by that stays in doubt, away from them. Common practice,
no source."""

AT_ODDS_SHARE, SAME_PLACE_MM = 0.2, 10.0
"""By this share of the run's time a point is at odds with what the camera saw clearly there, and
two points so near to each other with one another. Common practice, no source."""


def with_fixes(camera: PartCamera, seen: PartSeen, frames: Frames) -> PartSeen:
    """Return what was seen with the points of a part's fix.csv taken in, and said.

    Parameters
    ----------
    camera : PartCamera
    seen : PartSeen
    frames : Frames
        For points that are given by the clock.

    Raises
    ------
    WetlineError
        If fix.csv cannot be read, or a point lies off the part or outside the run's time.
    """
    return _with_points(
        camera, seen, lambda text: clock_text_in_run_s(text, frames, seen.start_clock_s)
    )


def with_live_fixes(camera: PartCamera, seen: PartSeen) -> PartSeen:
    """Return what was seen so far with the points of fix.csv taken in; what hinders is a doubt.

    Points that are given by the clock wait for the final result, which knows the camera's clock.

    Parameters
    ----------
    camera : PartCamera
    seen : PartSeen
    """
    try:
        return _with_points(camera, seen, _no_clock)
    except WetlineError as error:
        doubt = f"{FIX_FILE} is not taken in yet: {error}"
        return replace(seen, doubts=(doubt, *seen.doubts))


def _no_clock(text: str) -> float:
    raise ValueError(
        f"{text}: a clock time is read in the final result; for the board give time_s or time_min"
    )


def _with_points(camera: PartCamera, seen: PartSeen, clock_s: Callable[[str], float]) -> PartSeen:
    path = camera.folder / FIX_FILE
    if not is_there(path):
        return seen
    points = read_fixes(path, clock_s)
    if not seen.usable:
        told = f"{FIX_FILE}: nothing could be measured, and points by hand cannot stand for it"
        return replace(seen, warnings=(*seen.warnings, told))
    _check(camera, seen, points)
    return bent(camera, seen, points)


def _check(camera: PartCamera, seen: PartSeen, points: FloatArray) -> None:
    """Refuse the first point that cannot be."""
    for time_s, x, y in points:
        where = f"{camera.folder.name}/{FIX_FILE}: the point ({x:g}, {y:g}) mm at {time_s:.0f} s"
        if time_s < 0:
            raise WetlineError(f"{where} is before resin start: no front stood there yet")
        if time_s > seen.last_s:
            raise WetlineError(
                f"{where} is after the last photo ({seen.last_s / 60:.1f} min): mend the time"
            )
        row, col = _pixel(seen, x, y)
        near = seen.inside[max(row - 2, 0) : row + 3, max(col - 2, 0) : col + 3]
        if not _in_box(seen, x, y) or not near.any():
            raise WetlineError(f"{where} lies off the part: give places on the plan, in its mm")
    for k, (time_s, x, y) in enumerate(points):
        apart_s = np.abs(points[:k, 0] - time_s)
        near = np.hypot(points[:k, 1] - x, points[:k, 2] - y) <= SAME_PLACE_MM
        if (near & (apart_s > AT_ODDS_SHARE * seen.last_s)).any():
            raise WetlineError(
                f"{camera.folder.name}/{FIX_FILE}: the point ({x:g}, {y:g}) mm at {time_s:.0f} s "
                f"has another near it {apart_s[near].max() / 60:.1f} min apart: the front passes "
                "a place once; keep the one that is right"
            )


def _in_box(seen: PartSeen, x: float, y: float) -> bool:
    steps = [float(np.abs(np.diff(axis)).mean()) for axis in (seen.x_mm, seen.y_mm)]
    inside = [
        axis.min() - 2 * step <= value <= axis.max() + 2 * step
        for axis, step, value in zip((seen.x_mm, seen.y_mm), steps, (x, y), strict=True)
    ]
    return all(inside)


def _pixel(seen: PartSeen, x: float, y: float) -> tuple[int, int]:
    return int(np.argmin(np.abs(seen.y_mm - y))), int(np.argmin(np.abs(seen.x_mm - x)))


def bent(camera: PartCamera, seen: PartSeen, points: FloatArray) -> PartSeen:
    """Return what was seen, its times bent through points by hand.

    Parameters
    ----------
    camera : PartCamera
    seen : PartSeen
    points : ndarray of shape (P, 3), float
        Seconds since resin start, x and y on the plan.

    Notes
    -----
    The correction is a panel's (`vision.front.corrections.bend`). At a point the time is known to
    the reading of a photo by eye over the front's local speed; elsewhere a share of what the
    points change stays in doubt, beside what was in doubt before.
    """
    step = float(np.abs(np.diff(seen.x_mm)).mean())
    on = points.copy()
    on[:, 1:] = apply_homography(box_map(camera.shape), points[:, 1:])
    nobody = np.zeros(seen.inside.shape, bool)
    before = ArrivalMap(np.where(seen.inside, seen.time_s, np.inf), seen.seen, nobody, step,
                        seen.last_s)  # fmt: skip
    after = bend(before, on)
    time_s = np.where(seen.inside, after.time_s, np.nan)
    hand = after.by_hand & seen.inside
    was = np.where(np.isfinite(seen.time_s), seen.time_s, seen.last_s)
    moved = np.where(np.isfinite(time_s), np.abs(time_s - was), 0.0)
    sd = np.hypot(np.nan_to_num(seen.sd_s, nan=0.0), SHARE_IN_DOUBT * moved)
    sd = np.where(hand, BACK_MM * _slowness(time_s, seen.inside, step), sd)
    at_points = np.array([seen.time_s[_pixel(seen, x, y)] for _, x, y in points])
    known = seen.seen | hand
    share, unseen_sd = wet_share(time_s, sd, known, seen.inside, seen.frame_s)
    return replace(
        seen,
        time_s=time_s,
        sd_s=np.where(seen.inside & np.isfinite(time_s), sd, np.nan),
        seen=known,
        wetted_share=np.where(np.isfinite(seen.wetted_share), share, np.nan),
        wetted_sd=np.maximum(seen.wetted_sd, unseen_sd),
        warnings=(*seen.warnings, f"{TAKEN_IN}; {farthest_words(points, at_points, seen.last_s)}"),
        doubts=(*seen.doubts, *_at_odds(seen, points, at_points)),
    )


def _at_odds(seen: PartSeen, points: FloatArray, was: FloatArray) -> tuple[str, ...]:
    """Return a doubt if the point farthest from what the camera saw clearly is far from it."""
    clear = np.array([bool(seen.seen[_pixel(seen, x, y)]) for _, x, y in points])
    off = np.where(clear, np.abs(points[:, 0] - np.where(np.isfinite(was), was, seen.last_s)), 0.0)
    k = int(np.argmax(off))
    if off[k] <= AT_ODDS_SHARE * seen.last_s:
        return ()
    time_s, x, y = points[k]
    saw = f"{was[k] / 60:.1f} min" if np.isfinite(was[k]) else "no resin by the last photo"
    return (
        f"{FIX_FILE} has the front at ({x:.0f}, {y:.0f}) mm at {time_s / 60:.1f} min, where the "
        f"camera clearly saw {saw}: a slip in the place or the time? If the point is right, the "
        "photos, their scale or their times are not, and the rest of the map is unsure too",
    )


def _slowness(time_s: FloatArray, inside: BoolArray, step_mm: float) -> FloatArray:
    """Return the local seconds per millimetre, at least those of an even filling."""
    held = np.where(np.isfinite(time_s), time_s, np.nan)
    down, along = np.gradient(held, step_mm)
    slow = np.hypot(down, along)
    usual = float(np.nanmedian(slow[inside])) if np.isfinite(slow[inside]).any() else 1.0
    return np.where(np.isfinite(slow), np.maximum(slow, 0.2 * usual), usual)
