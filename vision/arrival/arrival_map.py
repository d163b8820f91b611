"""From the stack of canvases to the arrival map."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.arrival.edge_profile import edge_offsets
from vision.arrival.frame_strips import Strips, interpolate_arrival, measure_strips
from vision.arrival.lanes import lane_fronts_px
from vision.arrival.rays import find_feed_point, read_rays
from vision.arrival.resin_start import find_start
from vision.arrival.usability import cannot_see
from vision.check.doubts import Unexplained, find_unexplained, row_doubts, run_doubts
from vision.check.redraw import redraw
from vision.check.second_front import read_second_front
from vision.records import ArrivalMap, BoolArray, FloatArray, IntArray, SecondFront
from vision.repair.dry_patches import find_doubtful_dry
from vision.repair.feed import Feed, FeedOnCanvas, first_front
from vision.repair.initial_wet import find_initial_wet
from vision.repair.inpaint import Course, Sighting
from vision.repair.reachability import reject_implausible
from vision.settings.repair_settings import StartSettings
from vision.settings.tracker_settings import TrackerSettings
from vision.wetting.canvas_series import CanvasStack
from vision.wetting.change_point import Wetting, find_wetting
from vision.wetting.earlier_step import TwoSteps


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
    row_doubts : tuple of str
        Why the front at each frame of the stack is not borne out by its photo; or empty text.
    doubts : tuple of str
        Why the run as a whole is in doubt.
    steps : TwoSteps or None
        Where two changes passed over the panel, one behind the other.
    second : SecondFront or None
        The front of the one of them that is not followed.
    unexplained : Unexplained or None
        Where on the panel the photos are not explained by what was found.
    by_hand : str
        How far points by hand lie from what the camera saw.
    """

    arrival: ArrivalMap
    start_s: float
    start_sd_s: float
    edge_sd_mm: float
    stack_s: FloatArray
    hidden_share: FloatArray
    reason: str
    feed: Feed
    row_doubts: tuple[str, ...]
    doubts: tuple[str, ...]
    steps: TwoSteps | None = None
    second: SecondFront | None = None
    unexplained: Unexplained | None = None
    by_hand: str = ""


def measure(
    stack: CanvasStack,
    feed: FeedOnCanvas,
    start_s: float | None,
    region: BoolArray | None = None,
    settings: TrackerSettings | None = None,
) -> Measured:
    """Measure when each spot of the panel wetted.

    Parameters
    ----------
    stack : CanvasStack
        At least 4 canvases, times on the run's clock.
    feed : FeedOnCanvas
    start_s : float or None
        Resin start on the stack's clock if it is known.
    region : ndarray of shape (M, N), bool, optional
        False where the user said not to look.
    settings : TrackerSettings, optional
    """
    # From the first frame, so that Unix times keep their fractions in single precision.
    zero = float(stack.times_s[0])
    times = np.asarray(stack.times_s, float) - zero
    count = len(times)
    mm_per_px, step_s = feed.mm_per_px, float(np.median(np.diff(times)))
    settings = (settings or TrackerSettings()).on_canvas(mm_per_px, step_s)
    wetting = find_wetting(stack, settings)
    steps, course = wetting.steps, Course(times, feed)
    seen, changed = _seen(wetting, region, feed, settings)
    wetting, before, wet_frame, known = _repaired(wetting, course, seen, settings)
    cut = measure_strips(wet_frame, count)
    if not feed.is_known:
        feed = feed.at(_find_point(cut, count, known))
    redrawing = redraw(wetting, wet_frame, known & ~before, feed, settings.check, settings.wetting)
    known &= ~redrawing.unexplained
    edge = edge_offsets(wetting, wet_frame, known & ~before, settings.edge)
    blur_mm = edge.width_px * mm_per_px
    reason = cannot_see(wetting.coarse, wet_frame, known, feed, blur_mm, settings)
    fronts = Fronts(cut, times, edge.offset_px, feed)
    start, start_sd = fronts.start(settings.start) if start_s is None else (start_s - zero, 0.0)
    arrival_s = fronts.arrival_s(start) - start
    arrival = ArrivalMap(
        time_s=np.where(np.isfinite(arrival_s), np.maximum(arrival_s, 0.0), np.inf),
        seen=known,
        by_hand=np.zeros(stack.shape, bool),
        mm_per_px=mm_per_px,
        last_s=float(times[-1] - start),
    )
    return Measured(
        arrival=arrival,
        start_s=start + zero,
        start_sd_s=start_sd,
        edge_sd_mm=mm_per_px * edge.sd_px(wetting.pixels.sigma),
        stack_s=times - start,
        hidden_share=hidden_share(wet_frame, known, count),
        reason=reason,
        feed=feed.feed,
        row_doubts=row_doubts(redrawing, settings.check),
        doubts=run_doubts(redrawing, steps, settings, wetting.coarse.other_light, changed),
        steps=steps,
        second=None if steps is None else read_second_front(steps, times - start, feed),
        unexplained=find_unexplained(redrawing, wetting.coarse, known, settings.check),
    )


