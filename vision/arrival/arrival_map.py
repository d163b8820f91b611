"""From the stack of canvases to the arrival map."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vision.arrival.edge_profile import edge_offsets
from vision.arrival.frame_strips import Strips, share_out_time, strips
from vision.arrival.lanes import lane_fronts_px
from vision.arrival.rays import find_feed_point, read_rays
from vision.arrival.resin_start import find_start
from vision.arrival.usability import cannot_see
from vision.records import ArrivalMap, BoolArray, FloatArray
from vision.repair.feed import Feed, feed_place, first_front, from_feed_px
from vision.repair.initial_wet import early_change, wet_along_edge, wet_before
from vision.repair.reachability import plausible_change
from vision.wetting.canvas_series import CanvasStack, middle_of
from vision.wetting.change_point import find_wetting


@dataclass(frozen=True)
class Measured:
    """The arrival map of a run and what is needed to judge it.

    Attributes
    ----------
    arrival : ArrivalMap
        On the clock that starts at resin start.
    start_s, start_sd_s : float
        Resin start on the stack's clock and its standard uncertainty.
    edge_sd_mm : float
        Standard uncertainty of the edge's place across the front.
    stack_s : ndarray of shape (K,), float
        Times of the stack since resin start.
    hidden_share : ndarray of shape (K,), float
        Share of the front that was filled rather than seen at each frame of the stack.
    reason : str
        Why the front cannot be measured; empty when it can.
    feed : Feed
        With the point found.
    """

    arrival: ArrivalMap
    start_s: float
    start_sd_s: float
    edge_sd_mm: float
    stack_s: FloatArray
    hidden_share: FloatArray
    reason: str
    feed: Feed


def measure(
    stack: CanvasStack,
    mm_per_px: float,
    feed: Feed,
    start_s: float | None,
    looked_at: BoolArray | None = None,
) -> Measured:
    """Measure when each spot of the panel wetted.

    Parameters
    ----------
    stack : CanvasStack
        At least 4 canvases, times on the run's clock.
    mm_per_px : float
    feed : Feed
    start_s : float or None
        Resin start on the stack's clock if it is known.
    looked_at : ndarray of shape (M, N), bool, optional
        False where the user said not to look.
    """
    look = find_wetting(stack)
    # From the first frame, so that Unix times keep their fractions in single precision.
    zero = float(stack.times_s[0])
    times = np.asarray(stack.times_s, float) - zero
    count = len(times)
    seen = look.seen if looked_at is None else look.seen & looked_at
    place = feed_place(look.change, mm_per_px, feed)
    at_end = middle_of(look.levels[-3:])
    before = wet_before(look.change, look.dry, at_end, place)
    if not feed.is_point:
        before |= wet_along_edge(look.change, look.dry, at_end, look.share, place)
    if before.any():
        early = early_change(look)
        look = replace(look, change=np.where(before, early, look.change))
    change, known = plausible_change(look, seen | before, times, mm_per_px, feed)
    shown = np.where(known, change, np.where(look.seen, look.first_wet, count))
    change = np.maximum(change, first_front(shown, count)).astype(np.int16)
    cut = strips(change, count)
    if feed.is_point and feed.point_mm is None:
        feed = replace(feed, point_mm=_find_point(cut, times, known, mm_per_px))
    distance_px = from_feed_px(stack.shape, mm_per_px, feed)
    offset_px, width_px = edge_offsets(look, change, known & ~before)
    edge_mm = width_px * mm_per_px
    reason = cannot_see(look, change, known, distance_px, edge_mm, not feed.is_point)
    if start_s is not None:
        start, start_sd = start_s - zero, 0.0
    else:
        start, start_sd = _start(cut, times, distance_px, offset_px, mm_per_px, feed)
    arrival_s = share_out_time(cut, times, start, distance_px, offset_px) - start
    arrival = ArrivalMap(
        time_s=np.where(np.isfinite(arrival_s), np.maximum(arrival_s, 0.0), np.inf),
        seen=known,
        by_hand=np.zeros(stack.shape, bool),
        mm_per_px=mm_per_px,
        last_s=float(times[-1] - start),
    )
    edge_sd = mm_per_px * float(np.hypot(0.25 * width_px, 0.15 + look.noise / 2))
    return Measured(
        arrival=arrival,
        start_s=start + zero,
        start_sd_s=start_sd,
        edge_sd_mm=edge_sd,
        stack_s=times - start,
        hidden_share=hidden_share(change, known, count),
        reason=reason,
        feed=feed,
    )


def _find_point(
    cut: Strips, times: FloatArray, known: BoolArray, mm_per_px: float
) -> tuple[float, float]:
    rough = np.where(cut.change < len(times), cut.change.astype(float), np.inf)
    x, y = find_feed_point(rough, known)
    return x * mm_per_px, y * mm_per_px


def _start(
    cut: Strips,
    times: FloatArray,
    distance_px: FloatArray,
    offset_px: FloatArray,
    mm_per_px: float,
    feed: Feed,
) -> tuple[float, float]:
    """Find the start from the fronts at the frames, which do not depend on it."""
    before = float(times[max(int(cut.change.min()) - 1, 0)])
    rough = share_out_time(cut, times, before, distance_px, offset_px)
    if feed.is_point and feed.point_mm is not None:
        point = (feed.point_mm[0] / mm_per_px, feed.point_mm[1] / mm_per_px)
        rays = read_rays(rough, times, point)
        radius = np.median(rays.radius_px, axis=1) * mm_per_px - feed.radius_mm
        front, reach = np.maximum(radius, 0.0), float(np.median(rays.limit_px)) * mm_per_px
    else:
        front = np.median(lane_fronts_px(rough, times), axis=1) * mm_per_px
        reach = rough.shape[1] * mm_per_px
    return find_start(front, times, reach, feed.radius_mm if feed.is_point else 0.0)


def hidden_share(change: np.ndarray, known: BoolArray, count: int) -> FloatArray:
    """Give the share of the front that was filled rather than seen, frame by frame."""
    at = np.bincount(change.ravel(), minlength=count + 1)[:count].astype(float)
    filled = np.bincount(change[~known], minlength=count + 1)[:count].astype(float)
    # The front at frame k lies between what wetted at k and at k + 1.
    both = at + np.append(at[1:], at[-1])
    hidden = filled + np.append(filled[1:], filled[-1])
    return np.where(both > 0, hidden / np.maximum(both, 1), 0.0)
