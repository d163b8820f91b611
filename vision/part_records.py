"""The records of a part under the camera that pass between the rooms; all are frozen.

Tested in tests/analysis/infusion/seen/test_on_plan.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import nan

from vision.records import BoolArray, FloatArray, ScaleSummary

Lens = tuple[FloatArray, FloatArray]
"""Camera matrix, shape (3, 3), and distortion, shape (5,), from ideal to recorded pixels."""


@dataclass(frozen=True)
class FeedPlace:
    """Where resin may come in on a part, or air go out.

    Attributes
    ----------
    name : str
    points_mm : ndarray of shape (P, 2), float
        One point, or the two or more points of a line, in the plan's coordinates.
    radius_mm : float
        For a point.
    first : bool
        Whether it is open from the start; the others open later.
    """

    name: str
    points_mm: FloatArray
    radius_mm: float = 0.0
    first: bool = True


@dataclass(frozen=True)
class PartShape:
    """What the camera needs to know of a part's plan.

    Attributes
    ----------
    name : str
    outline_mm : ndarray of shape (N, 2), float
        In the plan's coordinates, x to the right.
    holes_mm : tuple of ndarray of shape (H, 2)
        Openings in it.
    feeds : tuple of FeedPlace
    y_runs : {"down", "up"}
        Which way y runs as the part is looked at from above.
    height_mm, height_sd_mm : float
        How far the surface lies above the plane of the scale, and how far it may rise or fall
        from there.
    vents : tuple of FeedPlace
        Where air goes out, each with its hose.
    """

    name: str
    outline_mm: FloatArray
    holes_mm: tuple[FloatArray, ...]
    feeds: tuple[FeedPlace, ...]
    y_runs: str = "down"
    height_mm: float = 0.0
    height_sd_mm: float = 0.0
    vents: tuple[FeedPlace, ...] = ()


@dataclass(frozen=True)
class PartSeen:
    """What the camera saw of a part as it filled: vision's product for a part.

    Attributes
    ----------
    x_mm, y_mm : ndarray of shape (N,) and (M,), float
        Centres of the columns and rows, in the plan's coordinates; y falls where it runs up.
    inside : ndarray of shape (M, N), bool
        The part.
    time_s, sd_s : ndarray of shape (M, N), float
        Seconds since resin start and their standard uncertainty: infinity where the spot never
        wetted while it was watched, NaN outside the part.
    seen : ndarray of shape (M, N), bool
        False where the spot was not seen well enough and was filled from around it.
    last_s : float
        Time of the last frame, the end of what can be known.
    start_sd_s : float
        Standard uncertainty of resin start; it moves all times together.
    frames : tuple of str
    frame_s : ndarray of shape (K,), float
        Their times since resin start.
    wetted_share, wetted_sd : ndarray of shape (K,), float
        Wet share at each of what can be told wet from dry, and its standard uncertainty as that
        of the whole part: it holds what was not seen.
    used : ndarray of shape (K,), bool
    notes : tuple of str
        What happened at each frame, and why it is not used.
    homographies : ndarray of shape (K, 3, 3), float
        From the plan's mm to pixels of each photo, those of a lens without distortion; NaN where
        the part was not found.
    lens : (ndarray of shape (3, 3), ndarray of shape (5,)) or None
        Camera matrix and distortion from there to recorded pixels, as of `vision.scale.plane_map`.
    scale : ScaleSummary
    usable : bool
        False when nothing could be measured; `reason` then says why and how to mend it.
    start_clock_s : float
        Resin start on the frames' clock.
    feeds_seen : tuple of (str, float)
        Each planned feed and the seconds since resin start at which cloth beside it was first
        seen wet; infinity where it never was, NaN where nothing beside it was seen.
    """

    x_mm: FloatArray
    y_mm: FloatArray
    inside: BoolArray
    time_s: FloatArray
    sd_s: FloatArray
    seen: BoolArray
    last_s: float
    start_sd_s: float
    frames: tuple[str, ...]
    frame_s: FloatArray
    wetted_share: FloatArray
    wetted_sd: FloatArray
    used: BoolArray
    notes: tuple[str, ...]
    homographies: FloatArray
    scale: ScaleSummary
    usable: bool = True
    reason: str = ""
    doubts: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    resin_start: str | None = None
    start_clock_s: float = nan
    feeds_seen: tuple[tuple[str, float], ...] = ()
    lens: Lens | None = None
