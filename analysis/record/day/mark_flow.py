"""What the front did at a place of the panel: beside each mark, so that a defect can be traced."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.record.day.day_records import Mark
from vision.common.rounding import rounded
from vision.records import (
    ArrivalMap,
    BoolArray,
    DrySpot,
    FloatArray,
    FrontCurve,
    FrontSummary,
    Tracked,
)

NEAR_MM = 3.0
"""What lies this near to a mark is the mark's place: a finger, not a pin."""
SLOPE_MM = 8.0
"""The local speed is taken over this distance around the mark."""
USUAL = (0.67, 1.5)
"""Shares of the speed usual at that distance within which it is called usual (common practice, no
source)."""
AHEAD_MM = 6.0
"""A front this far from the middle of the lanes is told as ahead or behind."""
FEWEST_CELLS = 12
NOT_MEASURED = "not known: no front was measured here"


@dataclass(frozen=True)
class MarkFlow:
    """A mark, and the front at its place.

    Attributes
    ----------
    mark : Mark
    time_s : float or None
        When the place wetted, seconds from resin start; None where it never did, or nobody saw.
    speed_mm_min, usual_mm_min : float or None
        How fast the front moved there, and in the middle of the lanes at that distance.
    words : str
        All of it in plain words.
    """

    mark: Mark
    time_s: float | None
    speed_mm_min: float | None
    usual_mm_min: float | None
    words: str


def flow_at(mark: Mark, tracked: Tracked) -> MarkFlow:
    """Return what the front did at a mark.

    Parameters
    ----------
    mark : Mark
    tracked : Tracked
        The run.

    Notes
    -----
    Local speed: one over the slope of the arrival time, of the plane of least squares through it
    within 8 mm (by definition of the front as the line of equal arrival).
    """
    arrival, front = tracked.arrival, tracked.front
    if not front.usable:
        return MarkFlow(mark, None, None, None, NOT_MEASURED)
    if arrival is None:
        return MarkFlow(mark, None, None, None, _by_pen(mark, tracked.curve))
    away = _distance_mm(arrival, mark)
    near = away <= max(NEAR_MM, float(away.min()) + arrival.mm_per_px)
    wet = np.isfinite(arrival.time_s)
    if not wet[near].mean() > 0.5:
        return MarkFlow(mark, None, None, None, _dry_words(mark, arrival, front))
    time_s = float(np.median(arrival.time_s[near & wet]))
    gap_s = _photo_gap_s(tracked.curve, time_s)
    when = f"wetted at {time_s / 60:.1f} min (a photo every {max(gap_s / 60, 0.1):.1f} min)"
    if not arrival.seen[near & wet].mean() > 0.5:
        words = f"hidden from the camera: when it wetted is not known (about {time_s / 60:.0f} min"
        return MarkFlow(mark, None, None, None, f"{words} by what lies around it)")
    parts = [when] + ["by points set by hand"] * bool(arrival.by_hand[near].mean() > 0.5)
    around = (away <= max(SLOPE_MM, 3 * arrival.mm_per_px)) & wet & arrival.seen
    speed, usual = local_speed_mm_min(arrival.time_s, arrival.mm_per_px, around), None
    if tracked.curve.flow == "edge":
        usual = _usual_mm_min(arrival, mark.x_mm)
        between_mm = (usual or 0.0) * gap_s / 60
        parts += [_speed_words(speed, usual), _place_words(mark, arrival, time_s, between_mm)]
        parts += _lane_words(mark, front)
    else:
        parts.append(_speed_words(speed, None))
    parts += _beside_dry(mark, front.dry_spots)
    return MarkFlow(mark, time_s, speed, usual, "; ".join(part for part in parts if part))


def _by_pen(mark: Mark, curve: FrontCurve) -> str:
    """Return when the front as a whole passed a mark; pen marks tell no more of a place."""
    known = np.isfinite(curve.front_mean_mm)
    front, time_s = curve.front_mean_mm[known], curve.time_s[known]
    if curve.flow != "edge" or not len(front):
        return NOT_MEASURED
    if mark.x_mm > front.max():
        return "the pen marks end before it: not known"
    after = int(np.argmax(front >= mark.x_mm))
    before = 0.0 if after == 0 else float(time_s[after - 1])
    between = f"between {before / 60:.1f} and {float(time_s[after]) / 60:.1f} min"
    return f"by the pen marks the front passed {between}; how even it was here is not known"


def _distance_mm(arrival: ArrivalMap, mark: Mark) -> FloatArray:
    rows, cols = arrival.time_s.shape
    x = (np.arange(cols) + 0.5) * arrival.mm_per_px - mark.x_mm
    y = (np.arange(rows) + 0.5) * arrival.mm_per_px - mark.y_mm
    return np.hypot(x[None, :], y[:, None])


