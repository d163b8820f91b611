"""The records that pass between the rooms. All are frozen; change with ``dataclasses.replace``.

Arrays are (row, col); on a canvas row runs along y (across the panel) and col along x (along
the flow, from the feed edge). Pixel centres of a photo stand at whole numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import nan
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating[Any]]
"""Of lengths, times, shares: floating point numbers."""

BoolArray = NDArray[np.bool_]
"""Of yes and no: a mask."""

IntArray = NDArray[np.integer[Any]]
"""Of whole numbers: frames, labels, counts."""


@dataclass(frozen=True)
class Frame:
    """One photo or video frame, upright, with its time.

    Attributes
    ----------
    index : int
        Place in the time order, from 0.
    name : str
        File name, or ``run.mp4@12.40s`` for a video.
    clock_s : float
        Seconds on the run's clock. With capture times this is Unix time read as if the wall
        clock were UTC (or true UTC where the photo gives its offset); else seconds from the
        first frame.
    image : ndarray of shape (H, W, 3), uint8
        Blue, green, red.
    """

    index: int
    name: str
    clock_s: float
    image: NDArray[np.uint8]


@dataclass(frozen=True)
class FrontDoubt:
    """How sure the fronts are on which an arrival map rests.

    Attributes
    ----------
    start_sd_s : float
        Standard uncertainty of resin start, from which all its times count.
    time_s : ndarray of shape (K,), float
        Times of the photos since resin start, increasing.
    front_mm, sd_mm : ndarray of shape (K,), float
        Mean front in each, and its standard uncertainty.
    """

    start_sd_s: float
    time_s: FloatArray
    front_mm: FloatArray
    sd_mm: FloatArray


@dataclass(frozen=True)
class ArrivalMap:
    """Seconds since resin start at each spot of the panel: the one product of vision.

    Attributes
    ----------
    time_s : ndarray of shape (M, N), float
        Arrival time; infinity where the spot never wetted while it was watched.
    seen : ndarray of shape (M, N), bool
        False where the spot was never seen well enough and was filled from around it.
    by_hand : ndarray of shape (M, N), bool
        True where the user's own points decided.
    mm_per_px : float
        Pixel (row, col) is centred at x = (col + 0.5) mm_per_px, y = (row + 0.5) mm_per_px.
    last_s : float
        Time of the last frame, the end of what can be known.
    doubt : FrontDoubt or None
        How sure the fronts are on which it rests; None where that is not known.
    """

    time_s: FloatArray
    seen: BoolArray
    by_hand: BoolArray
    mm_per_px: float
    last_s: float
    doubt: FrontDoubt | None = None

    @property
    def length_mm(self) -> float:
        """Panel length along the flow."""
        return self.time_s.shape[1] * self.mm_per_px

    @property
    def width_mm(self) -> float:
        """Panel width across the flow."""
        return self.time_s.shape[0] * self.mm_per_px


@dataclass(frozen=True)
class DrySpot:
    """A patch that stayed dry behind the front."""

    x_mm: float
    y_mm: float
    area_mm2: float


@dataclass(frozen=True)
class FrontCurve:
    """Front position at each frame; every array has one entry per frame, in time order.

    Attributes
    ----------
    flow : {"edge", "point"}
        Edge feed: distances from the feed edge over lanes one canvas pixel wide. Point feed:
        radii from the feed point over 360 directions.
    frames : tuple of str
        Frame names, or ``mark 3`` for pen marks.
    time_s : ndarray, float
        Seconds since resin start.
    front_mean_mm, front_median_mm, front_min_mm, front_max_mm : ndarray, float
        Over the lanes (or directions), of the leading wet position in each.
    front_sd_mm : ndarray, float
        Standard uncertainty of the mean (measurement, not spread between lanes).
    wetted_fraction : ndarray, float
        Wet share of the panel's area.
    front_clean_mm, front_clean_sd_mm : ndarray, float
        Mean over the lanes that race-tracking has not spoiled, for the fit. Point feed: the
        equivalent radius sqrt(a b) of the fitted ellipse.
    semi_major_mm, semi_minor_mm, angle_deg : ndarray, float
        Point feed only: the ellipse, angle from +x towards +y. NaN for edge feed.
    front_half_mm : ndarray, float
        Edge feed from photos only: how far half of the width's cloth is wet.
    front_band_mm : ndarray, float
        The same: length over which the wet share of the width falls from nine tenths to one.
    used : ndarray, bool
        Whether the fit may use the row.
    notes : tuple of str
        Why not, or what happened at that frame; may be empty text.
    """

    flow: str
    frames: tuple[str, ...]
    time_s: FloatArray
    front_mean_mm: FloatArray
    front_median_mm: FloatArray
    front_min_mm: FloatArray
    front_max_mm: FloatArray
    front_sd_mm: FloatArray
    wetted_fraction: FloatArray
    front_clean_mm: FloatArray
    front_clean_sd_mm: FloatArray
    semi_major_mm: FloatArray
    semi_minor_mm: FloatArray
    angle_deg: FloatArray
    front_half_mm: FloatArray
    front_band_mm: FloatArray
    used: BoolArray
    notes: tuple[str, ...]

    @classmethod
    def of(
        cls,
        flow: str,
        frames: Sequence[str],
        time_s: FloatArray,
        used: BoolArray,
        notes: Sequence[str],
        **numbers: FloatArray,
    ) -> FrontCurve:
        """Build a curve from what is known; numbers that are left out are NaN.

        Parameters
        ----------
        flow, frames, time_s, used, notes
            As the attributes.
        **numbers : ndarray of shape (K,), float
            Any of the other attributes, by name.

        Raises
        ------
        ValueError
            If a name is not of this record, or the lengths differ.

        Examples
        --------
        >>> marks = FrontCurve.of(
        ...     "edge", ["mark 1"], np.array([60.0]), np.array([True]), [""],
        ...     front_mean_mm=np.array([85.0]),
        ... )
        >>> marks.front_mean_mm, marks.angle_deg
        (array([85.]), array([nan]))
        """
        unknown = set(numbers) - set(CURVE_NUMBERS)
        if unknown:
            raise ValueError(f"not columns of a front curve: {', '.join(sorted(unknown))}")
        columns = {
            name: np.asarray(numbers[name], float) if name in numbers else np.full(len(frames), nan)
            for name in CURVE_NUMBERS
        }
        given = {"time_s": time_s, "used": used, "notes": notes} | columns
        short = [name for name, values in given.items() if len(values) != len(frames)]
        if short:
            raise ValueError(f"{', '.join(short)}: must have one entry per frame ({len(frames)})")
        return cls(
            flow=flow,
            frames=tuple(frames),
            time_s=np.asarray(time_s, float),
            used=np.asarray(used, bool),
            notes=tuple(notes),
            **columns,
        )


CURVE_NUMBERS = (
    "front_mean_mm",
    "front_median_mm",
    "front_min_mm",
    "front_max_mm",
    "front_sd_mm",
    "wetted_fraction",
    "front_clean_mm",
    "front_clean_sd_mm",
    "semi_major_mm",
    "semi_minor_mm",
    "angle_deg",
    "front_half_mm",
    "front_band_mm",
)
"""The columns of a `FrontCurve` that hold measured numbers."""


@dataclass(frozen=True)
class FrontSummary:
    """What the whole run showed: the ``front`` part of results.json.

    Attributes
    ----------
    usable : bool
        False when no front could be measured; `reason` then says why and how to mend it.
    resin_start : str or None
        ISO time when the frames carry clock times.
    resin_start_sd_s : float
        Standard uncertainty of the start; 0 when the user gave it.
    clean_lanes_mm : tuple of (float, float)
        Bands of y whose lanes the fit uses.
    half_behind_mm, band_mm : float or None
        Edge feed: how far the place up to which half of the width is wet lies behind the mean of
        the lanes' leading positions, and the length of the band from wet to dry; medians over
        the used rows. None where they are not known.
    doubts : tuple of str
        Why the reading as a whole may be wrong: what the photos show and it does not explain.
    unexplained_picture : str
        Name of the picture in the results that shows where; empty where there is none.
    """

    usable: bool
    reason: str
    frames: int
    frames_used: int
    resin_start: str | None = None
    resin_start_sd_s: float = 0.0
    length_reached_mm: float = 0.0
    filled: bool = False
    stalled_at_mm: float | None = None
    stalled_at_s: float | None = None
    race_tracking_mm: float | None = 0.0
    clean_lanes_mm: tuple[tuple[float, float], ...] = ()
    half_behind_mm: float | None = None
    band_mm: float | None = None
    dry_spots: tuple[DrySpot, ...] = ()
    warnings: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    unexplained_picture: str = ""

    @property
    def race_share(self) -> float:
        """Lead of the leading edge over the middle, as a share of the length reached."""
        if self.race_tracking_mm is None or not self.length_reached_mm > 0:
            return 0.0
        return self.race_tracking_mm / self.length_reached_mm


@dataclass(frozen=True)
class ScaleSummary:
    """How pixels became millimetres: the ``scale`` part of results.json.

    `error_mm` is the expected position error on the panel; `relative_sd` the standard
    uncertainty of lengths along the flow as a share, which enters permeability twice. `question`
    says what of the scale is possible but not likely; it is empty where nothing is.
    """

    method: str
    mm_per_px: float
    error_mm: float
    relative_sd: float
    length_mm: float
    width_mm: float
    assumption: str = ""
    question: str = ""


@dataclass(frozen=True)
class SecondFront:
    """The front of the other of two changes that passed over the panel: the one not followed.

    Attributes
    ----------
    which : {"first", "second"}
        Which of the two, in time.
    time_s : ndarray of shape (K,), float
        Seconds since resin start.
    front_mm, sd_mm : ndarray of shape (K,), float
        Usual distance from the feed over the width (radius with a point feed), and its standard
        uncertainty.
    """

    which: str
    time_s: FloatArray
    front_mm: FloatArray
    sd_mm: FloatArray


@dataclass(frozen=True)
class Tracked:
    """All that vision hands on for one panel.

    `settings_stamp` stands for the settings it was tracked with; empty for pictures held in
    memory. `second` is the front of the other change where two passed over the panel.
    """

    arrival: ArrivalMap | None
    curve: FrontCurve
    front: FrontSummary
    scale: ScaleSummary
    frame_notes: Sequence[str] = field(default_factory=tuple)
    settings_stamp: str = ""
    second: SecondFront | None = None
