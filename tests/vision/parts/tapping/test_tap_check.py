"""Tapped points against the plan: right, begun elsewhere, exchanged, mirrored, one astray."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.vision.parts.test_height import SIZE
from tests.vision.parts.test_height import camera as seen_by
from vision.errors import WetlineError
from vision.part_records import FeedPlace, PartShape
from vision.parts.part_settings import PartCamera
from vision.parts.tapping.asked_points import points_to_tap
from vision.parts.tapping.tap_check import draw_back, far_off, fit_taps, fits_turned, with_taps
from vision.scale.plane_map import apply_homography
from vision.settings.frame_settings import FrameSource
from vision.settings.scale_settings import ScaleSpec

OUTLINE = np.array([[0.0, 0], [1300, 0], [1600, 300], [1600, 900], [400, 900], [0, 500]])
FEED = FeedPlace("left line", np.array([[0.0, 0], [0, 500]]))
FOCAL_35MM = 25.96
IMAGE = np.full((SIZE[1], SIZE[0], 3), 90, np.uint8)


def part(outline=OUTLINE, y_runs="down"):
    return PartCamera(
        Path("hood"),
        Path("hood/part.toml"),
        PartShape("hood", outline, (), (FEED,), y_runs),
        FrameSource(Path("frames"), "photos"),
        ScaleSpec("outline"),
    )


def taps(asked, tilt=12, noise=0.5):
    plane, _ = seen_by(tilt)
    px = apply_homography(plane.homography, np.array([point.mm for point in asked]))
    return [tuple(p) for p in px + np.random.default_rng(1).normal(0, noise, px.shape)]


ASKED = points_to_tap(part().shape, "part.toml")


def fit(points, asked=ASKED, camera=None):
    camera = with_taps(camera or part(), asked, points, "a.jpg")
    return camera, fit_taps(camera, IMAGE, FOCAL_35MM)


def test_points_that_fit_give_the_map():
    camera, plane = fit(taps(ASKED))
    true, _ = seen_by(12)
    places = np.array([[300.0, 200], [1200, 700]])
    off = plane.to_mm(apply_homography(true.homography, places)) - places
    assert np.hypot(*off.T).max() < 4 * plane.error_mm < 20
    assert far_off(camera, plane) == ""
    assert camera.scale.photo == "a.jpg"


def test_a_point_passed_over_is_left_out():
    points = taps(ASKED)
    camera, _ = fit([*points[:2], None, *points[3:]])
    assert len(camera.scale.points_mm) == len(ASKED) - 1
    assert ASKED[2].mm not in camera.scale.points_mm


def test_three_points_and_points_on_one_line_are_too_few():
    with pytest.raises(WetlineError, match="3 points are tapped: at least 4"):
        fit(taps(ASKED)[:3])
    row = tuple(replace(ASKED[0], mm=(200.0 * k, 3.0 * (k % 2))) for k in range(5))
    with pytest.raises(WetlineError, match="about on one line"):
        fit(taps(row), row)


def test_points_begun_at_another_corner_are_told():
    points = taps(ASKED[:4])
    with pytest.raises(WetlineError, match="seems to be the plan's corner 2"):
        fit([*points[1:], points[0]], ASKED[:4])


def test_exchanged_points_are_named():
    points = taps(ASKED)
    points[1], points[2] = points[2], points[1]
    with pytest.raises(WetlineError, match="points 2 and 3 seem to be exchanged"):
        fit(points)


def test_a_part_tapped_mirrored_is_told():
    points = taps(ASKED)
    mirrored = [(SIZE[0] - x, y) for x, y in points]
    with pytest.raises(WetlineError, match=r"the other way round.*y_runs"):
        fit(mirrored)


def test_one_point_astray_is_named_with_how_far():
    points = taps(ASKED)
    points[3] = (points[3][0] + 120, points[3][1])
    with pytest.raises(WetlineError, match=r"point 4 stands \d\d\d mm from where the others"):
        fit(points)


def test_a_point_somewhat_astray_is_spoken_of():
    points = taps(ASKED)
    points[3] = (points[3][0] + 22, points[3][1])
    camera, plane = fit(points)
    assert "most likely for the 4th one tapped" in far_off(camera, plane)


def test_five_points_that_fit_badly_blame_none():
    points = taps(ASKED)[:5]
    points[3] = (points[3][0] + 22, points[3][1])
    camera, plane = fit(points)
    told = far_off(camera, plane)
    assert "mm from where the plan has them: look" in told


def test_a_part_that_fits_turned_is_known():
    outline = np.array([[0.0, 0], [1600, 0], [1600, 900], [0, 900]])
    rectangle = part(outline)
    asked = points_to_tap(rectangle.shape, "part.toml")
    camera, plane = fit(taps(asked), asked, rectangle)
    assert fits_turned(camera, plane.image_size)
    assert not fits_turned(fit(taps(ASKED))[0], SIZE)


def test_outline_and_feeds_are_drawn_where_they_are():
    camera, plane = fit(taps(ASKED))
    drawn = draw_back(camera, plane, IMAGE)
    assert (IMAGE == 90).all()
    along = plane.to_px(np.array([[700.0, 0.0], [1600, 600]]))
    for x, y in np.rint(along).astype(int):
        assert (drawn[y - 2 : y + 3, x - 2 : x + 3] > 200).all(axis=2).any()
    x, y = np.rint(plane.to_px(np.array([[0.0, 150.0]]))[0]).astype(int)
    assert (drawn[y - 3 : y + 4, x - 3 : x + 4] != 90).any()
