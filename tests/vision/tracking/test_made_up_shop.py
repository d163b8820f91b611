"""The tracker against made-up runs with exact truth, whatever a shop does to it.

The truth is the reach map each run is drawn from (`shop_flow`); the limits are those the
project sets itself for a front read off photos.
"""

import functools
from dataclasses import dataclass, replace

import numpy as np
import pytest

import wetline
from tests.made_up.shop import events
from tests.made_up.shop import flow as flows
from tests.made_up.shop.cases import CASES, NOT_YET, POINT_FEED, WAVY
from tests.made_up.shop.flow import Clock, Flow
from tests.made_up.shop.run import CLOCK_S, SIZE_MM, Pose, Shop, ShopFrames, setup_of, write_folder
from vision.errors import WetlineError
from vision.records import Tracked
from vision.rectify.rectifier import Rectifier
from vision.scale.plane_map import apply_homography
from vision.tracking.tracker import Tracker

ISLAND_SHARE, ISLAND_PLACE_MM = 0.20, 4.0
RACE_MM, STALL_MM = 10.0, 3.0
AXES_SHARE, ANGLE_DEG = 0.02, 3.0
Z_RMS, Z_MOST = (0.5, 1.3), 4.0
"""Spread and greatest of errors over their stated standard uncertainty."""

LEAST_MM = 2.0
"""Errors below this are put up with, whatever is stated."""


@dataclass(frozen=True)
class Outcome:
    """What came out of one run, and the truth in the same rows."""

    tracked: Tracked
    true_mm: np.ndarray
    wetted: np.ndarray
    start_error_s: float

    @property
    def error_mm(self):
        """Error of the mean front at each frame."""
        return self.tracked.curve.front_mean_mm - self.true_mm.mean(axis=1)


def track(shop, points=None):
    frames = ShopFrames(shop)
    setup = setup_of(shop)
    tracker = Tracker(setup, Rectifier(setup, frames))
    for frame in frames:
        tracker.add(frame)
    known = CLOCK_S + shop.flow.clock.start_s if shop.start_known else None
    run = tracker.finish(known, lambda _: points)
    read = shop.flow.lanes_mm if shop.flow.point_mm is None else shop.flow.radii_mm
    return Outcome(
        run.tracked,
        np.array([read(t) for t in shop.times_s]),
        np.array([shop.flow.wetted(t) for t in shop.times_s]),
        run.start_clock_s - CLOCK_S - shop.flow.clock.start_s,
    )


BY_NAME = {case.name: case for case in CASES}


@functools.cache
def outcome(name):
    return track(BY_NAME[name].shop)


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


def as_parameter(case):
    marks = [pytest.mark.xfail(strict=True, reason=case.not_yet)] if case.not_yet else []
    return pytest.param(case, id=case.name, marks=marks)


ALL = [as_parameter(case) for case in CASES]


@pytest.mark.parametrize("case", ALL)
def test_the_front_is_where_the_resin_was(case):
    found = outcome(case.name)
    curve = found.tracked.curve
    assert found.tracked.front.usable, found.tracked.front.reason
    assert rms(found.error_mm) <= case.limits_mm[0]
    assert np.quantile(np.abs(found.error_mm), 0.95) <= case.limits_mm[1]
    # Where a hole may hide an edge, none is claimed.
    for edge_mm, true_mm in (
        (curve.front_min_mm, found.true_mm.min(axis=1)),
        (curve.front_max_mm, found.true_mm.max(axis=1)),
    ):
        told = np.isfinite(edge_mm)
        assert rms((edge_mm - true_mm)[told]) <= case.edges_mm
    assert rms(curve.wetted_fraction - found.wetted) <= case.wetted
    check_events(case, found)


def check_events(case, found):
    """Dry islands, racing edges and stalls: those there are, and none invented."""
    front = found.tracked.front
    assert len(front.dry_spots) == len(case.islands)
    for spot, (x_mm, y_mm, area_mm2) in zip(front.dry_spots, case.islands, strict=True):
        assert np.hypot(spot.x_mm - x_mm, spot.y_mm - y_mm) < ISLAND_PLACE_MM
        assert spot.area_mm2 == pytest.approx(area_mm2, rel=ISLAND_SHARE)
    told = [side for side in ("y = 0", "y = width") if any(side in w for w in front.warnings)]
    assert tuple(told) == case.races
    if case.races:
        lead = flows.race_lead_mm(case.shop.flow, case.shop.times_s)
        assert front.race_tracking_mm == pytest.approx(lead, abs=RACE_MM)
    if case.stall_mm is None:
        assert front.stalled_at_mm is None
    else:
        assert front.stalled_at_mm == pytest.approx(case.stall_mm, abs=STALL_MM)


