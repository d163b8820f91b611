import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from vision.drawing.front_lines import choose_times_s, front_lines, time_label
from vision.front.dry_spots import dry_spot_mask
from vision.records import ArrivalMap, FrontDoubt


def arrival_map(time_s, mm_per_px=1.0, last_s=np.inf, seen=None):
    seen = np.ones(time_s.shape, bool) if seen is None else seen
    late = np.where(time_s > last_s, np.inf, time_s)
    last_s = float(late[np.isfinite(late)].max()) if np.isinf(last_s) else last_s
    return ArrivalMap(late, seen, np.zeros(time_s.shape, bool), mm_per_px, last_s)


def darcy_map(k_mm2_per_s=80.0, shape=(120, 300), mm_per_px=1.0, **more):
    # x**2 = k t, Darcy's law with a sharp front (Washburn, Phys. Rev. 17, 273, 1921).
    x_mm = (np.arange(shape[1]) + 0.5) * mm_per_px
    return arrival_map(np.tile(x_mm**2 / k_mm2_per_s, (shape[0], 1)), mm_per_px, **more)


@pytest.mark.parametrize("mm_per_px", [0.5, 1.0, 1.7])
@pytest.mark.parametrize("smooth_mm", [0.0, 1.5])
def test_lines_of_a_straight_front_stand_where_the_law_puts_them(mm_per_px, smooth_mm):
    arrival = darcy_map(mm_per_px=mm_per_px)
    times_s = [5.0, 20.0, 60.0, 180.0]
    lines = front_lines(arrival, times_s, smooth_mm=smooth_mm)
    assert [line.time_s for line in lines] == times_s
    for line in lines:
        assert_allclose(line.points_mm[:, 0], math.sqrt(80.0 * line.time_s), atol=0.1)
        assert np.ptp(line.points_mm[:, 1]) == pytest.approx(arrival.width_mm, abs=mm_per_px)
        assert not line.closed
        assert line.seen.all()


def test_lines_of_a_point_feed_are_loops_of_the_right_radius():
    # r**2 (2 ln(r/r0) - 1) + r0**2 = c t round a feed of radius r0 (Adams, Russel and Rebenfeld,
    # Int. J. Multiphase Flow 14(2):203, 1988; equation derived from Darcy's law).
    r0, c = 6.0, 40.0
    y, x = np.mgrid[0:200, 0:260] + 0.5
    r = np.maximum(np.hypot(x - 130, y - 100), r0)
    arrival = arrival_map((r**2 * (2 * np.log(r / r0) - 1) + r0**2) / c)
    for wanted in (30.0, 60.0, 85.0):
        time_s = (wanted**2 * (2 * math.log(wanted / r0) - 1) + r0**2) / c
        (line,) = front_lines(arrival, [time_s], flow="point")
        assert line.closed
        radius = np.hypot(*(line.points_mm - [130, 100]).T)
        assert_allclose(radius, wanted, atol=0.1)
        assert line.points_mm[0, 0] == pytest.approx(130 - wanted, abs=0.1)


def test_a_panel_not_reached_yet_is_no_dry_spot_and_holds_no_line():
    arrival = darcy_map(last_s=200.0)
    lines = front_lines(arrival, [100.0, 195.0, 200.0, 300.0])
    assert [line.time_s for line in lines] == [100.0, 195.0, 200.0]
    assert_allclose(lines[1].points_mm[:, 0], math.sqrt(80 * 195), atol=0.6)
    assert max(line.points_mm[:, 0].max() for line in lines) < math.sqrt(80 * 200) + 1.0
    assert not dry_spot_mask(arrival).any()


