"""Which frames a fit uses, and what is said of the others."""

import numpy as np
import pytest

from analysis.fit.frame_selection import Readings, choose_frames, drop_bad, drop_slowed
from tests.made_up.curves import edge_front_mm, make_curve, make_front

TIMES = np.linspace(20.0, 1500.0, 30)


def chosen(x=None, t=TIMES, length_m=0.6, front=None, sd=0.5, **curve):
    x = edge_front_mm(t) if x is None else x
    return choose_frames(make_curve(t, x, sd, **curve), front or make_front(), length_m)


def test_all_frames_of_a_plain_run_are_used_in_metres():
    found = chosen()
    assert found.used.all()
    assert found.notes == ("",) * 30
    assert found.reason == ""
    np.testing.assert_allclose(found.front_m, edge_front_mm(TIMES) / 1000.0)
    np.testing.assert_allclose(found.sd_m, 0.5e-3)


def test_each_frame_left_out_says_why():
    t = np.linspace(-40.0, 3200.0, 40)
    x = edge_front_mm(t)
    x[20] = np.nan
    used = np.ones(40, bool)
    used[22] = False
    found = chosen(x, t, used=used, front=make_front(stalled_at_s=2900.0, stalled_at_mm=500.0))
    assert found.notes[0] == "before resin start"
    assert found.notes[20] == "front not seen"
    assert found.notes[22] == "left out by the tracker"
    assert found.notes[39] == "after the front stalled"
    # 95 % of 600 mm is passed at 570^2 / 190 = 1710 s.
    assert found.notes[21] == ""
    assert found.notes[24] == "at the end of the panel"
    assert chosen(x, t, length_m=None).notes[24] == ""


def test_frames_close_to_the_feed_are_left_out():
    # 4 % of the 534 mm reached is 21 mm.
    x = edge_front_mm(TIMES)
    x[:3] = [20.0, 21.2, 21.5]
    assert chosen(x).notes[:3] == ("too close to the feed", "too close to the feed", "")


def test_the_clean_front_goes_before_the_mean():
    clean = edge_front_mm(TIMES) - 5.0
    clean[4] = np.nan
    found = chosen(front_clean_mm=clean, front_clean_sd_mm=np.full(30, 0.25))
    assert found.front_m[3] == pytest.approx(edge_front_mm(TIMES)[3] / 1e3 - 5e-3)
    assert found.front_m[4] == pytest.approx(edge_front_mm(TIMES)[4] / 1e3)
    assert found.sd_m[3] == pytest.approx(0.25e-3)


def test_no_sd_is_believed_below_a_twentieth_of_a_millimetre():
    assert chosen(sd=0.001).sd_m[0] == pytest.approx(0.05e-3)
    nothing = np.full(30, np.nan)
    assert chosen(front_clean_sd_mm=nothing, front_sd_mm=nothing).sd_m[0] == pytest.approx(1e-3)


@pytest.mark.parametrize(
    ("count", "says"),
    [
        (0, "no pictures show"),
        (1, "only 1 picture shows"),
        (4, "only 4 pictures show a moving front; the fit needs at least 5"),
    ],
)
def test_too_few_frames(count, says):
    t = TIMES[:count]
    assert says in chosen(edge_front_mm(t), t).reason


def test_a_front_must_move_by_more_than_its_uncertainty():
    # From the first to the last third by their medians: 3 sd is the limit.
    x = np.linspace(100.0, 130.0, 30)
    moved = float(np.median(x[-10:]) - np.median(x[:10]))
    assert chosen(x, sd=moved / 3.01).reason == ""
    assert "does not move" in chosen(x, sd=moved / 2.99).reason
    assert "falls back" in chosen(x[::-1], sd=0.1).reason


def readings(n=30, sd=1e-3, used=None):
    used = np.ones(n, bool) if used is None else used
    return Readings(np.arange(n, dtype=float), np.ones(n), np.full(n, sd), used, ("",) * n)


def test_only_frames_far_off_their_neighbours_are_bad():
    z = np.random.default_rng(2).normal(0, 1.0, 30)
    off = np.array([np.median(z[max(0, i - 3) : i + 4]) for i in range(30)])
    spread = 1.4826 * np.median(np.abs(z - off))
    for factor, bad in ((4.0, False), (9.0, True)):
        one = z.copy()
        one[12] = off[12] + factor * spread
        found = drop_bad(readings(), one * 1e-3)
        assert (found.notes[12] == "stands off the other frames") is bad
        assert found.used[12] is not np.bool_(bad)
        assert found.count == 30 - bad


def test_a_spread_below_a_third_of_the_stated_sd_is_not_believed():
    residual = np.zeros(30)
    residual[7] = 1.4e-3  # under 5 times 0.3 sd
    assert drop_bad(readings(), residual).used.all()
    residual[7] = 1.6e-3
    assert not drop_bad(readings(), residual).used[7]


def test_at_most_a_fifth_is_dropped_the_worst_first():
    residual = np.zeros(30)
    bad = [2, 6, 10, 14, 18, 22, 26]
    residual[bad] = 1e-3 * np.array([10, 20, 30, 40, 50, 60, 70])
    found = drop_bad(readings(), residual)
    assert np.flatnonzero(~found.used).tolist() == bad[1:]


def test_frames_already_left_out_keep_their_place():
    used = np.ones(30, bool)
    used[[0, 5]] = False
    residual = np.zeros(28)
    residual[10] = 5e-3  # the 11th in use is frame 12
    found = drop_bad(readings(used=used), residual)
    assert np.flatnonzero(~found.used).tolist() == [0, 5, 12]


def slowed(late, n=60, sd=1e-6):
    theta = np.arange(n, dtype=float)
    speed = np.where(np.arange(n) < 40, 1.0, late)
    h = np.concatenate([[0.0], np.cumsum(speed[1:])])
    return drop_slowed(readings(n, sd), h, theta, np.ones(n))


def test_a_run_is_cut_where_it_was_last_steady():
    found = slowed(0.3)
    first = int(np.argmin(found.used))
    assert 38 <= first <= 48
    assert not found.used[first:].any()
    assert set(found.notes[first:]) == {"after the front slowed"}
    assert set(found.notes[:first]) == {""}


@pytest.mark.parametrize(("late", "cut"), [(0.65, False), (0.55, True)])
def test_a_run_slows_below_sixty_per_cent(late, cut):
    assert (not slowed(late).used.all()) is cut


def test_a_slowing_within_the_noise_is_none():
    # Over 10 frames the speed has a standard error of sd / sqrt(82.5); 0.7 lost needs 4 of them.
    error = 0.7 / 4.0 * np.sqrt(82.5)
    assert slowed(0.3, sd=1.1 * error).used.all()
    assert not slowed(0.3, sd=0.9 * error).used.all()


def test_short_runs_are_not_cut():
    theta = np.arange(13.0)
    h = np.concatenate([np.arange(9.0), np.full(4, 8.0)])
    assert drop_slowed(readings(13, 1e-6), h, theta, np.ones(13)).used.all()


def test_a_film_s_first_half_second_is_after_resin_start():
    t = np.array([-0.5, 0.5, *TIMES])
    found = chosen(edge_front_mm(t) + 60.0, t)
    assert found.notes[:2] == ("before resin start", "")