@pytest.mark.parametrize("name", ["point feed on glass", "point feed found, carbon"])
def test_ellipse_of_a_point_feed(name):
    curve = outcome(name).tracked.curve
    shop = BY_NAME[name].shop
    mean = np.array([float(shop.flow.clock(t)) for t in shop.times_s])
    use = curve.used & (mean > 20)
    assert np.count_nonzero(use) > 10
    assert rms(curve.semi_major_mm[use] / (mean[use] * np.sqrt(1.4)) - 1) < AXES_SHARE
    assert rms(curve.semi_minor_mm[use] / (mean[use] / np.sqrt(1.4)) - 1) < AXES_SHARE
    assert rms(curve.angle_deg[use] - 25.0) < ANGLE_DEG


def test_half_wet_place_and_band_of_a_channelled_core():
    found, shop = outcome("channelled core"), BY_NAME["channelled core"].shop
    reach = shop.flow.reach_mm
    ordered = np.sort(reach, axis=0)
    # The farthest place at which a share of the width is wet, from the map the run is drawn from.
    place = {
        share: np.minimum.accumulate(ordered[int(share * len(reach)) - 1][::-1])[::-1]
        for share in (0.1, 0.5, 0.9)
    }
    now = np.array([float(shop.flow.clock(t)) for t in shop.times_s])
    wet, half, dry = (
        np.searchsorted(place[share], now, side="right") / flows.PX_PER_MM
        for share in (0.9, 0.5, 0.1)
    )
    on = (now > 20) & (dry < SIZE_MM[0] - 2)
    curve = found.tracked.curve
    assert np.count_nonzero(on) > 10
    assert np.abs(curve.front_half_mm - half)[on].max() < 1.5
    assert np.abs(curve.front_band_mm - (dry - wet))[on].max() < 3.0
    behind = np.median((found.true_mm.mean(axis=1) - half)[on])
    assert found.tracked.front.half_behind_mm == pytest.approx(behind, abs=0.7)
    assert found.tracked.front.band_mm == pytest.approx(np.median((dry - wet)[on]), abs=1.5)


def readings():
    """Errors over stated uncertainty of all fronts after resin start, and whether each is used.

    Of runs that are not in doubt: what is said to be in doubt claims nothing.
    """
    pooled, used = [], []
    for case in CASES:
        found, times = outcome(case.name), np.asarray(case.shop.times_s)
        if case.not_yet or found.tracked.front.doubts:
            continue
        mean = found.true_mm.mean(axis=1)
        on = (times > case.shop.flow.clock.start_s) & (mean < 0.99 * SIZE_MM[0])
        pooled.append(found.error_mm[on] / found.tracked.curve.front_sd_mm[on])
        used.append(found.tracked.curve.used[on])
    return np.concatenate(pooled), np.concatenate(used)


def test_stated_uncertainty_is_honest():
    z, used = readings()
    assert np.count_nonzero(used) > 700
    assert Z_RMS[0] < rms(z[used]) < Z_RMS[1]
    assert np.abs(z[used]).max() < Z_MOST
    # Rows that are not used, being hidden or not borne out, claim no more than they know either.
    assert rms(z[~used]) < Z_RMS[1]
    assert np.abs(z[~used]).max() < Z_MOST


@pytest.mark.parametrize("name", NOT_YET)
def test_a_run_that_is_not_read_within_the_limits_says_so(name):
    found = outcome(name)
    curve, front = found.tracked.curve, found.tracked.front
    off = np.abs(found.error_mm) > np.maximum(LEAST_MM, 3 * curve.front_sd_mm)
    assert front.doubts or not (off & curve.used).any()
    assert not front.dry_spots


def test_a_look_without_a_step_is_told_by_a_wide_uncertainty():
    found, clear = outcome("ramp with no step"), outcome("white glass, sheet")
    curve = found.tracked.curve
    on = curve.used & (found.true_mm.mean(axis=1) < 0.99 * SIZE_MM[0])
    z = found.error_mm[on] / curve.front_sd_mm[on]
    assert Z_RMS[0] < rms(z) < 1.5
    assert np.abs(z).max() < 2.5
    assert np.median(curve.front_sd_mm[on]) > 2 * np.median(
        clear.tracked.curve.front_sd_mm[clear.tracked.curve.used]
    )


