"""A front that stands still is told; one that the plan has slow is not."""

import numpy as np
import pytest

from analysis.infusion.outlook.standstill import find_standstill

X = (np.arange(400) + 0.5) / 400
AREA = np.ones(400)
EDGE_S = 3600.0 * X**2
"""x^2 = k t: Darcy with a sharp front at constant pressure."""


def shares(arrival_s, time_s):
    return np.array([(arrival_s <= t).mean() for t in time_s])


@pytest.mark.parametrize("pace", [0.6, 1.0, 1.7])
def test_a_run_that_goes_on_never_stands_at_any_pace(pace):
    time_s = np.arange(60.0, 3600.0 * pace, 60.0)
    seen = shares(EDGE_S * pace, time_s)
    for k in range(5, len(time_s)):
        assert find_standstill(time_s[:k], seen[:k], 0.002, EDGE_S, AREA) is None


def test_one_that_stops_is_found_where_and_when_it_did():
    time_s = np.arange(60.0, 1800.0, 60.0)
    seen = shares(EDGE_S, np.minimum(time_s, 900.0))
    found = find_standstill(time_s, seen, 0.002, EDGE_S, AREA)
    assert found.share == pytest.approx(0.5, abs=0.01)
    assert found.since_s == pytest.approx(900.0, abs=60.0)
    assert found.due == pytest.approx(np.sqrt(1740 / 3600) - 0.5, abs=0.02)


def test_it_takes_several_looks():
    time_s = np.arange(60.0, 1800.0, 60.0)
    seen = shares(EDGE_S, np.minimum(time_s, 900.0))
    first = next(
        k for k in range(len(time_s))
        if find_standstill(time_s[:k], seen[:k], 0.002, EDGE_S, AREA) is not None
    )  # fmt: skip
    assert time_s[first - 1] >= 900.0 + 3 * 60.0


def test_a_place_that_the_plan_has_slow_is_none():
    slow = np.where(X < 0.5, EDGE_S, 900.0 + 40_000.0 * (X - 0.5))
    time_s = np.arange(60.0, 3000.0, 60.0)
    seen = shares(slow, time_s)
    assert find_standstill(time_s, seen, 0.002, slow, AREA) is None


def test_a_full_part_and_noise_are_none():
    time_s = np.arange(60.0, 7200.0, 60.0)
    assert find_standstill(time_s, shares(EDGE_S, time_s), 0.002, EDGE_S, AREA) is None
    stopped = shares(EDGE_S, np.minimum(np.arange(60.0, 1400.0, 60.0), 900.0))
    assert find_standstill(np.arange(60.0, 1400.0, 60.0), stopped, 0.05, EDGE_S, AREA) is None