def test_a_dry_spot_is_outlined_once_and_cuts_the_lines_that_cross_it():
    arrival = darcy_map()
    y, x = np.mgrid[0:120, 0:300] + 0.5
    spot = np.hypot(x - 100, y - 60) < 15
    arrival.time_s[spot] = np.inf
    lines = front_lines(arrival, [60.0, 125.0, 200.0, 400.0])
    dry = [line for line in lines if line.dry]
    assert [line.label for line in dry] == ["dry"]
    assert_allclose(np.hypot(*(dry[0].points_mm - [100, 60]).T), 15, atol=1.0)
    crossing = [line for line in lines if line.time_s == 125.0]
    assert len(crossing) == 2
    for line in lines:
        if not line.dry:
            assert np.hypot(*(line.points_mm - [100, 60]).T).min() > 13.5
    assert [line.time_s for line in lines if not line.dry] == [60.0, 125.0, 125.0, 200.0, 400.0]


def test_a_never_wetted_corner_is_dry_with_an_edge_feed_only():
    arrival = darcy_map()
    arrival.time_s[:20, 100:140] = np.inf
    assert dry_spot_mask(arrival, "edge").sum() == 800
    assert not dry_spot_mask(arrival, "point").any()


def test_a_patch_that_was_never_seen_is_not_called_dry():
    arrival = darcy_map()
    arrival.time_s[40:60, 100:140] = np.inf
    arrival.seen[40:60, 100:140] = False
    assert not dry_spot_mask(arrival).any()


def test_specks_are_left_out_and_large_lagging_patches_kept():
    arrival = darcy_map()
    arrival.time_s[30:34, 60:64] = 1000.0
    arrival.time_s[70:100, 60:100] = 1000.0
    lines = front_lines(arrival, [400.0], smooth_mm=0.0)
    loops = [line for line in lines if line.closed]
    assert len(loops) == 1
    assert_allclose(loops[0].points_mm.mean(axis=0), [80, 85], atol=3)


def test_points_that_were_filled_in_say_so():
    seen = np.ones((120, 300), bool)
    seen[:40] = False
    (line,) = front_lines(darcy_map(seen=seen), [200.0])
    assert_allclose(line.seen, line.points_mm[:, 1] > 40, atol=0)


def test_nothing_wetted_gives_no_lines():
    arrival = arrival_map(np.full((40, 60), np.inf), last_s=600.0)
    assert front_lines(arrival, [60.0, 300.0]) == []


@pytest.mark.parametrize(
    ("last_s", "step_s"),
    [(9, 1), (70, 10), (465, 60), (1200, 120), (2400, 300), (5400, 600), (20000, 1800)],
)
def test_times_are_round_and_about_as_many_as_wanted(last_s, step_s):
    times = choose_times_s(last_s, wanted=8)
    assert times[0] == step_s
    assert 4 <= len(times) <= 13
    assert np.all(np.diff(times) == step_s)
    assert times[-1] <= last_s


def test_no_times_without_a_run():
    assert [choose_times_s(t) for t in (0.0, -5.0, math.nan, math.inf)] == [[], [], [], []]


def test_hours_and_odd_seconds_are_still_written_in_minutes():
    assert [time_label(t) for t in (5400, 59.6, 90)] == ["90 min", "1 min", "1:30 min"]


def test_a_line_that_may_be_more_than_five_millimetres_off_says_about():
    # The start is unsure by 8 s, and the front is fast at first: v = sqrt(k / t) / 2.
    time_s = np.arange(20.0, 1100.0, 20.0)
    front_mm = np.sqrt(80.0 * time_s)
    doubt = FrontDoubt(8.0, time_s, front_mm, np.full(len(time_s), 0.3))
    lines = front_lines(replace(darcy_map(), doubt=doubt), [20.0, 60.0, 600.0])
    assert [line.is_rough for line in lines] == [True, True, False]
    assert [line.label for line in lines] == ["about 20 s", "about 1 min", "10 min"]
    assert lines[1].off_mm == pytest.approx(1.96 * 8.0 * math.sqrt(80.0 / 60.0) / 2, rel=0.05)
    assert not any(line.is_rough for line in front_lines(darcy_map(), [20.0, 60.0]))