def test_stated_scale_error_is_honest():
    # Forty times the corners, each time clicked 0.3 px off in x and in y as the made-up user does.
    shop = BY_NAME["cream glass, sharp"].shop
    frames = ShopFrames(replace(shop, times_s=shop.times_s[:4]))
    length, width = SIZE_MM
    grid = np.array([[x, y] for x in np.linspace(0, length, 5) for y in np.linspace(0, width, 4)])
    true_px = apply_homography(shop.pose(0).matrix(shop.size), grid.astype(float))
    places, lengths = [], []
    for clicks in range(40):
        plane = Rectifier(setup_of(replace(shop, clicks=clicks)), frames).plane
        off_mm = plane.to_mm(true_px) - grid
        places.append(np.hypot(*off_mm.T) / plane.error_mm)
        along = off_mm.reshape(5, 4, 2)[..., 0]
        lengths.append((along[-1] - along[0]).mean() / length / plane.relative_sd)
    assert Z_RMS[0] < rms(np.concatenate(places)) < Z_RMS[1]
    assert Z_RMS[0] < rms(lengths) < Z_RMS[1]
    assert np.abs(lengths).max() < Z_MOST


def gone(k):
    """A camera turned away to another part of the bench."""
    pose = Pose()
    return pose if k < 7 else replace(pose, middle_mm=(900.0, 500.0), turn_deg=40.0)


EVERY = frozenset(range(100))
BLIND = {
    "lens covered": (Shop(in_air=(events.cover(EVERY - {0}),)), "changed|shows|found"),
    "panel out of view": (Shop(pose=gone), "found again"),
    "blurred throughout": (Shop(flow=WAVY, in_air=(events.blurred(22.0),)), "blurred|found"),
    "no contrast": (Shop(flow=WAVY, fabric="black on black"), "look the same|changed"),
    "moved, nothing to hold on to": (
        Shop(flow=WAVY, pose=events.bump(Pose(), 7, 9.0, 35.0, (90.0, 60.0)), plain_table=True),
        "found again|spread|changed",
    ),
    "nothing happens": (Shop(flow=Flow(flows.straight(), Clock(start_s=9999.0))), "changed"),
    "nothing happens on carbon under a lamp": (
        Shop(
            flow=Flow(flows.straight(), Clock(start_s=9999.0)),
            fabric="twill carbon",
            light=(events.drift(), events.lamp(14)),
        ),
        "changed|look the same|spread",
    ),
}


@pytest.mark.parametrize("name", BLIND)
def test_a_run_that_cannot_be_seen_is_not_judged(name):
    shop, words = BLIND[name]
    usable, reason = verdict(shop)
    assert not usable
    assert any(word in reason for word in words.split("|")), reason


def verdict(shop):
    """Whether a run was judged, and if not, what the user is told."""
    try:
        front = track(shop).tracked.front
    except WetlineError as error:
        return False, str(error)
    assert front.usable or front.frames_used == 0
    return front.usable, front.reason


def test_three_points_by_hand_rescue_a_run_without_contrast():
    flow = Flow(flows.wavy(0.03), Clock())
    shop = Shop(flow=flow, fabric="black on black", start_known=True)
    assert not track(shop).tracked.front.usable
    times, lanes = np.array([60.0, 200.0, 420.0]), np.array([80, 150, 220])
    fronts = [flow.lanes_mm(t)[lane] for t, lane in zip(times, lanes, strict=True)]
    points = np.column_stack([times, fronts, (lanes + 0.5) / flows.PX_PER_MM])
    found = track(shop, points)
    assert found.tracked.front.usable
    assert rms(found.error_mm) < 4.0
    assert any("by hand" in warning for warning in found.tracked.front.warnings)
    assert found.tracked.arrival.by_hand.any()


def test_resin_start_is_found_within_its_uncertainty():
    missed = []
    for case in CASES:
        if not case.not_yet and not case.shop.start_known:
            found = outcome(case.name)
            missed.append(found.start_error_s / found.tracked.front.resin_start_sd_s)
    # Resin starts of most runs are found from much the same photos: fewer stand for themselves.
    assert 0.4 < rms(missed) < Z_RMS[1]
    assert np.abs(missed).max() < Z_MOST
    assert POINT_FEED.point_mm is not None


def test_photos_named_out_of_order_and_stored_turned(tmp_path):
    # Orientation 6: the stored picture is to be turned a quarter clockwise (JEITA CP-3451, EXIF).
    times = np.round(np.linspace(-40, 560, 22))
    shop = Shop(flow=WAVY, times_s=times, cards=True, size=(480, 640), pose=upright)
    order = np.random.default_rng(6).permutation(len(times)) + 90
    write_folder(shop, tmp_path / "run", order, turned=True)
    tracked = wetline.track(tmp_path / "run")
    assert tracked.curve.frames == tuple(f"photo_{number}.jpg" for number in order)
    true_mm = np.array([WAVY.lanes_mm(t).mean() for t in times])
    assert rms(tracked.curve.front_mean_mm - true_mm) < 0.8


def upright(_k):
    """A portrait view with the feed on the left."""
    return Pose(reach_mm=840.0, middle_mm=(140.0, 75.0))
