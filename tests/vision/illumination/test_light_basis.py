import numpy as np
import pytest
from numpy.testing import assert_allclose

from vision.illumination.light_basis import cell_centres, polynomial_basis, robust_polynomials
from vision.settings.wetting_settings import LightSettings


def test_light_is_found_under_a_third_of_outliers():
    rng = np.random.default_rng(3)
    basis = polynomial_basis(*cell_centres(12, 20))
    truth = rng.normal(0, 0.05, (5, 6, 3))
    truth[:, 0] *= 4
    values = basis @ truth + rng.normal(0, 0.003, (5, 240, 3))
    values[:, rng.permutation(240)[:80]] -= 0.6
    found = robust_polynomials(basis, values, np.ones((5, 240)))
    assert_allclose(found, truth, atol=0.01)


@pytest.mark.parametrize("seed", range(3))
def test_broad_glare_sets_the_light_less_where_brighter_counts_as_farther_off(seed):
    # A soft glare over a fifth of the panel, as strong as a wet look, in a light that is even.
    x, y = cell_centres(12, 20)
    basis, away = polynomial_basis(x, y), np.hypot(x - 0.8, y + 0.8)
    values = np.random.default_rng(seed).normal(0, 0.02, (1, 240, 3))
    values += 0.45 * np.clip(2 * (1.2 - away) / 1.2, 0.0, 1.0)[:, None]
    plain, wary = (
        rms(basis @ robust_polynomials(basis, values, np.ones((1, 240)), rounds=4, above=above))
        for above in (None, np.full(240, LightSettings().glare_above))
    )
    assert wary < 0.5 * plain


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


def test_own_column_is_told_from_the_light():
    rng = np.random.default_rng(4)
    basis = polynomial_basis(*cell_centres(10, 20))[:, :3]
    own = np.tile((np.arange(200) % 20 < 9).astype(float), (2, 1))
    values = 0.1 + own[:, :, None] * np.array([-0.012, -0.008]) + rng.normal(0, 0.002, (2, 200, 2))
    found = robust_polynomials(basis, values, np.ones((2, 200)), own=own)
    assert_allclose(found[:, -1], [[-0.012, -0.008]] * 2, atol=0.002)
    assert_allclose(found[:, 0], 0.1, atol=0.01)


def test_too_few_places_give_no_light():
    basis = polynomial_basis(*cell_centres(2, 3))
    assert not robust_polynomials(basis, np.ones((1, 6, 3)), np.ones((1, 6))).any()
