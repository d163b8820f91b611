"""The front curve and its summary, read from the arrival map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.arrival.arrival_map import Measured
from vision.arrival.lanes import lane_fronts_px
from vision.arrival.rays import centred_ellipse, read_rays
from vision.front.dry_spots import find_dry_spots
from vision.front.race_tracking import Racing, bands_mm, find_racing
from vision.front.stall import find_stall
from vision.records import (
    ArrivalMap,
    BoolArray,
    FloatArray,
    FrontCurve,
    FrontSummary,
    ScaleSummary,
)

END_SHARE = 0.995
"""A lane has reached the end when its front is past this share of the panel."""

FILLED_SHARE = 0.99
"""The panel is filled when this share of its lanes have reached the end."""

MOST_HIDDEN = 0.5
"""A frame with more of its front filled than this is not used for the fit."""


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


def _edge_curve(
    measured: Measured, frames: FrameTimes, scale: ScaleSummary, lanes: BoolArray | None
) -> tuple[FrontCurve, FrontSummary]:
    arrival = measured.arrival
    rows = np.ones(arrival.time_s.shape[0], bool) if lanes is None else lanes
    fronts_px = lane_fronts_px(arrival.time_s[rows], frames.time_s)
    fronts = fronts_px * arrival.mm_per_px
    racing = find_racing(fronts, arrival.length_mm)
    clean = fronts[:, racing.clean]
    mean, clean_mean = fronts.mean(axis=1), clean.mean(axis=1)
    reached = (fronts >= END_SHARE * arrival.length_mm).mean(axis=1)
    clean_reached = np.any(clean >= END_SHARE * arrival.length_mm, axis=1)
    stall = find_stall(frames.time_s, clean_mean, arrival.length_mm)
    hidden = _hidden_at(measured, frames.time_s)
    sd = _front_sd(measured, scale, mean, frames.time_s, hidden)
    used, notes = _judge(frames, mean, np.asarray(clean_reached), hidden, stall)
    nan = np.full(len(mean), np.nan)
    curve = FrontCurve(
        flow="edge",
        frames=frames.names,
        time_s=frames.time_s,
        front_mean_mm=mean,
        front_median_mm=np.median(fronts, axis=1),
        front_min_mm=fronts.min(axis=1),
        front_max_mm=fronts.max(axis=1),
        front_sd_mm=sd,
        wetted_fraction=_wetted(arrival, frames.time_s, rows),
        front_clean_mm=clean_mean,
        front_clean_sd_mm=sd,
        semi_major_mm=nan,
        semi_minor_mm=nan,
        angle_deg=nan,
        used=used,
        notes=notes,
    )
    summary = _summary(measured, curve, racing, stall, bool(reached[-1] >= FILLED_SHARE))
    spots = find_dry_spots(_rows_only(arrival, rows), fronts_px[-1])
    shift = float(np.argmax(rows)) * arrival.mm_per_px
    spots = tuple(replace(spot, y_mm=spot.y_mm + shift) for spot in spots)
    return curve, replace(
        summary,
        dry_spots=spots,
        clean_lanes_mm=_bands(rows, racing.clean, arrival.mm_per_px),
        warnings=_warnings(racing, spots, stall, measured, frames),
    )


def _rows_only(arrival: ArrivalMap, rows: BoolArray) -> ArrivalMap:
    return replace(
        arrival,
        time_s=arrival.time_s[rows],
        seen=arrival.seen[rows],
        by_hand=arrival.by_hand[rows],
    )


def _bands(rows: BoolArray, clean: BoolArray, mm_per_px: float) -> tuple[tuple[float, float], ...]:
    whole = np.zeros(len(rows), bool)
    whole[np.flatnonzero(rows)[clean]] = True
    return bands_mm(whole, mm_per_px)


def _point_curve(
    measured: Measured, frames: FrameTimes, scale: ScaleSummary
) -> tuple[FrontCurve, FrontSummary]:
    arrival = measured.arrival
    point = measured.feed.point_mm
    assert point is not None
    mm = arrival.mm_per_px
    rays = read_rays(arrival.time_s, frames.time_s, (point[0] / mm, point[1] / mm))
    radius = rays.radius_px * mm
    radius = np.maximum(radius, np.where(frames.time_s > 0, measured.feed.radius_mm, 0.0)[:, None])
    fits = np.array(
        [centred_ellipse(r, inside) for r, inside in zip(radius, rays.inside, strict=True)]
    )
    mean = radius.mean(axis=1)
    equal = np.sqrt(fits[:, 0] * fits[:, 1])
    equal = np.where(mean > 0, equal, 0.0)
    met_edge = ~np.all(rays.inside, axis=1)
    hidden = _hidden_at(measured, frames.time_s)
    sd = _front_sd(measured, scale, mean, frames.time_s, hidden)
    used, notes = _judge(frames, mean, np.asarray(met_edge), hidden, None)
    used &= np.isfinite(equal)
    curve = FrontCurve(
        flow="point",
        frames=frames.names,
        time_s=frames.time_s,
        front_mean_mm=mean,
        front_median_mm=np.median(radius, axis=1),
        front_min_mm=radius.min(axis=1),
        front_max_mm=radius.max(axis=1),
        front_sd_mm=sd,
        wetted_fraction=_wetted(arrival, frames.time_s, None),
        front_clean_mm=equal,
        front_clean_sd_mm=sd,
        semi_major_mm=fits[:, 0],
        semi_minor_mm=fits[:, 1],
        angle_deg=fits[:, 2],
        used=used,
        notes=notes,
    )
    racing = Racing(0.0, (), np.ones(arrival.time_s.shape[0], bool))
    filled = bool(np.isfinite(arrival.time_s).mean() >= FILLED_SHARE)
    summary = _summary(measured, curve, racing, None, filled)
    return curve, replace(summary, warnings=_warnings(racing, (), None, measured, frames))


def _wetted(arrival: ArrivalMap, time_s: FloatArray, rows: BoolArray | None) -> FloatArray:
    times = arrival.time_s if rows is None else arrival.time_s[rows]
    ordered = np.sort(times, axis=None)
    return np.searchsorted(ordered, time_s, side="right") / ordered.size


def _hidden_at(measured: Measured, time_s: FloatArray) -> FloatArray:
    stack_times = measured.stack_s
    return np.interp(time_s, stack_times, measured.hidden_share)


def _front_sd(
    measured: Measured,
    scale: ScaleSummary,
    front_mm: FloatArray,
    time_s: FloatArray,
    hidden: FloatArray,
) -> FloatArray:
    """Combine what places the edge, what was hidden, and the scale.

    A hidden stretch of front may be off by about the advance between two frames.
    """
    advance = np.abs(np.gradient(front_mm, np.maximum.accumulate(time_s) + 1e-6 * time_s.size))
    gap = np.median(np.diff(measured.stack_s)) if len(measured.stack_s) > 1 else 0.0
    blind = hidden * np.minimum(advance * gap, 0.1 * max(float(front_mm.max()), 1.0))
    local = np.sqrt(measured.edge_sd_mm**2 + blind**2 + (0.5 * scale.error_mm) ** 2)
    return np.where(front_mm > 0, local, 0.1)


def _judge(
    frames: FrameTimes,
    front_mm: FloatArray,
    at_end: BoolArray,
    hidden: FloatArray,
    stall: tuple[float, float] | None,
) -> tuple[BoolArray, tuple[str, ...]]:
    used = np.ones(len(front_mm), bool)
    notes = []
    for k, note in enumerate(frames.notes):
        why = ""
        if front_mm[k] <= 0:
            why = "before resin start" if frames.time_s[k] <= 0 else "no front yet"
        elif at_end[k]:
            why = "front reached the end"
        elif stall is not None and frames.time_s[k] > stall[1]:
            why = "front stalled"
        elif frames.lost[k]:
            why = "panel not found in this frame"
        elif hidden[k] > MOST_HIDDEN:
            why = "front mostly hidden"
        used[k] = not why
        notes.append("; ".join(text for text in (why, note) if text))
    return used, tuple(notes)


def _summary(
    measured: Measured,
    curve: FrontCurve,
    racing: Racing,
    stall: tuple[float, float] | None,
    filled: bool,
) -> FrontSummary:
    return FrontSummary(
        usable=not measured.reason,
        reason=measured.reason,
        frames=len(curve.frames),
        frames_used=int(np.count_nonzero(curve.used)),
        resin_start=None,
        resin_start_sd_s=measured.start_sd_s,
        length_reached_mm=float(curve.front_mean_mm.max(initial=0.0)),
        filled=filled,
        stalled_at_mm=None if stall is None else stall[0],
        stalled_at_s=None if stall is None else stall[1],
        race_tracking_mm=racing.lead_mm,
        clean_lanes_mm=(),
    )


def _warnings(
    racing: Racing,
    spots: Sequence[object],
    stall: tuple[float, float] | None,
    measured: Measured,
    frames: FrameTimes,
) -> tuple[str, ...]:
    told = []
    if racing.sides:
        told.append(
            f"race-tracking along {' and '.join(racing.sides)}: the edge leads the middle by up "
            f"to {racing.lead_mm:.0f} mm; the fit leaves those lanes out"
        )
    if spots:
        told.append(f"{len(spots)} dry spot{'s' if len(spots) > 1 else ''} behind the front")
    if stall is not None:
        told.append(f"the front stalled at {stall[0]:.0f} mm, {stall[1] / 60:.1f} min after start")
    filled_share = 1.0 - float(np.mean(measured.arrival.seen | measured.arrival.by_hand))
    if filled_share > 0.05:
        told.append(
            f"{filled_share:.0%} of the panel was never seen clearly and is filled from around it"
        )
    if np.any(frames.lost):
        told.append(f"the panel could not be found in {np.count_nonzero(frames.lost)} frames")
    if measured.arrival.by_hand.any():
        told.append("the front was corrected by hand (fix.csv)")
    return tuple(told)
