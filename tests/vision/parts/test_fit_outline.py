"""The scale from tapped points: right, in another order, of another part."""

from pathlib import Path

import numpy as np
import pytest

from tests.vision.parts.test_height import SIZE, camera
from vision.errors import WetlineError
from vision.parts.fit_outline import fit_outline
from vision.scale.plane_map import apply_homography
from vision.settings.frame_settings import FrameSource
from vision.settings.panel_settings import PanelSetup
from vision.settings.scale_settings import ScaleSpec

MM = np.array([[0.0, 200], [250, 0], [1600, 0], [1600, 900], [900, 900], [0, 600]])


def setup(mm, px):
    points = (tuple(map(tuple, px)), tuple(map(tuple, mm)))
    return PanelSetup(
        folder=Path("hood"),
        file=Path("hood/part.toml"),
        name="hood",
        length_mm=1600.0,
        width_mm=900.0,
        flow="point",
        feed_point_mm=None,
        feed_radius_mm=None,
        frames=FrameSource("photos", Path("frames")),
        scale=ScaleSpec("outline", points_px=points[0], points_mm=points[1]),
    )


def tapped(mm, noise=0.4):
    plane, _ = camera(12)
    shake = np.random.default_rng(3).normal(0, noise, mm.shape)
    return apply_homography(plane.homography, mm) + shake


@pytest.mark.parametrize("count", [4, 6])
def test_tapped_points_give_the_map(count):
    mm = MM[np.array([0, 2, 3, 5])] if count == 4 else MM
    plane = fit_outline(setup(mm, tapped(mm)), SIZE, None)
    true, _ = camera(12)
    grid = np.array([[100.0, 300], [800, 450], [1500, 800]])
    off = plane.to_mm(apply_homography(true.homography, grid)) - grid
    assert np.abs(off).max() < 4 * max(plane.error_mm, 0.5)
    assert plane.method == "outline"


def test_other_order_is_refused_and_the_right_one_told():
    px = tapped(MM)
    with pytest.raises(WetlineError, match=r"taken as 2, 3, 4, 5, 6, 1: list both"):
        fit_outline(setup(np.roll(MM, 1, axis=0), px), SIZE, None)


def test_mirrored_points_are_refused():
    with pytest.raises(WetlineError, match="do not match in this order"):
        fit_outline(setup(MM[::-1], tapped(MM)), SIZE, None)


def test_another_part_is_refused_with_how_far_it_is_off():
    other = MM.copy()
    other[4] = [1250, 600]
    with pytest.raises(WetlineError, match=r"do not match: they stand \d+ mm from"):
        fit_outline(setup(other, tapped(MM)), SIZE, None)


def test_four_points_of_a_mistaken_size_are_refused_by_the_lens():
    mm = MM[np.array([0, 2, 3, 5])] * np.array([1.0, 1.7])
    with pytest.raises(WetlineError, match="from what a lens would show"):
        fit_outline(setup(mm, tapped(MM[np.array([0, 2, 3, 5])])), SIZE, None)


def test_point_off_the_photo_is_named():
    px = tapped(MM)
    px[3] = [SIZE[0] + 40, 500]
    with pytest.raises(WetlineError, match=r"point 4 lies outside the picture of 1200 x 900 px"):
        fit_outline(setup(MM, px), SIZE, None)
