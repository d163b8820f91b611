"""From the canvases of a part to when each spot of it wetted.

Tested in tests/vision/parts/test_measure_part.py and test_track_part.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from scipy.ndimage import distance_transform_edt

from vision.arrival.arrival_map import hidden_share
from vision.arrival.edge_profile import edge_offsets
from vision.arrival.frame_strips import interpolate_arrival, measure_strips
from vision.arrival.resin_start import find_start
from vision.arrival.usability import rank_order
from vision.check.doubts import Unexplained, find_unexplained, row_doubts, run_doubts
from vision.check.front_grid import FrontGrid
from vision.check.redraw import Redrawing, redraw
from vision.parts.framing.strays import find_beyond, find_strays
from vision.parts.part_canvas import PartCanvas, hose_disc
from vision.parts.timing.blown import find_blown
from vision.parts.timing.dead_ends import time_dead_ends
from vision.parts.timing.light_doubt import light_doubt_s, unsure_doubts
from vision.parts.timing.new_fronts import time_new_fronts
from vision.parts.timing.walls import fill_along_walls, find_islands, without_late_specks
from vision.parts.uncertainty import pixel_sd_s
from vision.records import BoolArray, FloatArray, IntArray
from vision.repair.feed import first_front
from vision.repair.initial_wet import find_initial_wet
from vision.repair.inpaint import Course, Sighting
from vision.repair.reachability import keep_in_order, reject_implausible, unreachable_from_feed
from vision.settings.tracker_settings import TrackerSettings
from vision.wetting.canvas_series import CanvasStack
from vision.wetting.change_point import Wetting, find_wetting

NOTHING = (
    "nothing changed on the part in a way that looks like resin. Check that (1) the photos are of "
    "this run, (2) the cards or tapped points are those of this part, (3) the lens was clear. If "
    "resin did run, wet and dry look alike to the camera: light the part from the side next time"
)
NO_CONTRAST = (
    "wet and dry look the same to the camera beside what the light did: light the part from the "
    "side and keep shadows off it"
)
MOSTLY_HIDDEN = (
    "most of the wetted part was hidden or in glare: move the lamp or the camera, and keep people "
    "and tools off the part"
)
NOT_FROM_FEEDS = (
    "what changed does not spread from any planned feed: check the lighting, that the feeds of the "
    "plan lie where the real ones do, and that cards or tapped points are in the plan's order"
)
BLURRED = "the pictures are too blurred to place the front: clean the lens and focus on the part"
END_FRAMES = 5
FAINT_MM, FAINT_SHARE = 5.0, 0.15
"""Part of the step, in the mean of so much cloth, from which a lasting change may be resin."""

ALONE_MM, ALONE_SHARE = 15.0, 0.6
"""Cloth counts as seen to stay dry only where so much of what lies around it was seen."""

BLOCKS = (4, 6)
"""The part is looked at again in so many blocks, the more along its longer side."""


@dataclass(frozen=True)
class PartMeasured:
    """When each spot of the part wetted, on the canvas; arrays of shape (M, N) or (K,).

    Attributes
    ----------
    time_s, sd_s : ndarray of shape (M, N), float
        Seconds since resin start and standard uncertainty; infinity where dry, NaN outside.
    seen : ndarray of shape (M, N), bool
    start_s, start_sd_s : float
        Resin start on the stack's clock.
    stack_s : ndarray of shape (K,), float
        Times of the canvases since resin start.
    wetted_sd : float
        Standard uncertainty of the wet share by a millimetre's place of the front.
    reason : str
    doubts, row_doubts : tuple of str
    strays : tuple of (float, float, float, float)
        Lasting changes that no feed can have sent: x, y in canvas mm, area in mm2 and seconds.
    unexplained : Unexplained or None
    beyond : tuple of (float, float, float, float)
        The same for patches outside the outline that wet as the part does.
    """

    time_s: FloatArray
    sd_s: FloatArray
    seen: BoolArray
    start_s: float
    start_sd_s: float
    stack_s: FloatArray
    wetted_sd: FloatArray
    reason: str
    doubts: tuple[str, ...]
    row_doubts: tuple[str, ...]
    strays: tuple[tuple[float, float, float, float], ...]
    unexplained: Unexplained | None
    beyond: tuple[tuple[float, float, float, float], ...] = ()


def measure_part(
    stack: CanvasStack,
    part: PartCanvas,
    start_s: float | None,
    place_sd_mm: float,
    settings: TrackerSettings,
) -> PartMeasured:
    """Measure when each spot of a part wetted.

    Parameters
    ----------
    stack : CanvasStack
        At least 4 canvases of the outline's box.
    part : PartCanvas
    start_s : float or None
        Resin start on the stack's clock if it is known.
    place_sd_mm : float
        How well places on the part are known: scale and height.
    settings : TrackerSettings
    """
    zero = float(stack.times_s[0])
    times = np.asarray(stack.times_s, float) - zero
    settings = settings.on_canvas(part.mm_per_px, float(np.median(np.diff(times))))
    wetting = find_wetting(stack, settings, part.inside & ~part.under)
    found = _repaired(stack, wetting, times, part, settings)
    wet_frame, known = found.wet_frame, found.known
    redrawing = _drawn_again(wetting, found, part, settings)
    known &= ~redrawing.unexplained
    edge = edge_offsets(wetting, wet_frame, known & ~found.before, settings.edge)
    cut = measure_strips(wet_frame, len(times))
    start, start_sd = _start(wet_frame, part, times, settings)
    if start_s is not None:
        start, start_sd = start_s - zero, 0.0
    way = part.feeds.distance_px
    arrival = interpolate_arrival(cut, times, start, way, edge.offset_px)
    ends = time_dead_ends(arrival, wet_frame, times, part.inside, known, edge.offset_px)
    ends = time_new_fronts(ends, wet_frame, times, part.inside, part.under)
    arrival = np.maximum(ends.arrival_s - start, 0.0)
    edge_mm = part.mm_per_px * edge.sd_px(wetting.pixels.sigma)
    sd = pixel_sd_s(arrival, known, part, float(np.hypot(edge_mm, place_sd_mm)), times - start)
    by_light, untold = light_doubt_s(stack, wetting, wet_frame, times, part.inside, settings.light)
    sd = np.hypot(np.hypot(sd, ends.doubt_s), by_light)
    reason = _cannot_see(wetting, wet_frame, known, part, edge.width_px * part.mm_per_px, settings)
    return PartMeasured(
        time_s=np.where(part.inside, arrival, np.nan),
        sd_s=np.where(part.inside & np.isfinite(arrival), sd, np.nan),
        seen=known & part.inside & ~untold,
        start_s=start + zero,
        start_sd_s=start_sd,
        stack_s=times - start,
        wetted_sd=_wetted_sd(arrival, part, times - start, edge_mm),
        reason=reason,
        doubts=(
            *unsure_doubts(by_light, known & part.inside, float(times[-1] - start)),
            *run_doubts(redrawing, wetting.steps, settings, wetting.coarse.other_light),
        ),
        row_doubts=row_doubts(redrawing, settings.check),
        strays=find_strays(found.apart, wetting, times - start, part),
        beyond=find_beyond(wetting, times - start, part),
        unexplained=find_unexplained(redrawing, wetting.coarse, known, settings.check),
    )


def _drawn_again(
    wetting: Wetting, found: _Repaired, part: PartCanvas, settings: TrackerSettings
) -> Redrawing:
    """Draw every photo again and compare."""
    wet_frame, known, count = found.wet_frame, found.known, len(wetting.levels)
    grid, fresh = part_grid(wet_frame, part, count), known & ~found.before
    redrawing = redraw(
        wetting, wet_frame, fresh, part.feeds, settings.check, settings.wetting, grid
    )
    shown = 1.0 - hidden_share(wet_frame, known | ~part.inside, count)
    return replace(redrawing, seen_share=shown, shift_mm=np.zeros(count))


@dataclass(frozen=True)
class _Repaired:
    """Wet frames with holes filled, what was seen, wet before, and wet where no feed sent it."""

    wet_frame: IntArray
    known: BoolArray
    before: BoolArray
    apart: BoolArray


def _repaired(
    stack: CanvasStack,
    wetting: Wetting,
    times: FloatArray,
    part: PartCanvas,
    settings: TrackerSettings,
) -> _Repaired:
    """Mend what was wet before the first frame, not seen, or not likely."""
    own, count, inside = settings.repair, len(times), part.inside
    place, cloth = part.feeds.place(wetting.wet_frame, own.least_front), inside & ~part.under
    wetting, before = find_initial_wet(wetting, place, False, settings.wetting.onset, own)
    before &= cloth
    seen = (wetting.seen & cloth) | before
    raw = np.where(inside, wetting.wet_frame, count).astype(np.int16)
    apart = cloth & wetting.seen & unreachable_from_feed(raw, seen | ~inside, place, own)
    seen &= ~_thin_early(raw, part, count) & ~find_blown(stack, raw)
    seen &= ~(part.vents & (raw >= count))  # the vent's hose, which stays as it was
    # Beyond the outline nothing flows: dry for the ways of the resin, no hole to be filled.
    sighting = Sighting(
        wet_frame=raw,
        last_dry=np.where(inside, wetting.last_dry, count - 1),
        first_wet=np.where(inside, wetting.first_wet, count),
        seen=seen,
        blank=wetting.blank & inside,
    )
    wet_frame, known = reject_implausible(
        walled(sighting, part), wetting.onset, Course(times, part.feeds), own
    )
    known &= cloth
    # A speck one frame ahead of the front would count as a front of its own between two photos.
    wet_frame, told = keep_in_order(wet_frame, known | ~cloth, place, own)
    known &= told
    wet_frame, late = without_late_specks(fill_along_walls(wet_frame, known, inside), inside)
    known &= ~late
    shown = np.where(known, wet_frame, count)
    first = first_front(shown, count, own.least_front)
    wet_frame = np.maximum(wet_frame, first).astype(np.int16)
    known &= ~((wet_frame >= count) & not_surely_dry(wetting, known, part, settings))
    known &= ~find_islands((wet_frame >= count) & known, known, cloth)
    return _Repaired(carried_out(wet_frame, inside), known, before, apart)


def not_surely_dry(
    wetting: Wetting, known: BoolArray, part: PartCanvas, settings: TrackerSettings
) -> BoolArray:
    """Find where cloth that seems to have stayed dry may have wetted without showing it.

    That is in glare, where a part of the step came and stayed, and in what little was seen in the
    midst of what was hidden.

    Parameters
    ----------
    wetting : Wetting
    known : ndarray of shape (M, N), bool
        What was seen and not filled.
    part : PartCanvas
    settings : TrackerSettings
    """
    pixels, cloth = wetting.pixels, (part.inside & ~part.under).astype(np.float32)
    glare = pixels.step_ratio < settings.wetting.glare_share
    first, late = (
        np.median(np.stack(wetting.levels[part_of]), axis=0)
        for part_of in (slice(END_FRAMES), slice(-END_FRAMES, None))
    )
    # What is taken for dry from first to last has its dry look from all of the run.
    risen = _around(late - np.minimum(pixels.dry, first), cloth, FAINT_MM / part.mm_per_px)
    faint = risen > FAINT_SHARE * _around(pixels.step_ratio, cloth, FAINT_MM / part.mm_per_px)
    alone = _around(known.astype(np.float32), cloth, ALONE_MM / part.mm_per_px) < ALONE_SHARE
    return np.asarray(glare | faint | alone)


def _around(values: FloatArray, cloth: FloatArray, sigma_px: float) -> FloatArray:
    """Return the mean of the cloth around each pixel."""
    sigma = max(sigma_px, 0.5)
    weight = cv2.GaussianBlur(cloth, (0, 0), sigma)
    total = cv2.GaussianBlur((values * cloth).astype(np.float32), (0, 0), sigma)
    return np.asarray(total / np.maximum(weight, 1e-3))


def walled(sighting: Sighting, part: PartCanvas) -> Sighting:
    """Return a sighting in which what lies outside the part was seen to stay dry."""
    return replace(sighting, seen=sighting.seen | ~part.inside)


def carried_out(wet_frame: IntArray, inside: BoolArray) -> IntArray:
    """Return wet frames that go on beyond the outline as at its nearest pixel."""
    near = distance_transform_edt(~inside, return_distances=False, return_indices=True)
    return np.asarray(wet_frame[tuple(near)], np.int16)


def _thin_early(wet_frame: IntArray, part: PartCanvas, count: int) -> BoolArray:
    """Find what wetted long before its surroundings on a strip as narrow as a hose.

    Resin that fills a hose across the part lies above cloth that is dry; a gap along a wall in
    which resin races has no cloth on one side and stays.
    """
    disc = hose_disc(part.mm_per_px)
    field = carried_out(wet_frame, part.inside)
    field = np.where(part.inside, field, 0).astype(np.int16)
    closed = cv2.morphologyEx(field, cv2.MORPH_CLOSE, disc)
    late = max(1, round(0.03 * count))
    return np.asarray((closed - field > late) & part.inside)


def part_grid(wet_frame: IntArray, part: PartCanvas, count: int) -> FrontGrid:
    """Return coarse places of a part: blocks of it, and in each the order in which it wets.

    Parameters
    ----------
    wet_frame : ndarray of shape (M, N), int
        Holes filled.
    part : PartCanvas
    count : int
        Frames.
    """
    rows, cols = wet_frame.shape
    down, along = BLOCKS if cols >= rows else BLOCKS[::-1]
    y, x = np.indices(wet_frame.shape)
    sector = (y * down // rows) * along + x * along // cols
    way = part.from_any_px / (float(part.from_any_px.max()) + 1.0)
    order = np.argsort(np.argsort((wet_frame + way).ravel(), kind="stable"), kind="stable")
    bins = int(np.clip(np.sqrt(np.count_nonzero(part.inside)) // 6, 8, 60))
    place = sector * bins + (order * bins // order.size).reshape(wet_frame.shape)
    step = 2 if wet_frame.size > 40_000 else 1
    bin_mm = float(part.from_any_px.max()) * part.mm_per_px / bins
    return FrontGrid(place[::step, ::step].ravel(), down * along, bins, bin_mm, step)


def _start(
    wet_frame: IntArray, part: PartCanvas, times: FloatArray, settings: TrackerSettings
) -> tuple[float, float]:
    """Find resin start and its uncertainty from the wet share against time."""
    cloth = part.inside & ~part.under
    count = len(times)
    wetted = np.bincount(wet_frame[cloth], minlength=count + 1)[:count].cumsum()
    share = 100.0 * wetted / max(int(np.count_nonzero(cloth)), 1)
    # Where feeds open one after the other, a wet share that runs later did not stand at first.
    start, sd = find_start(share, times, 100.0, 0.0, replace(settings.start, near_share=0.0))
    # The wet share follows the root of time less closely than a panel's front does.
    step = float(np.median(np.diff(times)))
    return start, float(np.hypot(sd, 0.15 * step))


def _cannot_see(
    wetting: Wetting,
    wet_frame: IntArray,
    known: BoolArray,
    part: PartCanvas,
    edge_mm: float,
    settings: TrackerSettings,
) -> str:
    """Return why nothing can be measured; empty text when it can."""
    own, coarse, inside = settings.usability, wetting.coarse, part.inside
    count = len(coarse.light)
    wetted = inside & (wet_frame < count)
    changed = wetted & (wet_frame > 0) & known
    share = np.count_nonzero(changed) / max(int(np.count_nonzero(inside)), 1)
    if coarse.contrast < settings.causes.least_contrast(coarse.off_colour.size):
        return NO_CONTRAST if share > 0.02 else NOTHING
    if share < own.least_wetted:
        return NOTHING
    if np.count_nonzero(known & wetted) < own.least_seen * np.count_nonzero(wetted):
        return MOSTLY_HIDDEN
    ways = (part.from_any_px, part.feeds.distance_px)
    if max(rank_order(way[changed], wet_frame[changed]) for way in ways) < own.least_order:
        return NOT_FROM_FEEDS
    if edge_mm > max(own.widest_edge_mm, 5 * part.mm_per_px):
        return BLURRED
    return ""


def _wetted_sd(
    arrival: FloatArray, part: PartCanvas, times: FloatArray, edge_mm: float
) -> FloatArray:
    """Return the uncertainty of the wet share at each time: the front's length times its place."""
    area = max(int(np.count_nonzero(part.inside)), 1)
    inner = cv2.erode(part.inside.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    sds = []
    for at in times:
        wet = (arrival <= at).astype(np.uint8)
        rim = (cv2.dilate(wet, np.ones((3, 3), np.uint8)) > 0) & (wet == 0) & inner
        sds.append(np.count_nonzero(rim) * edge_mm / part.mm_per_px / area)
    return np.array(sds)
