"""Tolerance factors against a published table, a general library and drawn samples."""

import numpy as np
import pytest
from scipy import integrate, stats

from analysis.runs.repeat.tolerance import known_spread_factor, tolerance_factor

# Berthouex and Brown, Statistics for Environmental Engineers, table 21.1: two-sided tolerance
# factors at 95 % confidence for 90, 95 and 99 % of the values.
PUBLISHED = {
    4: (5.37, 6.34, 8.22),
    5: (4.29, 5.08, 6.60),
    6: (3.73, 4.42, 5.76),
    10: (2.86, 3.39, 4.44),
    20: (2.32, 2.76, 3.62),
    30: (2.15, 2.55, 3.35),
}


@pytest.mark.parametrize("count", PUBLISHED)
def test_published_table(count):
    for coverage, k in zip((0.90, 0.95, 0.99), PUBLISHED[count], strict=True):
        # The book rounds, and for some entries uses Howe's formula: half a unit and a little.
        assert tolerance_factor(count, coverage, 0.95) == pytest.approx(k, abs=0.0075)


@pytest.mark.parametrize(
    ("count", "k"), [(2, 36.519), (3, 9.789), (5, 5.077), (10, 3.393), (20, 2.760)]
)
def test_table_of_the_standard(count, k):
    # ISO 16269-6:2014, two-sided, mean and sd unknown, 95 % and 95 % (from memory).
    assert tolerance_factor(count, 0.95, 0.95) == pytest.approx(k, abs=6e-4)


def test_worked_example_of_the_handbook():
    # NIST/SEMATECH e-Handbook 7.2.6.3: 43 wafers, 90 % with 99 % confidence, Howe's k2 = 2.2173.
    assert tolerance_factor(43, 0.90, 0.99) == pytest.approx(2.2173, rel=0.003)


@pytest.mark.parametrize(("count", "coverage", "confidence"), [(3, 0.95, 0.9), (7, 0.9, 0.95)])
def test_integral_by_a_general_library(count, coverage, confidence):
    k = tolerance_factor(count, coverage, confidence)

    def enough(z):
        reach = np.sqrt(stats.ncx2.ppf(coverage, 1, z**2))  # P(|N(z,1)| < reach) = coverage
        spread = stats.chi2.sf((count - 1) * reach**2 / k**2, count - 1)
        return stats.norm.pdf(z, scale=1 / np.sqrt(count)) * spread

    held = 2 * integrate.quad(enough, 0, 8 / np.sqrt(count))[0]
    assert held == pytest.approx(confidence, abs=1e-5)


def test_drawn_samples_hold_the_share_with_the_confidence():
    rng, count, coverage, confidence = np.random.default_rng(5), 4, 0.95, 0.90
    k = tolerance_factor(count, coverage, confidence)
    drawn = rng.normal(3.0, 2.0, (20_000, count))
    mean, sd = drawn.mean(axis=1), drawn.std(axis=1, ddof=1)
    inside = stats.norm.cdf(mean + k * sd, 3, 2) - stats.norm.cdf(mean - k * sd, 3, 2)
    assert np.mean(inside >= coverage) == pytest.approx(confidence, abs=4 * 0.0021)


def test_prediction_with_known_spread():
    assert known_spread_factor(4, 0.95) == pytest.approx(stats.norm.ppf(0.975) * np.sqrt(1.25))


@pytest.mark.parametrize("numbers", [(1, 0.9, 0.9), (5, 0.0, 0.9), (5, 0.9, 1.0)])
def test_what_has_no_factor(numbers):
    with pytest.raises(ValueError, match="at least 2 values"):
        tolerance_factor(*numbers)
