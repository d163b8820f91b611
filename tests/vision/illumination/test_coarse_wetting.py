from dataclasses import replace

import numpy as np
from numpy.testing import assert_allclose

from vision.illumination.cell_levels import (
    change_from_evidence,
    expected_gain,
    first_change,
    typical_step,
    without_ink,
)
from vision.illumination.coarse_wetting import LEAST_CONTRAST, better_look, look
from vision.illumination.light_basis import cell_centres, polynomial_basis

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


def shadow_over(xy, count, depth=0.4, width=0.6, speed=-0.06, start=1.5):
    """Logarithm of a soft band of shadow that moves over scaled places; shape (K, P)."""
    middle = start + speed * np.arange(count)[:, None]
    away = (xy[:, 0] + 0.2 * xy[:, 1] - middle) / width
    return np.log(1 - depth * np.exp(-(away**4)))


def test_a_shadow_the_table_shows_is_taken_off_the_panel():
    levels, border, border_xy, change = made_up_run(seed=4)
    count, rows, cols, _ = levels.shape
    cells_xy = np.stack(cell_centres(rows, cols), axis=1)
    levels = levels + shadow_over(cells_xy, count).reshape(count, rows, cols, 1)
    border = border + shadow_over(border_xy, count)[..., None]
    found = look(levels, border, border_xy)
    assert found.shapes.is_uneven
    assert np.mean(np.abs(found.change - change) <= 1) > 0.95


def test_sun_on_one_side_of_the_table_hardly_reaches_the_panel():
    levels, border, border_xy, change = made_up_run(seed=5)
    border[12:, border_xy[:, 1] < -1] += 0.5
    found = look(levels, border, border_xy)
    assert np.mean(np.abs(found.change - change) <= 1) > 0.9


def test_cells_full_of_ink_do_not_make_the_typical_step():
    rng = np.random.default_rng(6)
    step = STEP + rng.normal(0, 0.01, (400, 3))
    step[:120] = 2.5 * STEP
    gain = np.sum(step**2, axis=1)
    assert_allclose(typical_step(step, gain), STEP, atol=0.05)


def test_thin_marks_that_stay_are_ink_and_large_ones_are_in_the_way():
    odd = np.zeros((20, 10, 16), bool)
    odd[12:, :, 5] = True
    odd[12:, 3:7, 10:14] = True
    odd[4:6, :, 2] = True
    kept = without_ink(odd)
    assert not kept[12:, :, 5].any()
    assert kept[12:, 3:7, 10:14].all()
    assert kept[4:6, :, 2].all()


def test_what_grows_brighter_is_not_the_wetting_where_something_grew_darker():
    # Wet fabric scatters less light: Lekner and Dorf, Appl. Opt. 27, 1278, 1988 (from memory).
    rng = np.random.default_rng(8)
    step = STEP + rng.normal(0, 0.01, (400, 3))
    step[:150] = 0.4  # a patch of sun, larger than the step
    gain = np.sum(step**2, axis=1)
    assert_allclose(typical_step(step, gain), STEP, atol=0.02)
    # A fabric that does grow brighter, with cells that only scatter, is taken at its word.
    bright = np.concatenate([np.full((200, 3), 0.2), rng.normal(0, 0.002, (200, 3))])
    assert_allclose(typical_step(bright, np.sum(bright**2, axis=1)), [0.2] * 3, atol=0.02)


def test_bumps_that_take_the_wetting_for_light_are_left_aside():
    levels, border, border_xy, _ = made_up_run(seed=9)
    even = look(levels, border, border_xy)
    weak = replace(even, wet_vector=0.3 * even.wet_vector, contrast=0.3 * even.contrast)
    # Less is left, but not beside the step; without contrast the run is to be refused.
    assert better_look((even, 0.02), (replace(weak, contrast=50.0), 0.012)) is even
    faint = replace(weak, contrast=LEAST_CONTRAST - 1)
    assert better_look((even, 0.02), (faint, 0.012)) is faint
    assert better_look((even, 0.02), (faint, 0.03)) is even
    strong = replace(even, light=even.light + 1.0)
    assert better_look((even, 0.02), (strong, 0.012)) is strong
