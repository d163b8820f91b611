import numpy as np
from numpy.testing import assert_allclose

from tests.made_up.canvases import SHAPE, square_root_front, stack_of, wetting_canvases
from vision.illumination.coarse_wetting import find_coarse_wetting
from vision.settings.causes import OFF
from vision.settings.wetting_settings import WettingSettings
from vision.wetting.wetness import PixelScale, Projector


def test_wet_lies_a_step_above_dry_whatever_a_lamp_does():
    wet_frame, _ = square_root_front()
    canvases = wetting_canvases(wet_frame, 24)
    # A lamp a fifth brighter from frame 15 on: in logarithms the same at every pixel.
    for k in range(15, 24):
        canvases[k] = np.clip(canvases[k] * 1.2, 0, 255).astype(np.uint8)
    stack = stack_of(canvases)
    project = Projector(find_coarse_wetting(np.stack(stack.cells)), SHAPE)
    early, late = project(canvases[10], 10), project(canvases[20], 20)
    far, near = (slice(None), slice(150, None)), (slice(None), slice(0, 30))
    assert_allclose(np.median(late[near]) - np.median(late[far]), 1.0, atol=0.1)
    assert abs(np.median(late[far]) - np.median(early[far])) < 0.1
    assert project.brightness()[20] - project.brightness()[10] < -0.3


def test_bounds_are_steps_beyond_dry_and_wet():
    pixels = PixelScale(np.zeros((1, 2)), np.array([[1.0, 0.2]]), 0.1)
    low, high = pixels.bounds(WettingSettings(strange=1.5))
    # A pixel that shows a fifth of the step is bounded as one that shows half of it.
    assert_allclose(low, [[-1.5, -0.75]])
    assert_allclose(high, [[2.5, 0.95]])
    assert_allclose(pixels.bright_bound(WettingSettings(sunlit=0.4)), [[-0.4, -0.2]])
    assert np.isinf(pixels.bounds(WettingSettings(strange=OFF))[1]).all()
