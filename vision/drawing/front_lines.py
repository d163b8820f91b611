"""Front lines: where the flow front stood at chosen times, as polylines in panel mm."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage.measure import find_contours

from vision.arrival.line_doubt import line_sd_mm
from vision.front.dry_spots import dry_spot_mask
from vision.records import ArrivalMap, BoolArray, FloatArray

STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 18000, 36000)
SMOOTH_MM = 1.5
SMALL_LOOP_MM2 = 150.0
SHORT_PIECE_MM = 8.0

ROUGH_MM = 5.0
"""A line that may be off by more than this (95 %) is only about where the front was: twice what a
technician's pen mark is off by. Common practice, no source."""
Z_95 = 1.96


@dataclass(frozen=True)
class FrontLine:
    """One piece of a front line, or the outline of one dry spot.

    Attributes
    ----------
    time_s : float
        Seconds since resin start; NaN for a dry spot.
    points_mm : ndarray of shape (N, 2), float
        x (along the flow) and y (across), in mm. A closed piece repeats its first point.
    closed : bool
        Whether it is a loop.
    dry : bool
        Whether it is the outline of a dry spot.
    seen : ndarray of shape (N,), bool
        False at points where the arrival map was filled in from around.
    sd_mm : float
        Standard uncertainty of the mean of all pieces of this time (`vision.arrival.line_doubt`);
        NaN where it is not known, and for a dry spot.
    """

    time_s: float
    points_mm: FloatArray
    closed: bool
    dry: bool
    seen: BoolArray
    sd_mm: float = math.nan

    @property
    def off_mm(self) -> float:
        """How far the line may be off, on 95 %; NaN where it is not known."""
        return Z_95 * self.sd_mm

    @property
    def is_rough(self) -> bool:
        """Whether the line is only about where the front was."""
        return self.off_mm > ROUGH_MM

    @property
    def label(self) -> str:
        """What to write on the line."""
        if self.dry:
            return "dry"
        return f"about {time_label(self.time_s)}" if self.is_rough else time_label(self.time_s)

    @property
    def length_mm(self) -> float:
        """Length of the polyline."""
        return float(np.hypot(*np.diff(self.points_mm, axis=0).T).sum())


def time_label(time_s: float) -> str:
    """Write a time as a shop would: ``6 min``, ``45 s``, ``2:30 min``.

    Examples
    --------
    >>> time_label(360), time_label(45), time_label(150)
    ('6 min', '45 s', '2:30 min')
    """
    seconds = round(time_s)
    if seconds < 60:
        return f"{seconds} s"
    minutes, rest = divmod(seconds, 60)
    return f"{minutes}:{rest:02d} min" if rest else f"{minutes} min"


