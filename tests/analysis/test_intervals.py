"""Intervals against a bootstrap, which knows nothing of the formulas used."""

import numpy as np
import pytest

from analysis.permeability import fit_permeability
from analysis.records import Resin, Stack, Vacuum
from analysis.regression import Mixture, interval, project
from tests.analysis.made_up import edge_front_mm, make_curve, make_front, make_panel, make_scale

TIMES = np.linspace(20.0, 1500.0, 30)
EXACT = make_panel(
    resin=Resin(viscosity_pa_s=0.2, viscosity_sd=0.0),
    vacuum=Vacuum(95_000.0, 0.0),
    stack=Stack(0.5, 0.0),
)


def slow_noise(rng, rho, sd):
    out = rng.normal(0, sd, len(TIMES))
    for i in range(1, len(out)):
        out[i] = rho * out[i - 1] + np.sqrt(1 - rho**2) * out[i]
    return out


@pytest.mark.parametrize("rho", [0.0, 0.7])
def test_the_stated_width_is_that_of_a_bootstrap(rho):
    # Bootstrap of Efron 1979, Ann. Stat. 7, 1: here parametric, with the noise's own law.
    rng = np.random.default_rng(7)
    logs, widths = [], []
    for _ in range(60):
        x = edge_front_mm(TIMES) + slow_noise(rng, rho, 1.0)
        found = fit_permeability(EXACT, make_curve(TIMES, x, 0.05), make_front(), make_scale(0.0))
        logs.append(np.log(found.k_m2))
        widths.append(np.log(found.k_high_m2 / found.k_low_m2) / 3.92)
    # Intervals also carry the doubt over model and correlation, so they may be wider, not narrower.
    assert 0.85 * np.std(logs) < np.median(widths) < 2.5 * np.std(logs)
    held = np.abs(np.array(logs) - np.log(1e-10)) < 1.96 * np.array(widths)
    assert held.mean() >= 0.88


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
