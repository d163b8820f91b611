from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from vision.illumination.coarse_wetting import (
    CoarseWetting,
    better_light,
    either_light,
    find_coarse_wetting,
)
from vision.illumination.light_basis import cell_centres, polynomial_basis

STEP = np.array([-0.30, -0.24, -0.20])
LEAST = 8.0
"""Contrast below which a run is refused."""


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
    found = find_coarse_wetting(levels, border, border_xy)
    assert np.mean(np.abs(found.wet_frame - change) <= 1) > 0.98
    assert_allclose(found.wet_vector, STEP, atol=0.03)
    assert found.contrast > 10


def test_light_is_followed_on_the_panel_where_no_border_shows():
    levels, _, _, change = made_up_run(seed=2)
    found = find_coarse_wetting(levels)
    assert np.mean(np.abs(found.wet_frame - change) <= 1) > 0.9


def test_a_passing_hand_is_outvoted():
    levels, border, border_xy, change = made_up_run(seed=3)
    levels[18:22, 4:9, 10:16] -= 0.5
    found = find_coarse_wetting(levels, border, border_xy)
    assert np.mean(np.abs(found.wet_frame - change) <= 1) > 0.95


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
    found = find_coarse_wetting(levels, border, border_xy)
    assert found.shapes.is_uneven
    assert np.mean(np.abs(found.wet_frame - change) <= 1) > 0.95


def test_sun_on_one_side_of_the_table_hardly_reaches_the_panel():
    levels, border, border_xy, change = made_up_run(seed=5)
    border[12:, border_xy[:, 1] < -1] += 0.5
    found = find_coarse_wetting(levels, border, border_xy)
    assert np.mean(np.abs(found.wet_frame - change) <= 1) > 0.9


def test_bumps_that_take_the_wetting_for_light_are_left_aside():
    levels, border, border_xy, _ = made_up_run(seed=9)
    found = find_coarse_wetting(levels, border, border_xy)
    even = replace(found, unexplained=0.02)
    vector = 0.3 * found.wet_vector
    weak = replace(found, wet_vector=vector, contrast=LEAST + 40.0, unexplained=0.012)
    # Less is left, but not beside the step; without contrast the run is to be refused.
    assert better_light(even, weak, LEAST) is even
    faint = replace(weak, contrast=LEAST - 1)
    assert better_light(even, faint, LEAST) is faint
    assert better_light(even, replace(faint, unexplained=0.03), LEAST) is even
    strong = replace(found, light=found.light + 1.0, unexplained=0.012)
    assert better_light(even, strong, LEAST) is strong


def test_how_far_the_front_hangs_on_the_light_is_kept_where_both_explain_the_cells():
    frames = np.zeros((2, 10), int) + 4
    one = coarse_stub(frames, unexplained=0.010)
    near = coarse_stub(frames + 5, unexplained=0.015)
    far = coarse_stub(frames + 5, unexplained=0.030)
    assert either_light(one, near, one).other_light == pytest.approx(5 / 20)
    assert either_light(one, far, one).other_light == 0.0


def coarse_stub(wet_frame, unexplained):
    return CoarseWetting(
        light=np.zeros((20, 6, 3)),
        shapes=None,
        wet_frame=wet_frame,
        dry=np.zeros((2, 10, 3)),
        wet_vector=np.array([-0.3, -0.3, -0.3]),
        noise=np.eye(3),
        off_colour=np.zeros((20, 2, 10), bool),
        contrast=30.0,
        unexplained=unexplained,
    )
