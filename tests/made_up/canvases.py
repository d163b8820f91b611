"""A small run as canvases laid flat, without camera or light: for the rooms behind the camera."""

import numpy as np

from vision.wetting.canvas_series import CanvasStack

SHAPE = (90, 160)
STEP_S = 20.0
DRY, WET = np.array([170.0, 180.0, 190.0]), np.array([120.0, 135.0, 150.0])


def wetting_canvases(wet_frame, count, seed=1):
    """Pictures of a fabric on which each pixel is wet from its frame on, with a little noise."""
    rng = np.random.default_rng(seed)
    texture = rng.normal(0, 3, (*wet_frame.shape, 1))
    canvases = []
    for k in range(count):
        colour = np.where((wet_frame <= k)[..., None], WET, DRY)
        canvas = colour + texture + rng.normal(0, 1.5, (*wet_frame.shape, 3))
        canvases.append(np.clip(np.rint(canvas), 0, 255).astype(np.uint8))
    return canvases


def stack_of(canvases, step_s=STEP_S):
    """The canvases as a series, nothing known of the table around."""
    stack = CanvasStack(canvases[0].shape[:2], np.zeros((0, 2)))
    for k, canvas in enumerate(canvases):
        stack.add(k * step_s, canvas, np.zeros((0, 3)))
    return stack


def square_root_front(shape=SHAPE, rate=60.0, start_s=30.0, step_s=STEP_S):
    """First wet frame of an even front, x^2 = rate (t - start) in pixels; and when it arrives.

    Source: Washburn, Phys. Rev. 17, 273, 1921.
    """
    x = np.arange(shape[1]) + 0.5
    arrival_s = np.broadcast_to(start_s + x**2 / rate, shape)
    return np.ceil(arrival_s / step_s).astype(np.int16), arrival_s
