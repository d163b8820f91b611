"""A front that leaps ahead and waits, beside fronts that resin makes."""

import numpy as np
import pytest

from vision.check.leaps import LEAP_MM, leapt

TIME_S = np.arange(20.0, 1220.0, 20.0)
EVEN_MM = np.sqrt(70 * TIME_S)
ALL = np.ones(len(TIME_S), bool)


def stopped(from_s, to_s):
    flown = TIME_S - np.clip(TIME_S - from_s, 0, to_s - from_s)
    return np.sqrt(70 * flown)


@pytest.mark.parametrize(
    "front_mm",
    [
        EVEN_MM,
        stopped(300, 600),
        stopped(600, 9000),
        np.sqrt(90.0**2 + 200 * TIME_S) - 90.0,
        np.sqrt(70 * (TIME_S + 0.8 * np.clip(TIME_S - 500, 0, None))),
        np.sqrt(70 * 400 * (1 - np.exp(-TIME_S / 400))),
    ],
    ids=["even", "stops and goes on", "stops", "feed resists", "speeds up", "slows down"],
)
def test_what_resin_does_is_no_leap(front_mm):
    assert not leapt(TIME_S, front_mm, ALL).any()


def test_a_leap_is_found_with_the_rows_that_wait_after_it():
    front_mm = np.maximum.accumulate(EVEN_MM + np.where(np.arange(60) == 30, 12.0, 0.0))
    ahead_mm = front_mm - EVEN_MM
    found = leapt(TIME_S, front_mm, ALL)
    assert found[ahead_mm > LEAP_MM].all()
    assert not found[ahead_mm < 0.4 * LEAP_MM].any()


def test_waves_of_the_cloth_and_rows_that_are_not_on_their_way_are_no_leaps():
    waves = 1.2 * np.sin(EVEN_MM / 9.0)
    assert not leapt(TIME_S, EVEN_MM + waves, ALL).any()
    arrived = np.minimum(EVEN_MM, 200.0)
    assert not leapt(TIME_S, arrived, arrived < 200.0).any()
    assert not leapt(TIME_S[:6], EVEN_MM[:6], ALL[:6]).any()


def test_photos_of_one_and_the_same_time_tell_no_leap_and_no_fault():
    time_s, front_mm = TIME_S.copy(), EVEN_MM.copy()
    time_s[20:32] = time_s[20]
    front_mm[25] += 2 * LEAP_MM
    assert not leapt(time_s, front_mm, ALL)[20:32].any()
    front_mm[45] += 2 * LEAP_MM
    assert leapt(time_s, front_mm, ALL)[45]