def _dry_words(mark: Mark, arrival: ArrivalMap, front: FrontSummary) -> str:
    last = f"{arrival.last_s / 60:.0f} min"
    beside = _nearest_dry(mark, front.dry_spots)
    if beside is not None:
        return f"a dry spot: the front went round it and it was still dry at {last}, the last photo"
    return f"still dry at {last}, the last photo: the front was not seen to come here"


def _nearest_dry(mark: Mark, spots: tuple[DrySpot, ...], reach_mm: float = 5.0) -> DrySpot | None:
    """Return the dry spot that a mark lies in or touches."""
    for spot in spots:
        radius = math.sqrt(spot.area_mm2 / math.pi)
        if math.hypot(spot.x_mm - mark.x_mm, spot.y_mm - mark.y_mm) <= 1.5 * radius + reach_mm:
            return spot
    return None


def _beside_dry(mark: Mark, spots: tuple[DrySpot, ...]) -> list[str]:
    spot = _nearest_dry(mark, spots, 10.0)
    if spot is None:
        return []
    return [f"beside a dry spot of {spot.area_mm2 / 100:.1f} cm²"]


def local_speed_mm_min(time_s: FloatArray, mm_per_px: float, around: BoolArray) -> float | None:
    """Return how fast the front moved, across itself; None where too little tells it.

    Parameters
    ----------
    time_s : ndarray of shape (M, N), float
        Arrival.
    mm_per_px : float
    around : ndarray of shape (M, N), bool
        The pixels to take it from, all wet.
    """
    rows, cols = np.nonzero(around)
    if len(rows) < FEWEST_CELLS or np.ptp(rows) == 0 or np.ptp(cols) == 0:
        return None
    plane = np.column_stack([cols * mm_per_px, rows * mm_per_px, np.ones(len(rows))])
    slope, *_ = np.linalg.lstsq(plane, time_s[around], rcond=None)
    steep = float(np.hypot(slope[0], slope[1]))
    return 60.0 / steep if steep > 1e-3 else None


def _usual_mm_min(arrival: ArrivalMap, x_mm: float) -> float | None:
    """Return the speed of the middle of the lanes at a distance from the feed."""
    mm = arrival.mm_per_px
    with np.errstate(invalid="ignore"):
        middle = np.median(arrival.time_s, axis=0)
    x = (np.arange(len(middle)) + 0.5) * mm
    use = (np.abs(x - x_mm) <= max(SLOPE_MM, 3 * mm)) & np.isfinite(middle)
    if np.count_nonzero(use) < 4:
        return None
    steep = float(np.polyfit(x[use], middle[use], 1)[0])
    return 60.0 / steep if steep > 1e-3 else None


def _speed_words(speed: float | None, usual: float | None) -> str:
    if speed is None:
        return "how fast is not known"
    told = f"the front moved {rounded(speed, 0 if speed >= 10 else 1)} mm/min"
    if usual is None:
        return told
    share = speed / usual
    if USUAL[0] <= share <= USUAL[1]:
        return f"{told}, as is usual at that distance"
    return f"{told}, {share:.1f} times the usual speed at that distance"


def _photo_gap_s(curve: FrontCurve, time_s: float) -> float:
    """Return the time between the photos before and after a moment."""
    after = int(np.clip(np.searchsorted(curve.time_s, time_s), 1, len(curve.time_s) - 1))
    return float(curve.time_s[after] - curve.time_s[after - 1])


def _place_words(mark: Mark, arrival: ArrivalMap, time_s: float, between_mm: float) -> str:
    """Return how far the front at the mark was from the middle of the lanes at that moment.

    A lead that is less than the front moves from photo to photo is not told: no photo shows it.
    """
    wet = arrival.time_s <= time_s
    columns = np.arange(1, wet.shape[1] + 1)
    middle_mm = float(np.median((wet * columns).max(axis=1))) * arrival.mm_per_px
    lead = mark.x_mm - middle_mm
    if abs(lead) < max(AHEAD_MM, between_mm) or middle_mm >= 0.98 * arrival.length_mm:
        return ""
    side = "ahead of" if lead > 0 else "behind"
    return f"{rounded(abs(lead))} mm {side} the middle of the front"


def _lane_words(mark: Mark, front: FrontSummary) -> list[str]:
    """Return whether the mark lies in lanes that a racing edge spoiled."""
    lanes = front.clean_lanes_mm
    if not lanes or any(low <= mark.y_mm <= high for low, high in lanes):
        return []
    first, last = lanes[0][0], lanes[-1][1]
    if first < mark.y_mm < last:
        return []
    band = f"y below {first:.0f} mm" if mark.y_mm < first else f"y above {last:.0f} mm"
    return [f"in a lane along the edge that raced ahead ({band})"]
