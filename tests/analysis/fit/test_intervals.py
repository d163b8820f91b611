"""Intervals against a bootstrap, which knows nothing of the formulas used."""

import numpy as np
import pytest

from analysis.fit.candidate_models import fit_one
from analysis.fit.frame_selection import Readings
from analysis.fit.front_laws import edge_law
from analysis.fit.impulse import constant_impulse
from analysis.fit.mixture_regression import (
    WHITE_PRIOR,
    Mixture,
    fit_model,
    interval,
    project,
    whiteners,
)
from tests.bench.interval_coverage import coverage
from tests.made_up.curves import edge_front_mm

TIMES = np.linspace(20.0, 1500.0, 30)


def slow_noise(rng, rho, sd):
    out = rng.normal(0, sd, len(TIMES))
    for i in range(1, len(out)):
        out[i] = rho * out[i - 1] + np.sqrt(1 - rho**2) * out[i]
    return out


@pytest.mark.parametrize("rho", [0.0, 0.7])
def test_the_stated_width_is_that_of_a_bootstrap(rho):
    # Bootstrap of Efron 1979, Ann. Stat. 7, 1: here parametric, with the noise's own law.
    rng = np.random.default_rng(7)
    impulse, used = constant_impulse(95_000.0, 0.2), np.ones(len(TIMES), bool)
    trials = whiteners(TIMES)
    logs, widths, held = [], [], []
    for _ in range(80):
        x = (edge_front_mm(TIMES) + slow_noise(rng, rho, 1.0)) / 1000.0
        readings = Readings(TIMES, x, np.full(len(TIMES), 1e-3), used, ("",) * len(TIMES))
        found = fit_one(edge_law(), impulse, readings, (True, False), trials).mixture
        low, high = interval(
            project(found, found.mean[:, 0], np.tile([1.0, 0, 0], (len(found.weight), 1))), 0.0
        )
        logs.append(float(found.weight @ found.mean[:, 0]))
        widths.append((high - low) / 3.92)
        held.append(low < np.log(4e-10) < high)
    # The correlation is not known either, which costs some width on 30 frames.
    assert 0.85 * np.std(logs) < np.median(widths) < 2.2 * np.std(logs)
    assert np.mean(held) >= 0.87  # 95 % expected; 80 draws


@pytest.mark.slow
def test_intervals_hold_the_truth_on_panels_simulated_independently():
    # 95 % expected; of 80 draws at least 70 hold in all but one of 600 such tests (binomial).
    found, lost = coverage(80, seed=3)
    assert lost == 0
    for name, (held, _, _) in found.items():
        assert held >= 70 / 80, name


def test_trials_weigh_as_their_restricted_likelihood_times_their_prior():
    # Restricted likelihood of Patterson and Thompson 1971 (from memory), worked out by hand.
    rng = np.random.default_rng(3)
    design = np.stack([np.ones(30), np.linspace(0, 1, 30)], axis=1)
    observed = design @ [1.0, 2.0] + rng.normal(0, 0.1, 30)
    trials = whiteners(TIMES)
    assert [trial.prior for trial in trials] == [WHITE_PRIOR] + [1.0] * (len(trials) - 1)
    found = fit_model(
        lambda p: (design @ p, lambda: design), np.zeros(2), observed, np.ones(30), trials
    )
    by_hand = []
    for trial in trials:
        x, y = trial.matrix @ design, trial.matrix @ observed
        _, square, *_ = np.linalg.lstsq(x, y, rcond=None)
        square = max(float(square[0]), 30 * 0.05**2)
        log_det = trial.log_det + np.linalg.slogdet(x.T @ x)[1]
        by_hand.append(-0.5 * (28 * np.log(square) + log_det) + np.log(trial.prior))
    expected = np.exp(np.array(by_hand) - max(by_hand))
    assert found.mixture.weight == pytest.approx(expected / expected.sum(), rel=1e-4, abs=1e-9)


def test_interval_of_one_guess_is_students():
    # Student's t: 2.5 % point with 10 degrees of freedom is 2.228 (printed tables).
    one = Mixture(np.ones(1), np.zeros((1, 1)), np.ones((1, 1, 1)), np.array([10.0]))
    low, high = interval(one, 0.0)
    assert (low, high) == pytest.approx((-2.228, 2.228), abs=1e-3)


def test_interval_of_two_guesses_spans_both():
    two = Mixture(
        np.array([0.5, 0.5]),
        np.array([[-3.0], [3.0]]),
        np.full((2, 1, 1), 0.01),
        np.full(2, 1e6),
    )
    low, high = interval(two, 0.0)
    assert low == pytest.approx(-3.0 - 0.1 * 1.645, abs=0.005)
    assert high == pytest.approx(-low)


def test_projection_adds_up_the_covariance():
    mixture = Mixture(
        np.ones(1), np.zeros((1, 2)), np.array([[[4.0, 1.0], [1.0, 9.0]]]), np.array([50.0])
    )
    found = project(mixture, np.array([2.0]), np.array([[1.0, -1.0]]))
    assert found.covariance[0, 0, 0] == pytest.approx(4 + 9 - 2)
