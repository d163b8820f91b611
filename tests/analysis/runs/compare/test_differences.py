"""Which differences are real: the table of ranges, and simulated pairs of like panels."""

import numpy as np
import pytest
from scipy import stats

from analysis.runs.compare.differences import (
    SCATTER,
    Estimate,
    Mean,
    differences,
    estimate,
    mean_of,
    own_scatter,
    range_quantile,
)

# Table of the studentized range at 5 % with infinite degrees of freedom, as in most handbooks
# (Harter 1960; from memory).
RANGES = {2: 2.77, 3: 3.31, 4: 3.63, 5: 3.86, 6: 4.03, 8: 4.29, 10: 4.47}


@pytest.mark.parametrize("count", RANGES)
def test_range_of_the_table_and_of_a_general_library(count):
    assert range_quantile(count) == pytest.approx(RANGES[count], abs=0.006)
    theirs = stats.studentized_range.ppf(0.95, count, np.inf)
    assert range_quantile(count) == pytest.approx(theirs, abs=1e-4)


def test_two_setups_are_the_ordinary_test():
    (one,) = differences({"A": Mean(0.0, 0.1, 1), "B": Mean(0.3, 0.1, 1)})
    assert one.ratio == pytest.approx(np.exp(0.3))
    assert one.needed == pytest.approx(np.exp(1.959964 * 0.1 * np.sqrt(2)), rel=1e-4)
    assert one.real
    assert not differences({"A": Mean(0.0, 0.1, 1), "B": Mean(-0.25, 0.1, 1)})[0].real
    assert differences({"A": Mean(0.0, 0.1, 1), "B": Mean(-0.3, 0.1, 1)})[0].real


def test_mean_of_like_panels_keeps_the_shared_error():
    one = Estimate(1e-10, 0.9e-10, 1.1e-10, 0.05)
    two = Estimate(1.21e-10, 1.1e-10, 1.3e-10, 0.05)
    mean = mean_of([one, two], 0.12)
    assert mean.value == pytest.approx(1.1e-10)
    assert mean.sd == pytest.approx(np.sqrt(0.05**2 + 0.12**2 / 2))
    assert mean.ends[0] < mean.value < mean.ends[1]


@pytest.mark.parametrize(
    "ends", [(None, 1, 2), (1, None, 2), (2, 1, np.inf), (2, 0.0, 3), (2, 2.5, 3)]
)
def test_what_has_no_closed_interval_is_not_compared(ends):
    assert estimate(*ends) is None


def test_an_interval_becomes_a_relative_sd():
    found = estimate(1.0, np.exp(-0.196), np.exp(0.196))
    assert found.sd == pytest.approx(0.1, rel=1e-4)


def test_own_scatter_of_repeats():
    def group(*values):
        return [Estimate(v, v, v, 0.0) for v in values]

    sd, freedom = own_scatter([group(1.0, np.exp(0.2)), group(5.0), group(2.0, 2.0, 2.0)])
    assert freedom == 3
    assert sd == pytest.approx(np.sqrt(0.02 / 3))
    assert own_scatter([group(1.0)])[1] == 0


def simulated(rng, count, k, scatter, measured):
    """Estimates of panels of permeability k: scatter between them, and an error of each."""
    true = k * np.exp(rng.normal(0, scatter, count))
    found = true * np.exp(rng.normal(0, measured, count))
    return [Estimate(v, v, v, measured) for v in found]


@pytest.mark.parametrize("scatter", [0.08, 0.12])
@pytest.mark.parametrize("count", [2, 4])
def test_like_panels_are_rarely_called_different(scatter, count):
    # By the scatter of May et al. 2019, and a measurement of 5.7 %.
    rng, wrong, rounds = np.random.default_rng(7), 0, 1500
    for _ in range(rounds):
        found = simulated(rng, count, 1e-10, scatter, 0.057)
        means = {str(i): mean_of([one], SCATTER) for i, one in enumerate(found)}
        wrong += any(difference.real for difference in differences(means))
    assert wrong / rounds <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / rounds)


@pytest.mark.parametrize("scatter", [0.08, 0.12])
def test_half_as_much_again_is_mostly_seen(scatter):
    rng, right, rounds = np.random.default_rng(8), 0, 1500
    for _ in range(rounds):
        (a,) = simulated(rng, 1, 1e-10, scatter, 0.057)
        (b,) = simulated(rng, 1, 1.5e-10, scatter, 0.057)
        means = {"A": mean_of([a], SCATTER), "B": mean_of([b], SCATTER)}
        right += differences(means)[0].real
    assert right / rounds > 0.5


def test_three_panels_each_see_more():
    rng, right, rounds = np.random.default_rng(9), 0, 800
    for _ in range(rounds):
        means = {
            "A": mean_of(simulated(rng, 3, 1e-10, 0.12, 0.03), SCATTER),
            "B": mean_of(simulated(rng, 3, 1.5e-10, 0.12, 0.03), SCATTER),
        }
        right += differences(means)[0].real
    assert right / rounds > 0.9