def _seen(
    wetting: Wetting, region: BoolArray | None, feed: FeedOnCanvas, settings: TrackerSettings
) -> tuple[BoolArray, BoolArray]:
    """Return what was seen, and patches that were not but changed; both of the canvas's shape."""
    seen = wetting.seen if region is None else wetting.seen & region
    doubtful = find_doubtful_dry(wetting, seen, feed.feed.is_point, settings.repair)
    return seen & ~doubtful.holes, doubtful.changed


def _repaired(
    wetting: Wetting, course: Course, seen: BoolArray, settings: TrackerSettings
) -> tuple[Wetting, BoolArray, IntArray, BoolArray]:
    """Mend what was wet before the first frame, not seen, or not likely.

    Returns
    -------
    wetting : Wetting
        With what was wet before the first frame.
    before : ndarray of shape (M, N), bool
        That.
    wet_frame : ndarray of shape (M, N), int
        Frame from which each is wet, holes filled.
    known : ndarray of shape (M, N), bool
        What was not filled.
    """
    own, count = settings.repair, len(course.times_s)
    place = course.feed.place(wetting.wet_frame, own.least_front)
    along_edge = not course.feed.feed.is_point
    wetting, before = find_initial_wet(wetting, place, along_edge, settings.wetting.onset, own)
    sighting = Sighting(
        wetting.wet_frame,
        wetting.last_dry,
        wetting.first_wet,
        seen | before,
        wetting.blank,
        wetting.looks,
    )
    wet_frame, known = reject_implausible(sighting, wetting.onset, course, own)
    shown = np.where(known, wet_frame, np.where(wetting.seen, wetting.first_wet, count))
    first = first_front(shown, count, own.least_front)
    wet_frame = np.maximum(wet_frame, first).astype(np.int16)
    # Glare that never changed says nothing of the cloth under it: no dry spot is told from it.
    blind = (wet_frame >= count) & (wetting.pixels.step_ratio < settings.wetting.glare_share)
    return wetting, before, wet_frame, known & ~blind


def _find_point(cut: Strips, count: int, known: BoolArray) -> tuple[float, float]:
    """Find the feed point (x, y) in pixels from the frames of wetting."""
    rough = np.where(cut.wet_frame < count, cut.wet_frame.astype(float), np.inf)
    return find_feed_point(rough, known)


@dataclass(frozen=True)
class Fronts:
    """The fronts at the frames, from which time is shared out between them.

    Attributes
    ----------
    cut : Strips
    times_s : ndarray of shape (K,), float
    offset_px : ndarray of shape (K,), float
        How far ahead of the half-way contour the true front stands at each frame.
    feed : FeedOnCanvas
    """

    cut: Strips
    times_s: FloatArray
    offset_px: FloatArray
    feed: FeedOnCanvas

    def arrival_s(self, start_s: float) -> FloatArray:
        """Return each pixel's arrival time for a resin start; infinity where dry."""
        feed_px = self.feed.distance_px
        return interpolate_arrival(self.cut, self.times_s, start_s, feed_px, self.offset_px)

    def start(self, settings: StartSettings) -> tuple[float, float]:
        """Find the start and its uncertainty from the fronts, which do not depend on it."""
        mm, times, feed = self.feed.mm_per_px, self.times_s, self.feed.feed
        rough = self.arrival_s(float(times[max(int(self.cut.wet_frame.min()) - 1, 0)]))
        point = self.feed.point_px
        if feed.is_point and point is not None:
            rays = read_rays(rough, times, point)
            radius = np.median(rays.radius_px, axis=1) * mm - feed.radius_mm
            reach = float(np.median(rays.limit_px)) * mm
            return find_start(np.maximum(radius, 0.0), times, reach, feed.radius_mm, settings)
        front = np.median(lane_fronts_px(rough, times), axis=1) * mm
        radius_mm = feed.radius_mm if feed.is_point else 0.0
        return find_start(front, times, rough.shape[1] * mm, radius_mm, settings)


def hidden_share(wet_frame: IntArray, known: BoolArray, count: int) -> FloatArray:
    """Return the share of the front that was filled rather than seen, frame by frame."""
    at = np.bincount(wet_frame.ravel(), minlength=count + 1)[:count].astype(float)
    filled = np.bincount(wet_frame[~known], minlength=count + 1)[:count].astype(float)
    # The front at frame k lies between what wetted at k and at k + 1.
    both = at + np.append(at[1:], at[-1])
    hidden = filled + np.append(filled[1:], filled[-1])
    return np.where(both > 0, hidden / np.maximum(both, 1), 0.0)
