import numpy as np
from numpy.testing import assert_allclose

from tests.made_up.canvases import stack_of
from vision.settings.wetting_settings import WettingSettings
from vision.wetting.pixel_levels import expected_ratio, find_pixel_scale, frame_noise

WETTING = WettingSettings()


def levels_of(wet_frame, count, step, sigma, seed=1):
    rng = np.random.default_rng(seed)
    return [
        (0.3 + step * (wet_frame <= k) + rng.normal(0, sigma, wet_frame.shape)).astype(np.float32)
        for k in range(count)
    ]


def test_dry_level_step_and_noise_are_given_back():
    wet_frame = np.tile(4 + np.arange(120) // 8, (80, 1)).astype(np.int16)
    levels = levels_of(wet_frame, 30, step=0.8, sigma=0.05)
    expected = np.ones(wet_frame.shape, np.float32)
    pixels = find_pixel_scale(levels, wet_frame, expected, 3, 5, WETTING)
    # The mean of n frames scatters by sigma / sqrt(n), n being 3 at the least.
    assert abs(float(np.median(pixels.dry)) - 0.3) < 0.01
    assert float(np.median(np.abs(pixels.dry - 0.3))) < 0.05 / np.sqrt(3)
    assert_allclose(np.median(pixels.step_ratio), 0.8, atol=0.03)
    assert_allclose(pixels.sigma, 0.05, rtol=0.1)


def test_a_hand_in_one_frame_moves_the_levels_little():
    wet_frame = np.full((80, 120), 10, np.int16)
    levels = levels_of(wet_frame, 20, step=1.0, sigma=0.02)
    levels[5][20:60, 20:60] -= 3.0
    levels[12][20:60, 20:60] += 3.0
    expected = np.ones(wet_frame.shape, np.float32)
    pixels = find_pixel_scale(levels, wet_frame, expected, 3, 5, WETTING)
    assert np.abs(pixels.dry - 0.3)[20:60, 20:60].max() < 0.1
    assert np.abs(pixels.step_ratio - 1.0)[20:60, 20:60].max() < 0.35


def test_frame_noise_is_that_of_one_frame():
    levels = levels_of(np.full((200, 200), 99, np.int16), 2, step=0.0, sigma=0.07)
    assert_allclose(frame_noise(levels, 1), 0.07, rtol=0.1)


def test_what_is_blown_out_shows_next_to_nothing():
    canvas = np.full((40, 60, 3), 120, np.uint8)
    canvas[:, :10] = 255
    ratio = expected_ratio(stack_of([canvas] * 4), 1, WETTING)
    assert_allclose(ratio[:, :10], 0.02)
    assert_allclose(ratio[:, 10:], 1.0)


def test_what_is_usual_is_told_by_the_cloth_alone():
    canvas = np.full((40, 60, 3), 200, np.uint8)
    cloth = np.zeros((40, 60), bool)
    cloth[:, :20] = True
    canvas[:, :20], canvas[:, :5] = 40, 80
    ratio = expected_ratio(stack_of([canvas] * 4), 1, WETTING, cloth)
    assert_allclose(ratio[:, 5:20], 1.0)
    assert (ratio[:, :5] < 0.6).all()
