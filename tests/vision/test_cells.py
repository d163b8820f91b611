import numpy as np
from numpy.testing import assert_allclose

from vision.cell_levels import change_from_evidence, expected_gain, first_change
from vision.cells import look
from vision.light import cell_centres, polynomial_basis

STEP = np.array([-0.30, -0.24, -0.20])


def made_up_run(rows=14, cols=24, count=40, seed=1):
    """Cells that wet from left to right, under drifting light with a lamp switched on."""
    rng = np.random.default_rng(seed)
    basis = polynomial_basis(*cell_centres(rows, cols))
    change = np.tile(3 + (np.arange(cols) ** 2) * 34 // cols**2, (rows, 1))
    light = np.cumsum(rng.normal(0, 0.01, (count, 6, 3)), axis=0)
    light[count // 2 :, :2] += 0.15
    wet = np.arange(count)[:, None, None] >= change
    levels = rng.normal(4.5, 0.05, (rows, cols, 3)) + wet[..., None] * STEP
    levels = levels + (basis @ light).reshape(count, rows, cols, 3)
    along = np.linspace(-1.2, 1.2, 12)
    border_xy = np.array([(a, b) for a in along for b in (-1.2, 1.2)])
    border_xy = np.concatenate([border_xy, border_xy[:, ::-1]])
    border = polynomial_basis(*border_xy.T) @ light + 4.0
    noise = rng.normal(0, 0.004, levels.shape)
    return levels + noise, border + rng.normal(0, 0.004, border.shape), border_xy, change


def test_change_and_step_are_found_under_changing_light():
    levels, border, border_xy, change = made_up_run()
    found = look(levels, border, border_xy)
    assert np.mean(np.abs(found.change - change) <= 1) > 0.98
    assert_allclose(found.wet_vector, STEP, atol=0.03)
    assert found.contrast > 10


def test_light_is_followed_on_the_panel_where_no_border_shows():
    levels, _, _, change = made_up_run(seed=2)
    found = look(levels)
    assert np.mean(np.abs(found.change - change) <= 1) > 0.9


def test_a_passing_hand_is_outvoted():
    levels, border, border_xy, change = made_up_run(seed=3)
    levels[18:22, 4:9, 10:16] -= 0.5
    found = look(levels, border, border_xy)
    assert np.mean(np.abs(found.change - change) <= 1) > 0.95


def test_first_change_splits_where_the_mean_steps():
    series = np.zeros((20, 1, 1))
    series[7:] = -1.0
    change, step, gain = first_change(series)
    assert (change[0], step[0, 0]) == (7, -1.0)
    assert gain[0] > 0


def test_change_is_count_where_nothing_wets():
    assert change_from_evidence(-np.ones((6, 2))).tolist() == [6, 6]


def test_glare_can_show_less_of_the_step():
    dry = np.full((10, 3), 4.0)
    dry[0] += 1.0
    gain = expected_gain(dry)
    assert_allclose(gain[1:], 1.0)
    assert_allclose(gain[0], np.exp(-1.0))
