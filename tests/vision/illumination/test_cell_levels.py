import numpy as np
from numpy.testing import assert_allclose

from vision.illumination.cell_levels import (
    best_split,
    expected_step_ratio,
    find_off_colours,
    off_colour_size,
    typical_step,
    wet_frame_from_evidence,
)
from vision.settings.wetting_settings import LightSettings

LIGHT = LightSettings()
STEP = np.array([-0.30, -0.24, -0.20])


def test_the_best_split_is_where_the_mean_steps():
    series = np.zeros((20, 1, 1))
    series[7:] = -1.0
    split, step, gain = best_split(series)
    assert (split[0], step[0, 0]) == (7, -1.0)
    assert gain[0] > 0


def test_change_is_count_where_nothing_wets():
    assert wet_frame_from_evidence(-np.ones((6, 2))).tolist() == [6, 6]


def test_glare_can_show_less_of_the_step():
    dry = np.full((10, 3), 4.0)
    dry[0] += 1.0
    ratio = expected_step_ratio(dry)
    assert_allclose(ratio[1:], 1.0)
    assert_allclose(ratio[0], np.exp(-1.0))


def test_cells_full_of_ink_do_not_make_the_typical_step():
    rng = np.random.default_rng(6)
    step = STEP + rng.normal(0, 0.01, (400, 3))
    step[:120] = 2.5 * STEP
    gain = np.sum(step**2, axis=1)
    assert_allclose(typical_step(step, gain, LIGHT), STEP, atol=0.05)


def test_thin_marks_that_stay_are_ink_and_large_ones_are_in_the_way():
    size = np.zeros((40, 10, 16))
    size[32:, :, 5] = 2.0
    size[32:, 3:7, 10:14] = 2.0
    size[4:6, :, 2] = 2.0
    kept = find_off_colours(size, LIGHT.left_lying_frames)
    assert not kept[32:, :, 5].any()
    assert kept[32:, 3:7, 10:14].all()
    assert kept[4:6, :, 2].all()


def test_ink_that_is_only_just_of_another_colour_stays_all_the_same():
    size = np.full((40, 10, 16), 0.2)
    size[32:, :, 5] = 0.9
    size[32::3, :, 5] = 1.1
    assert not find_off_colours(size, LIGHT.left_lying_frames).any()
    size[36:, :, 5] = 0.2  # gone again: something stood there
    assert find_off_colours(size, LIGHT.left_lying_frames)[32:36:3, :, 5].all()


def test_a_colour_off_the_way_from_dry_to_wet_is_told_from_any_on_it():
    noise = np.eye(3) * 0.004**2
    above = np.linspace(0, 1, 12)[:, None, None] * STEP + np.zeros((12, 5, 3))
    above[4, 2] += np.array([0.1, 0.0, -0.1])
    size = off_colour_size(above, STEP, noise, LIGHT)
    assert size[4, 2] > 1
    assert np.delete(size.ravel(), 4 * 5 + 2).max() < 0.1


def test_what_grows_brighter_is_not_the_wetting_where_something_grew_darker():
    # Wet fabric scatters less light: Lekner and Dorf, Appl. Opt. 27, 1278, 1988 (from memory).
    rng = np.random.default_rng(8)
    step = STEP + rng.normal(0, 0.01, (400, 3))
    step[:150] = 0.4  # a patch of sun, larger than the step
    gain = np.sum(step**2, axis=1)
    assert_allclose(typical_step(step, gain, LIGHT), STEP, atol=0.02)
    # A fabric that does grow brighter, with cells that only scatter, is taken at its word.
    bright = np.concatenate([np.full((200, 3), 0.2), rng.normal(0, 0.002, (200, 3))])
    gain = np.sum(bright**2, axis=1)
    assert_allclose(typical_step(bright, gain, LIGHT), [0.2] * 3, atol=0.02)


def test_a_fifth_of_the_cells_is_enough_to_tell_the_step():
    rng = np.random.default_rng(10)
    step = rng.normal(0, 0.003, (400, 3))
    step[:80] += STEP
    assert_allclose(typical_step(step, np.sum(step**2, axis=1), LIGHT), STEP, atol=0.02)


def test_a_bright_table_beside_dark_cloth_does_not_hide_glare_on_the_cloth():
    dry, cloth = np.full((20, 3), 3.0), np.arange(20) < 8
    dry[~cloth] = 5.0
    dry[0] = 4.0
    assert expected_step_ratio(dry)[0] == 1.0
    ratio = expected_step_ratio(dry, cloth)
    assert_allclose(ratio[1:8], 1.0)
    assert_allclose(ratio[0], np.exp(-1.0))
