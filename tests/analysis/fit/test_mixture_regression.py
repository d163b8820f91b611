"""The regression against general-purpose linear algebra and statistics."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from analysis.fit.mixture_regression import (
    EVIDENCE_SHARE,
    MOST_ROWS,
    SMALLEST_RESIDUAL,
    TRIAL_SPANS,
    TRIAL_WHITE,
    Mixture,
    evidence_weights,
    fit_model,
    interval,
    join,
    share_below,
    whiteners,
)

TIMES = np.array([1.0, 2.0, 4.0, 5.0, 9.0, 12.0, 13.0, 17.0, 20.0])


def trial_correlations(t):
    """Every trial correlation, written out again: white, then slow and fresh parts."""
    lag = np.abs(t[:, None] - t[None]) / (t[-1] - t[0])
    yield np.eye(len(t))
    for span in TRIAL_SPANS:
        for white in TRIAL_WHITE:
            yield (1 - white) * np.exp(-lag / span) + (white + 1e-9) * np.eye(len(t))


def test_each_trial_makes_its_residuals_independent():
    trials, wanted = whiteners(TIMES), list(trial_correlations(TIMES))
    assert len(trials) == len(wanted) == 1 + len(TRIAL_SPANS) * len(TRIAL_WHITE)
    for trial, correlation in zip(trials, wanted, strict=True):
        assert_allclose(trial.matrix @ correlation @ trial.matrix.T, np.eye(9), atol=1e-8)
        assert trial.log_det == pytest.approx(np.linalg.slogdet(correlation)[1], abs=1e-6)
        assert trial.lag_one == pytest.approx(np.median(np.diag(correlation, 1)), abs=1e-9)


def test_many_readings_are_averaged_in_neighbouring_groups():
    t = np.arange(1.0, 361.0)
    trials = whiteners(t)
    assert trials[0].matrix.shape == (MOST_ROWS, 360)
    assert_allclose(trials[0].matrix @ t, t.reshape(-1, 3).mean(axis=1))
    assert trials[5].matrix.shape == (MOST_ROWS, 360)


def linear(seed=0):
    rng = np.random.default_rng(seed)
    design = np.stack([np.ones(9), TIMES], axis=1)
    sd = rng.uniform(0.5, 2.0, 9)
    return design, design @ [3.0, -0.5] + sd * rng.normal(0, 1, 9), sd


def test_a_linear_model_is_generalised_least_squares():
    design, y, sd = linear()
    fit = fit_model(lambda p: (design @ p, lambda: design), np.zeros(2), y, sd, whiteners(TIMES))
    score = []
    for i, correlation in enumerate(trial_correlations(TIMES)):
        inverse = np.linalg.inv(correlation * sd[:, None] * sd[None])
        covariance = np.linalg.inv(design.T @ inverse @ design)
        mean = covariance @ design.T @ inverse @ y
        square = (y - design @ mean) @ inverse @ (y - design @ mean)
        assert_allclose(fit.mixture.mean[i], mean, rtol=1e-4, atol=1e-5)
        assert_allclose(fit.mixture.covariance[i], covariance * square / 7, rtol=1e-4, atol=1e-9)
        log_det = np.linalg.slogdet(correlation)[1]
        # AICc with 2 parameters and 3 of the residuals: k = 5, n = 9.
        score.append(9 * np.log(square / 9) + log_det + 10 + 60 / 3)
    assert_allclose(fit.mixture.freedom, 7.0)
    best = int(np.argmin(score))
    assert fit.aicc == pytest.approx(min(score), abs=1e-4)
    assert_allclose(fit.parameters, fit.mixture.mean[best])
    assert fit.correlation == pytest.approx(whiteners(TIMES)[best].lag_one)
    assert fit.mixture.weight.sum() == pytest.approx(1.0)


def test_residuals_far_below_the_stated_sd_are_no_evidence():
    design, _, sd = linear()
    exact = design @ [3.0, -0.5]
    fit = fit_model(
        lambda p: (design @ p, lambda: design), np.zeros(2), exact, sd, whiteners(TIMES)[:1]
    )
    floor = 9 * SMALLEST_RESIDUAL**2
    white = np.linalg.inv(design.T @ (design / sd[:, None] ** 2))
    assert_allclose(fit.mixture.covariance[0], white * floor / 7, rtol=1e-6)
    assert fit.scale == pytest.approx(np.sqrt(floor / 7))


@pytest.mark.parametrize(("count", "fits"), [(4, False), (5, True)])
def test_how_few_readings_carry_a_model(count, fits):
    design, y, sd = (value[:count] for value in linear())
    found = fit_model(
        lambda p: (design @ p, lambda: design), np.zeros(2), y, sd, whiteners(TIMES[:count])
    )
    assert (found is not None) is fits


def test_a_curved_model_is_fitted_to_its_minimum():
    # y = a exp(-b t): scipy's least squares on the same residuals.
    from scipy.optimize import least_squares

    rng = np.random.default_rng(5)
    y = 4.0 * np.exp(-0.2 * TIMES) + rng.normal(0, 0.05, 9)

    def predict(p):
        shape = np.exp(-p[1] * TIMES)
        return p[0] * shape, lambda: np.stack([shape, -p[0] * TIMES * shape], axis=1)

    fit = fit_model(predict, np.array([1.0, 0.5]), y, np.full(9, 0.05), whiteners(TIMES)[:1])
    best = least_squares(lambda p: (predict(p)[0] - y) / 0.05, [1.0, 0.5]).x
    assert_allclose(fit.parameters, best, rtol=1e-3)


def random_mixture(seed, count=5):
    rng = np.random.default_rng(seed)
    weight = rng.uniform(0.1, 1.0, count)
    return Mixture(
        weight / weight.sum(),
        rng.normal(0, 1, (count, 1)),
        rng.uniform(0.01, 1.0, (count, 1, 1)),
        rng.uniform(3, 30, count),
    )


def share_by_scipy(m, x, extra):
    statistical = m.covariance[:, 0, 0]
    variance = statistical + extra**2
    # Welch and Satterthwaite: freedom of a sum of variances, the added one being known.
    freedom = m.freedom * (variance / statistical) ** 2
    return np.sum(m.weight * stats.t.cdf((x - m.mean[:, 0]) / np.sqrt(variance), freedom))


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("extra", [0.0, 0.4])
def test_interval_holds_its_share_of_the_mixture(seed, extra):
    m = random_mixture(seed)
    for level in (0.5, 0.95):
        low, high = interval(m, extra, level)
        assert share_by_scipy(m, low, extra) == pytest.approx((1 - level) / 2, abs=1e-6)
        assert share_by_scipy(m, high, extra) == pytest.approx((1 + level) / 2, abs=1e-6)
    assert share_below(m, 0.3, extra) == pytest.approx(share_by_scipy(m, 0.3, extra), abs=1e-9)


def test_guesses_of_no_weight_do_not_count():
    m = random_mixture(1)
    far = Mixture(np.ones(1), np.full((1, 1), 1e6), np.ones((1, 1, 1)), np.full(1, 5.0))
    joined = join([m, far], np.array([1.0, 1e-9]))
    assert interval(joined, 0.1) == pytest.approx(interval(m, 0.1), rel=1e-6)


def test_join_gives_each_mixture_its_weight():
    a, b = random_mixture(1, 2), random_mixture(2, 3)
    both = join([a, b], np.array([3.0, 1.0]))
    assert_allclose(both.weight, np.concatenate([0.75 * a.weight, 0.25 * b.weight]))
    assert_allclose(both.mean, np.concatenate([a.mean, b.mean]))
    assert_allclose(both.covariance, np.concatenate([a.covariance, b.covariance]))
    assert_allclose(both.freedom, np.concatenate([a.freedom, b.freedom]))


def test_weights_of_models_are_tempered_akaike_weights():
    # exp(-share x difference / 2), normalised (Burnham and Anderson 2002, from memory).
    weights = evidence_weights(np.array([10.0, 12.0, 30.0]))
    wanted = np.exp(-0.5 * EVIDENCE_SHARE * np.array([0.0, 2.0, 20.0]))
    assert_allclose(weights, wanted / wanted.sum())
    assert_allclose(evidence_weights(np.array([np.inf])), [1.0])
