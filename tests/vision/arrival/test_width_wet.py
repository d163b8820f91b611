import numpy as np
import pytest

from tests.made_up.canvases import square_root_front
from vision.arrival.width_wet import front_of_share_mm, half_and_band_mm
from vision.records import ArrivalMap

MM_PER_PX, RATE = 0.5, 25.0
TIMES_S = np.arange(-10.0, 300.0, 10.0)
ALL = np.ones(90, bool)


def mottled(delay_mm, shape=(90, 200), seed=2):
    """Arrival map in which each spot wets once the front is past it by a scatter of `delay_mm`."""
    x_mm = (np.arange(shape[1]) + 0.5) * MM_PER_PX
    late = np.random.default_rng(seed).permutation(np.linspace(0, delay_mm, shape[0]))
    reach = x_mm[None, :] + late[:, None]
    return reach**2 / RATE


def arrival(time_s, seen=None):
    seen = np.ones(time_s.shape, bool) if seen is None else seen
    return ArrivalMap(time_s, seen, np.zeros_like(seen), MM_PER_PX, float(TIMES_S[-1]))


def front_mm():
    return np.sqrt(RATE * TIMES_S.clip(0))


def test_a_straight_front_has_no_band_and_its_half_is_the_front():
    half, band = half_and_band_mm(arrival(mottled(0.0)), ALL, TIMES_S)
    assert np.abs(half - front_mm()).max() < 0.1
    assert band.max() == 0.0


def test_half_and_band_of_a_front_whose_lanes_lag_evenly_up_to_20_mm():
    half, band = half_and_band_mm(arrival(mottled(20.0)), ALL, TIMES_S)
    on = front_mm() > 25
    # Lags spread evenly from 0 to 20 mm: half lag by 10 or less, and 0.1 to 0.9 of them span 16.
    assert np.abs(half - (front_mm() - 10.0))[on].max() < 0.4
    assert band[on] == pytest.approx(16.0, abs=0.6)


def test_spots_that_wet_late_behind_the_leading_edge_count_as_dry_till_then():
    time_s = mottled(0.0)
    x_mm = (np.arange(200) + 0.5) * MM_PER_PX
    time_s[:54, :] = (x_mm + 12.0) ** 2 / RATE  # three fifths of the width, 12 mm late
    half, _ = half_and_band_mm(arrival(time_s), ALL, TIMES_S)
    on = front_mm() > 15
    assert np.abs(half - (front_mm() - 12.0))[on].max() < 0.3


def test_a_dry_island_behind_the_front_does_not_pull_it_back():
    time_s = mottled(0.0)
    time_s[10:70, 40:60] = np.inf
    half, _ = half_and_band_mm(arrival(time_s), ALL, TIMES_S)
    past = front_mm() > 31
    assert np.abs(half - front_mm())[past].max() < 0.1


def test_what_was_filled_has_no_say_and_a_place_mostly_hidden_is_not_told():
    time_s, seen = mottled(0.0), np.ones((90, 200), bool)
    seen[:30] = False
    time_s[:30] = 0.0  # filled in, wrongly
    half, band = half_and_band_mm(arrival(time_s, seen), ALL, TIMES_S)
    assert np.abs(half - front_mm()).max() < 0.1
    assert band.max() == 0.0
    seen[:60, 100:120] = False
    half, _ = half_and_band_mm(arrival(time_s, seen), ALL, TIMES_S)
    inside = (front_mm() > 51) & (front_mm() < 59)
    outside = (front_mm() < 49) | (front_mm() > 62)
    assert np.isnan(half[inside]).all()
    assert np.abs(half - front_mm())[outside].max() < 0.1


def test_nothing_seen_or_nothing_wet():
    hidden = arrival(mottled(0.0), np.zeros((90, 200), bool))
    assert np.isnan(front_of_share_mm(hidden, ALL, TIMES_S, 0.5)).all()
    dry = arrival(np.full((90, 200), np.inf))
    assert front_of_share_mm(dry, ALL, TIMES_S, 0.5).max() == 0.0


def test_the_sooner_of_two_shares_is_never_behind():
    _, time_s = square_root_front()
    shown = arrival(time_s + np.random.default_rng(5).normal(0, 8, time_s.shape))
    few, many = (front_of_share_mm(shown, ALL, TIMES_S, share) for share in (0.1, 0.9))
    assert (few >= many - 1e-9).all()
