import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from vision.arrival.edge_profile import place_edge
from vision.settings.repair_settings import EdgeSettings

REACH_PX, NOISE = EdgeSettings().reach_px, EdgeSettings().noise

FINE = 20
"""Samples per pixel of the made-up profiles."""


def profile(front_px, width_px, step, deep, length_px):
    """A step and a deepening that begin at `front_px`, blurred; mean over each pixel."""
    d = (np.arange(-60 * FINE, 60 * FINE) + 0.5) / FINE
    behind = np.maximum(front_px - d, 0.0)
    sharp = np.where(d < front_px, step + deep * (1 - np.exp(-behind / length_px)), 0.0)
    blurred = gaussian_filter1d(sharp, width_px * FINE)
    pixels = blurred.reshape(-1, FINE).mean(axis=1)
    middle = len(pixels) // 2
    return pixels[middle - REACH_PX : middle + REACH_PX]


@pytest.mark.parametrize("front_px", [-1.3, 0.0, 0.7, 2.4])
@pytest.mark.parametrize(
    ("step", "deep", "length_px"),
    [(1.0, 0.0, 5.0), (0.7, 0.4, 6.0), (0.3, 0.8, 4.0)],
    ids=["sharp", "step and deepening", "mostly deepening"],
)
def test_front_is_placed_where_the_change_begins(front_px, step, deep, length_px):
    # Reference: the same edge blurred by SciPy's Gaussian filter.
    noise = np.random.default_rng(1).normal(0, 0.004, 2 * REACH_PX)
    wetness = profile(front_px, 1.1, step, deep, length_px) + noise
    offset, width, gradual = place_edge(wetness, np.full(2 * REACH_PX, 200.0), NOISE)
    assert abs(offset - front_px) < 0.25
    assert 0.6 < width < 1.8
    # Most of the look comes late in the last case only: the front is told less surely there.
    assert (gradual > 0.5) == (step < 0.5)


def test_an_unseen_profile_moves_nothing():
    offset, _, gradual = place_edge(np.full(2 * REACH_PX, np.nan), np.zeros(2 * REACH_PX), NOISE)
    assert (offset, gradual) == (0.0, 0.0)
