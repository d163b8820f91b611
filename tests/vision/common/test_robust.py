"""Robust statistics, held against NumPy's own and against their definitions."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import spearmanr

from vision.common.robust import (
    biweight,
    median_of_few,
    rank_correlation,
    robust_scale,
    row_medians,
)


def test_row_medians_agree_with_numpy_where_all_count():
    values = np.random.default_rng(5).normal(size=(4, 11))
    assert_allclose(row_medians(values, np.ones((4, 11), bool)), np.median(values, axis=1))
    assert row_medians(values, np.zeros((4, 11), bool)).tolist() == [0.0] * 4


@pytest.mark.parametrize("count", [1, 2, 5, 8, 31])
def test_median_of_few_agrees_with_numpy(count):
    values = np.random.default_rng(count).normal(size=(count, 6, 4))
    assert_allclose(median_of_few(values), np.median(values, axis=0))


def test_robust_scale_of_normal_noise_is_its_standard_deviation():
    values = np.random.default_rng(8).normal(0.0, 2.5, 200_000)
    assert robust_scale(values) == pytest.approx(2.5, rel=0.01)
    values[:20_000] = 1e6
    assert robust_scale(values) == pytest.approx(2.5, rel=0.2)


def test_biweight_falls_from_one_to_nothing():
    weights = biweight(np.array([0.0, 0.5, 1.0, 7.0]))
    assert_allclose(weights, [1.0, 0.5625, 0.0, 0.0])  # (1 - u^2)^2


@pytest.mark.parametrize("levels", [3, 20, 1000])
def test_rank_correlation_agrees_with_scipy_ties_and_all(levels):
    rng = np.random.default_rng(levels)
    first = rng.integers(0, levels, 300)
    second = first + rng.normal(0.0, levels / 3, 300).round()
    assert rank_correlation(first, second) == pytest.approx(spearmanr(first, second)[0], abs=1e-12)


def test_rank_correlation_of_a_series_that_never_changes_is_unknown():
    assert np.isnan(rank_correlation([2, 2, 2], [1, 2, 3]))
