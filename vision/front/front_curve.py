"""The front curve and its summary, read from the arrival map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.arrival.arrival_map import Measured
from vision.arrival.lanes import lane_fronts_px
from vision.arrival.rays import centred_ellipse, read_rays
from vision.arrival.width_wet import half_and_band_mm
from vision.check.doubts import FRESH
from vision.check.leaps import LEAPT, leapt
from vision.front.dry_spots import find_dry_spots
from vision.front.front_sight import (
    FrontSight,
    alone_mm,
    as_beside_mm,
    edges,
    filled_sd_mm,
    front_sight,
)
from vision.front.race_tracking import RaceTracking, bands_mm, find_race_tracking
from vision.front.stall import Stall, find_stall
from vision.records import (
    ArrivalMap,
    BoolArray,
    DrySpot,
    FloatArray,
    FrontCurve,
    FrontSummary,
    ScaleSummary,
)
from vision.wetting.earlier_step import TwoSteps

END_SHARE = 0.995
"""A lane has reached the end when its front is past this share of the panel."""

FILLED_SHARE = 0.99
"""The panel is filled when this share of its lanes have reached the end."""

MOST_HIDDEN = 0.5
"""A frame with more of its front filled than this is not used for the fit."""

TOO_WIDE = "the front lies somewhere in too broad a hidden place"

WIDEST = 0.02
"""Nor one whose uncertainty is more than this share of the panel: that says no place."""


@dataclass(frozen=True)
class FrameTimes:
    """Names and times of all frames, in time order.

    `time_s` counts from resin start; `notes` says what happened at each; `lost` marks frames
    in which the panel could not be found.
    """

    names: tuple[str, ...]
    time_s: FloatArray
    notes: tuple[str, ...]
    lost: BoolArray


def read_curve(
    measured: Measured, frames: FrameTimes, scale: ScaleSummary, lanes: BoolArray | None = None
) -> tuple[FrontCurve, FrontSummary]:
    """Read the front at every frame and sum the run up.

    Parameters
    ----------
    measured : Measured
    frames : FrameTimes
    scale : ScaleSummary
    lanes : ndarray of shape (M,), bool, optional
        Lanes to read; all when left out.
    """
    if measured.feed.is_point and measured.feed.point_mm is not None:
        return _point_curve(measured, frames, scale)
    return _edge_curve(measured, frames, scale, lanes)


@dataclass(frozen=True)
class _Events:
    """What a run showed beside its front curve."""

    filled: bool
    racing: RaceTracking | None = None
    stall: Stall | None = None
    clean_lanes_mm: tuple[tuple[float, float], ...] = ()


def _edge_curve(
    measured: Measured, frames: FrameTimes, scale: ScaleSummary, lanes: BoolArray | None
) -> tuple[FrontCurve, FrontSummary]:
    arrival = measured.arrival
    rows = np.ones(arrival.time_s.shape[0], bool) if lanes is None else lanes
    fronts_px = lane_fronts_px(arrival.time_s[rows], frames.time_s)
    lane_px = np.broadcast_to(np.flatnonzero(rows) + 0.5, fronts_px.shape)
    sight = front_sight(arrival, fronts_px, lane_px)
    fronts = fronts_px * arrival.mm_per_px
    racing = find_race_tracking(fronts, arrival.length_mm)
    clean = racing.clean
    at_end = fronts >= END_SHARE * arrival.length_mm
    # Where nobody saw it stand, it has not stalled.
    unseen = frames.lost | (sight.at_worst_mm > WIDEST * arrival.length_mm)
    mean_mm = np.where(unseen, np.nan, fronts[:, clean].mean(axis=1))
    stall = find_stall(frames.time_s, mean_mm, arrival.length_mm)
    arrived = np.any(at_end[:, clean], axis=1)
    leaps = leapt(frames.time_s, mean_mm, (mean_mm > 0) & ~arrived)
    doubts = _row_doubts(measured, frames, leaps)
    shown = _shown(frames, doubts)
    # With lanes at the end hardly anything dry is left to tell the light; a racing edge is early.
    sure = np.asarray(_sure(frames, doubts) & ~arrived)
    rated = _rate(measured, scale, fronts, sight, sure)
    used, notes = _judge(frames, rated, doubts, arrived, stall)
    half, band = half_and_band_mm(arrival, rows, frames.time_s)
    least_most = edges(fronts, arrival.mm_per_px, sight, False, shown)
    beside = as_beside_mm(fronts, shown)
    curve = FrontCurve.of(
        "edge",
        frames.names,
        frames.time_s,
        used,
        notes,
        **_over(beside, least_most),
        front_sd_mm=rated.sd_mm,
        wetted_fraction=_wetted(arrival, frames.time_s, rows),
        front_clean_mm=beside[:, clean].mean(axis=1),
        front_clean_sd_mm=rated.sd_mm,
        front_half_mm=half,
        front_band_mm=band,
    )
    filled = bool(at_end[-1].mean() >= FILLED_SHARE)
    events = _Events(filled, racing, stall, _bands(rows, clean, arrival.mm_per_px))
    return curve, _summary(measured, curve, frames, events)


def _bands(rows: BoolArray, clean: BoolArray, mm_per_px: float) -> tuple[tuple[float, float], ...]:
    whole = np.zeros(len(rows), bool)
    whole[np.flatnonzero(rows)[clean]] = True
    return bands_mm(whole, mm_per_px)


def _arc_mm(radius_mm: FloatArray) -> float:
    """Return the usual width of a direction where the front stands."""
    return float(np.mean(radius_mm)) * 2 * np.pi / radius_mm.shape[1] + 1e-9


def _over(
    fronts_mm: FloatArray, least_most: tuple[FloatArray, FloatArray]
) -> dict[str, FloatArray]:
    """Return mean, median, trailing and leading edge of the lanes (or directions), by column."""
    least, most = least_most
    return {
        "front_mean_mm": fronts_mm.mean(axis=1),
        "front_median_mm": np.median(fronts_mm, axis=1),
        "front_min_mm": least,
        "front_max_mm": most,
    }


def _point_curve(
    measured: Measured, frames: FrameTimes, scale: ScaleSummary
) -> tuple[FrontCurve, FrontSummary]:
    arrival = measured.arrival
    point = measured.feed.point_mm
    assert point is not None
    mm = arrival.mm_per_px
    point_px = (point[0] / mm, point[1] / mm)
    rays = read_rays(arrival.time_s, frames.time_s, point_px)
    sight = front_sight(arrival, *rays.places_px(point_px))
    radius = rays.radius_px * mm
    radius = np.maximum(radius, np.where(frames.time_s > 0, measured.feed.radius_mm, 0.0)[:, None])
    ellipses = np.array(
        [centred_ellipse(r, inside) for r, inside in zip(radius, rays.inside, strict=True)]
    )
    major, minor, angle = ellipses.T
    doubts = _row_doubts(measured, frames, np.zeros(len(radius), bool))
    shown = _shown(frames, doubts)
    rated = _rate(measured, scale, radius, sight, _sure(frames, doubts))
    equal = np.where(rated.front_mm > 0, np.sqrt(major * minor), 0.0)
    used, notes = _judge(frames, rated, doubts, ~np.all(rays.inside, axis=1), None)
    curve = FrontCurve.of(
        "point",
        frames.names,
        frames.time_s,
        used & np.isfinite(equal),
        notes,
        **_over(radius, edges(radius, _arc_mm(radius), sight, True, shown)),
        front_sd_mm=rated.sd_mm,
        wetted_fraction=_wetted(arrival, frames.time_s, None),
        front_clean_mm=equal,
        front_clean_sd_mm=rated.sd_mm,
        semi_major_mm=major,
        semi_minor_mm=minor,
        angle_deg=angle,
    )
    filled = bool(np.isfinite(arrival.time_s).mean() >= FILLED_SHARE)
    return curve, _summary(measured, curve, frames, _Events(filled))


def _wetted(arrival: ArrivalMap, time_s: FloatArray, rows: BoolArray | None) -> FloatArray:
    times = arrival.time_s if rows is None else arrival.time_s[rows]
    ordered = np.sort(times, axis=None)
    return np.searchsorted(ordered, time_s, side="right") / ordered.size


@dataclass(frozen=True)
class _Rated:
    """Mean front at each frame with its uncertainty and the share of it that was hidden.

    `wide` says whether it is too uncertain to be of use.
    """

    front_mm: FloatArray
    sd_mm: FloatArray
    hidden: FloatArray
    wide: BoolArray


def _rate(
    measured: Measured,
    scale: ScaleSummary,
    lanes_mm: FloatArray,
    sight: FrontSight,
    sure: BoolArray,
) -> _Rated:
    """Combine what places the edge, what was filled in, and the scale.

    All of a front that its photo does not bear out (not `sure`) lies anywhere in the advance
    between two frames (uniform). What one frame alone shows of its shape may be glare.
    """
    front_mm = lanes_mm.mean(axis=1)
    advance = np.abs(np.gradient(front_mm)) if len(front_mm) > 1 else np.zeros(len(front_mm))
    passed = np.where(sure, sight.hidden_share, 1.0) * advance / np.sqrt(3)
    around = measured.feed.is_point
    filled = filled_sd_mm(lanes_mm, sight, np.where(sure, advance, 0.0), around)
    seen = measured.edge_sd_mm**2 + (0.5 * scale.error_mm) ** 2 + alone_mm(lanes_mm) ** 2
    sd = np.sqrt(seen + np.where(sure, filled, np.maximum(filled, passed)) ** 2)
    at_worst = np.sqrt(seen + sight.at_worst_mm**2 + passed**2)
    wide = np.asarray(at_worst > WIDEST * measured.arrival.length_mm)
    return _Rated(front_mm, np.where(front_mm > 0, sd, 0.1), sight.hidden_share, wide)


def _judge(
    frames: FrameTimes,
    rated: _Rated,
    doubts: Sequence[str],
    at_end: BoolArray,
    stall: Stall | None,
) -> tuple[BoolArray, tuple[str, ...]]:
    """Decide which frames the fit may use, and note why not the others."""
    used = np.ones(len(rated.front_mm), bool)
    notes = []
    for k, note in enumerate(frames.notes):
        why = ""
        if rated.front_mm[k] <= 0:
            why = "before resin start" if frames.time_s[k] <= 0 else "no front yet"
        elif at_end[k]:
            why = "front reached the end"
        elif stall is not None and frames.time_s[k] > stall.since_s:
            why = "front stalled"
        elif frames.lost[k]:
            why = "panel not found in this frame"
        elif rated.hidden[k] > MOST_HIDDEN:
            why = "front mostly hidden"
        else:
            why = doubts[k] or (TOO_WIDE if rated.wide[k] else "")
        used[k] = not why
        notes.append("; ".join(text for text in (why, note) if text))
    return used, tuple(notes)


def _row_doubts(measured: Measured, frames: FrameTimes, leaps: BoolArray) -> list[str]:
    """Return why each frame is not borne out, by the photo measured that is nearest in time."""
    middles = (measured.stack_s[1:] + measured.stack_s[:-1]) / 2
    near = np.searchsorted(middles, frames.time_s)
    doubts = zip((measured.row_doubts[k] for k in near), leaps, strict=True)
    return [why or (LEAPT if leap else "") for why, leap in doubts]


def _sure(frames: FrameTimes, doubts: Sequence[str]) -> BoolArray:
    """Return which frames show the panel, and more than one or two of them this front."""
    return np.array([not doubt for doubt in doubts]) & ~frames.lost


def _shown(frames: FrameTimes, doubts: Sequence[str]) -> BoolArray:
    """Return which frames show their front, be it too new to be used."""
    return np.array([doubt in ("", FRESH) for doubt in doubts]) & ~frames.lost


def _summary(
    measured: Measured, curve: FrontCurve, frames: FrameTimes, events: _Events
) -> FrontSummary:
    racing, stall = events.racing, events.stall
    # A run that is not understood as a whole names no place that stayed dry.
    spots = () if measured.doubts else find_dry_spots(measured.arrival, curve.flow)
    return FrontSummary(
        usable=not measured.reason,
        reason=measured.reason,
        frames=len(curve.frames),
        frames_used=int(np.count_nonzero(curve.used)),
        resin_start_sd_s=measured.start_sd_s,
        length_reached_mm=float(curve.front_mean_mm.max(initial=0.0)),
        filled=events.filled,
        stalled_at_mm=None if stall is None else stall.front_mm,
        stalled_at_s=None if stall is None else stall.since_s,
        race_tracking_mm=0.0 if racing is None else racing.lead_mm,
        clean_lanes_mm=events.clean_lanes_mm,
        half_behind_mm=_usual(curve.front_mean_mm - curve.front_half_mm, curve.used),
        band_mm=_usual(curve.front_band_mm, curve.used),
        dry_spots=spots,
        warnings=(*_warn_of_flow(racing, spots, stall), *_warn_of_sight(measured, frames)),
        doubts=measured.doubts,
    )


def _usual(values: FloatArray, used: BoolArray) -> float | None:
    """Return the median of what is known over the used rows; None where nothing is."""
    known = values[used & np.isfinite(values)]
    return float(np.median(known)) if known.size else None


def _warn_of_flow(
    racing: RaceTracking | None, spots: Sequence[DrySpot], stall: Stall | None
) -> tuple[str, ...]:
    warnings = []
    if racing is not None and racing.sides:
        warnings.append(
            f"race-tracking along the edge at {' and '.join(racing.sides)}: resin there is up to "
            f"{racing.lead_mm:.0f} mm ahead of the middle; the fit leaves those lanes out"
        )
    if spots:
        warnings.append(f"{len(spots)} dry spot{'s' if len(spots) > 1 else ''} behind the front")
    if stall is not None:
        warnings.append(stall.warning)
    return tuple(warnings)


def _warn_of_sight(measured: Measured, frames: FrameTimes) -> tuple[str, ...]:
    warnings = []
    filled_share = 1.0 - float(np.mean(measured.arrival.seen | measured.arrival.by_hand))
    if filled_share > 0.05:
        warnings.append(
            f"{filled_share:.0%} of the panel was hidden or in glare all through: the front there "
            "is guessed from what lies around it (dashed in the picture)"
        )
    if np.any(frames.lost):
        count = np.count_nonzero(frames.lost)
        pictures = "1 picture" if count == 1 else f"{count} pictures"
        warnings.append(f"the panel could not be found in {pictures}")
    if measured.steps is not None:
        warnings.append(_two_steps(measured.steps, measured.arrival))
    if measured.arrival.by_hand.any():
        told = f": {measured.by_hand}" if measured.by_hand else ""
        warnings.append(f"the front was corrected by hand (fix.csv){told}")
    return tuple(warnings)


def _beside(ratio: float) -> str:
    """Write how strongly the first change shows beside the second.

    Examples
    --------
    >>> _beside(0.19), _beside(1.0), _beside(1.6)
    ('the first is fainter: 19% of the second', 'both show alike', 'the first is the stronger')
    """
    if 0.9 <= ratio <= 1.1:
        return "both show alike"
    if ratio > 1.0:
        return "the first is the stronger"
    return f"the first is fainter: {ratio:.0%} of the second"


def _two_steps(steps: TwoSteps, arrival: ArrivalMap) -> str:
    """Write that two changes passed over the panel, and which of them was followed."""
    lag_mm = steps.earlier.lag_share * arrival.time_s.shape[1] * arrival.mm_per_px
    told = (
        f"two changes passed over the panel, the second up to {lag_mm:.0f} mm behind the first "
        f"({_beside(steps.earlier.ratio)}): "
    )
    if steps.is_first_followed:
        return told + (
            'the first is followed; if the second is the resin, write [frames] follow = "second" '
            "in panel.toml"
        )
    return told + "the second is followed"


def blank_curve(
    flow: str, frames: Sequence[str], time_s: FloatArray, reason: str
) -> tuple[FrontCurve, FrontSummary]:
    """Return the empty curve of a run that could not be measured: no number beats a wrong one."""
    count = len(frames)
    notes = ("front not measured",) * count
    curve = FrontCurve.of(flow, frames, time_s, np.zeros(count, bool), notes)
    return curve, FrontSummary(usable=False, reason=reason, frames=count, frames_used=0)
