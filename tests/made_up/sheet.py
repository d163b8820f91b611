"""A flat sheet that liquid runs along, seen from straight above by a camera that stands still."""

import cv2
import numpy as np

MARGIN_PX, PX_PER_MM, NOISE = 24, 1.2, 1.5


def sheet_images(times_s, steps, size_mm, shadow_mm=None, glare_mm=None, island_mm=None, seed=3):
    """Photos of a sheet over which one or more fronts run, and its corners.

    Parameters
    ----------
    times_s : array of shape (K,)
    steps : list of (front_mm of shape (K,), share of the light that each takes away)
    size_mm : (length, width)
    shadow_mm : array of shape (K,), optional
        Middle of a shadow 60 mm wide that darkens sheet and table alike.
    glare_mm, island_mm : (x, y, radius), optional
        A spot that mirrors a lamp throughout, and one that never wets.
    seed : int

    Returns
    -------
    images : list of K ndarrays, uint8
    corners_px : list of 4 (x, y)
    """
    rng = np.random.default_rng(seed)
    length, width = (round(side * PX_PER_MM) for side in size_mm)
    shape = (width + 2 * MARGIN_PX, length + 2 * MARGIN_PX)
    table = rng.normal(0, 1, shape)
    bench = 110 + 25 * cv2.GaussianBlur(table, (0, 0), 2.0) / 0.14
    y, x = np.indices(shape)
    along_mm = (x - MARGIN_PX + 0.5) / PX_PER_MM
    on_sheet = (x >= MARGIN_PX) & (x < MARGIN_PX + length) & (y >= MARGIN_PX)
    on_sheet &= y < MARGIN_PX + width
    bench[on_sheet] = (190 + 4 * rng.normal(0, 1, shape))[on_sheet]
    wave_mm = 2.0 * np.sin(y / 17.0) + 1.0 * np.sin(y / 5.0 + 1.0)
    glare, island = (_spot(spot, along_mm, y) for spot in (glare_mm, island_mm))
    images = []
    for k in range(len(times_s)):
        light = np.ones(shape)
        for front_mm, taken in steps:
            reached = np.clip((front_mm[k] + wave_mm * (front_mm[k] > 5) - along_mm) + 0.5, 0, 1)
            light *= 1 - taken * reached * (on_sheet & ~island)
        if shadow_mm is not None:
            light *= 1 - 0.12 * (np.abs(along_mm - shadow_mm[k]) < 30)
        lit = np.where(glare, 205 + 0.2 * bench * light, bench * light)
        noisy = lit + rng.normal(0, NOISE, shape)
        images.append(np.clip(noisy, 0, 255).astype(np.uint8))
    low, high = MARGIN_PX - 0.5, MARGIN_PX - 0.5
    corners = [
        (low, high),
        (low + length, high),
        (low + length, high + width),
        (low, high + width),
    ]
    return images, corners


def _spot(spot_mm, along_mm, y_px):
    """The pixels of a round spot; none where there is no spot."""
    if spot_mm is None:
        return np.zeros(along_mm.shape, bool)
    x_mm, y_mm, radius_mm = spot_mm
    across_mm = (y_px - MARGIN_PX + 0.5) / PX_PER_MM
    return np.hypot(along_mm - x_mm, across_mm - y_mm) < radius_mm