def choose_times_s(last_s: float, wanted: int = 8) -> list[float]:
    """Choose round times for the front lines.

    Parameters
    ----------
    last_s : float
        End of the run in seconds since resin start.
    wanted : int
        About how many lines.

    Returns
    -------
    times_s : list of float
        Multiples of one round step (seconds for a fast run, else minutes), none after `last_s`.
        Empty when the run has no length.

    Examples
    --------
    >>> choose_times_s(1163.0)
    [120.0, 240.0, 360.0, 480.0, 600.0, 720.0, 840.0, 960.0, 1080.0]
    """
    if not (math.isfinite(last_s) and last_s >= STEPS_S[0]):
        return []
    counts = [(step, int(last_s // step)) for step in STEPS_S if last_s >= step]
    step, count = min(counts, key=lambda pair: abs(math.log(pair[1] / wanted)))
    return [float(step * (i + 1)) for i in range(count)]


def front_lines(
    arrival: ArrivalMap,
    times_s: list[float] | FloatArray,
    *,
    flow: str = "edge",
    smooth_mm: float = SMOOTH_MM,
) -> list[FrontLine]:
    """Draw the front at each time, and the outline of each dry spot, from the arrival map.

    Parameters
    ----------
    arrival : ArrivalMap
        When each spot wetted.
    times_s : sequence of float
        Seconds since resin start; those before 0 or after the last frame give no line.
    flow : {"edge", "point"}
        See `vision.front.dry_spots.dry_spot_mask`.
    smooth_mm : float
        Standard deviation of the smoothing along the panel, in mm; 0 for none.

    Returns
    -------
    lines : list of FrontLine
        In time order, the longest piece of each time first; then the dry spots. Loops that
        enclose less than 150 mm2 and pieces shorter than 8 mm are left out. A line stops at the
        edge of a dry spot.

    Notes
    -----
    Method: level sets by marching squares (Lorensen and Cline 1987, in two dimensions) of the
    square root of the arrival time, since x**2 grows evenly in time behind an edge feed under
    constant conditions (Darcy's law with a sharp front): the root is then linear in x, so neither
    interpolation nor smoothing moves a line.
    """
    dry = dry_spot_mask(arrival, flow)
    root, margin = _root_field(arrival, dry, smooth_mm)
    lines: list[FrontLine] = []
    times = np.asarray(list(times_s), float)
    doubt = arrival.doubt
    sds = np.full(times.shape, math.nan) if doubt is None else line_sd_mm(doubt, times)
    for time_s, sd_mm in zip(times.tolist(), sds.tolist(), strict=True):
        if not 0 < time_s <= arrival.last_s:
            continue
        pieces = []
        for contour in find_contours(root, math.sqrt(time_s)):
            found = _pieces(contour - margin, arrival, dry, time_s)
            pieces += [replace(piece, sd_mm=sd_mm) for piece in found]
        lines += sorted(pieces, key=lambda piece: -piece.length_mm)
    return lines + _dry_outlines(arrival, dry)


def _root_field(arrival: ArrivalMap, dry: BoolArray, smooth_mm: float) -> tuple[FloatArray, int]:
    """Fill the holes of the square root of arrival and smooth it, with a margin all round."""
    never = ~np.isfinite(arrival.time_s)
    root = np.sqrt(np.clip(np.where(never, 0.0, arrival.time_s), 0.0, None)).astype(float)
    sigma_px = max(smooth_mm, 0.0) / arrival.mm_per_px
    margin = min(max(1, math.ceil(4 * sigma_px)), min(root.shape) - 1)
    if never.all():
        return np.full(np.add(root.shape, 2 * margin), np.inf), margin
    if never.any():
        distance_px, (rows, cols) = ndimage.distance_transform_edt(never, return_indices=True)
        nearest = root[rows, cols]
        beyond = max(math.sqrt(max(arrival.last_s, 0.0)), float(root[~never].max()))
        step = max(beyond / max(root.shape), 1e-9)
        root = np.where(never & ~dry, beyond + step * distance_px, nearest)
    padded = np.pad(root, margin, mode="reflect", reflect_type="odd")
    if sigma_px > 0:
        padded = ndimage.gaussian_filter(padded, sigma_px, mode="nearest")
    return padded, margin


def _pieces(
    contour: FloatArray, arrival: ArrivalMap, dry: BoolArray, time_s: float
) -> list[FrontLine]:
    """Cut one contour (row, col) to the panel and out of dry spots; drop what is tiny."""
    points_mm = (contour[:, ::-1] + 0.5) * arrival.mm_per_px
    size_mm = np.array([arrival.length_mm, arrival.width_mm])
    inside = np.all((points_mm >= 0) & (points_mm <= size_mm), axis=1)
    inside &= ~_at(dry, contour)
    closed = bool(np.array_equal(contour[0], contour[-1]))
    if closed:  # start a broken loop where it is broken, a whole one nearest the feed edge
        turn = int(np.argmin(points_mm[:, 0] if inside.all() else inside))
        order = np.r_[turn : len(contour) - 1, 0 : turn + 1]
        contour, points_mm, inside = contour[order], points_mm[order], inside[order]
    runs, closed = _runs(inside), closed and bool(inside.all())
    seen = _at(arrival.seen, contour)
    lines = [FrontLine(time_s, points_mm[run], closed, False, seen[run]) for run in runs]
    return [line for line in lines if _worth_drawing(line)]


def _runs(flags: BoolArray) -> list[NDArray[np.intp]]:
    """Return the index runs where `flags` is true, at least two long."""
    index = np.flatnonzero(flags)
    runs = np.split(index, np.flatnonzero(np.diff(index) > 1) + 1)
    return [run for run in runs if len(run) > 1]


def _at(mask: BoolArray, contour: FloatArray) -> BoolArray:
    """Read a mask at contour points (row, col)."""
    rows, cols = np.rint(contour).astype(int).T
    return mask[rows.clip(0, mask.shape[0] - 1), cols.clip(0, mask.shape[1] - 1)]


def _worth_drawing(line: FrontLine) -> bool:
    if line.closed:
        return enclosed_mm2(line.points_mm) >= SMALL_LOOP_MM2
    return line.length_mm >= SHORT_PIECE_MM


def enclosed_mm2(points_mm: FloatArray) -> float:
    """Area inside a closed polyline, by the shoelace formula.

    Examples
    --------
    >>> enclosed_mm2(np.array([[0, 0], [4, 0], [4, 3], [0, 3], [0, 0]]))
    12.0
    """
    x, y = points_mm.T
    return abs(float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))) / 2


def _dry_outlines(arrival: ArrivalMap, dry: BoolArray) -> list[FrontLine]:
    """Outline each dry spot, half-way between its pixels and the wet ones."""
    lines = []
    for contour in find_contours(np.pad(dry.astype(float), 1), 0.5):
        points_mm = (contour[:, ::-1] - 0.5) * arrival.mm_per_px
        seen = np.ones(len(points_mm), dtype=bool)
        lines.append(FrontLine(math.nan, points_mm, True, True, seen))
    return sorted(lines, key=lambda line: -enclosed_mm2(line.points_mm))
