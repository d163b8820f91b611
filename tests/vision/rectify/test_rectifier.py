"""Canvases stay put on the panel when lamps come on, hands pass and the camera is bumped."""

import functools
from collections.abc import Iterator
from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.made_up import camera
from tests.vision.scale.test_find_scale import CENTRES, PANEL, errors_mm, setup_with, sheet_setup
from vision.errors import WetlineError
from vision.frames.reader import Frames
from vision.records import Frame
from vision.rectify.camera_motion import Follower
from vision.rectify.rectifier import (
    MOST_PIXELS,
    Rectifier,
    canvas_points_mm,
    canvas_size,
)
from vision.rectify.region import region_mask
from vision.scale.plane_map import PlaneMap, apply_homography, panel_corners_mm

MATRIX = camera.homography(reach_mm=900.0)
SPOT_MM = (np.array([100.0, 60.0]), np.array([160.0, 90.0]))


class Pictures(Frames):
    """Frames from pictures in memory."""

    def __init__(self, images):
        self._images = images
        self.notes = []
        self.names = tuple(f"{i}.jpg" for i in range(len(images)))
        self.clock_s = np.arange(len(images)) * 10.0
        self.size = (images[0].shape[1], images[0].shape[0])

    def __iter__(self) -> Iterator[Frame]:
        return (self.read(i) for i in range(len(self)))

    def read(self, index: int) -> Frame:
        return Frame(index, self.names[index], float(self.clock_s[index]), self._images[index])


@functools.cache
def scene(cards=True):
    """Linear-light photo of the table, a dark spot of known place on the panel."""
    centres = CENTRES if cards else ()
    plan, origin, px = camera.table(PANEL, centres, angles_deg=(5, -8, 90, 0) if cards else ())
    low, high = (np.round((p - origin) * px).astype(int) for p in SPOT_MM)
    plan[low[1] : high[1], low[0] : high[0]] = 60
    return camera.draw(plan, origin, px, MATRIX)


def bump(shift=(0.0, 0.0), turn_deg=0.0, zoom=1.0):
    """Motion of the picture as a 3 by 3 matrix about its middle."""
    middle = (np.array(camera.SIZE) - 1) / 2
    top = cv2.getRotationMatrix2D(tuple(middle), turn_deg, zoom)
    top[:, 2] += shift
    return np.vstack([top, [0, 0, 1.0]])


def shot(motion=None, gain=1.0, lamp=0.0, hand=None, seed=0, cards=True):
    if motion is None and lamp == 0 and hand is None:
        return still_shot(gain, seed, cards).copy()
    photo = scene(cards)
    if motion is not None:
        photo = cv2.warpPerspective(photo, motion, camera.SIZE, flags=cv2.INTER_CUBIC)
    x = np.linspace(0, 1, camera.SIZE[0])[None, :]
    picture = camera.develop(photo * (gain + lamp * x), seed=seed)
    if hand is not None:
        cv2.ellipse(picture, hand, (230, 150), 30, 0, 360, (120, 150, 200), -1)
    return picture


@functools.cache
def still_shot(gain, seed, cards):
    return camera.develop(scene(cards) * gain, seed=seed)


def run(images, setup=None):
    frames = Pictures(images)
    rectifier = Rectifier(setup or sheet_setup(), frames)
    return rectifier, [rectifier.rectify(frame) for frame in frames]


def worst_mm(result, motion=None):
    return errors_mm(result.plane, MATRIX if motion is None else motion @ MATRIX).max()


def corners_setup():
    corners = camera.true_px(panel_corners_mm(*PANEL), MATRIX)
    return setup_with(method="corners", corners_px=tuple(map(tuple, corners)))


def test_canvas_is_the_panel_in_even_millimetres():
    rectifier, results = run([shot(seed=i) for i in range(4)])
    canvas, scale = results[0].canvas, rectifier.mm_per_px
    assert canvas.shape[:2] == rectifier.shape
    assert canvas.shape[1] * scale == pytest.approx(PANEL[0])
    assert canvas.shape[0] * scale == pytest.approx(PANEL[1], abs=scale / 2)
    dark = canvas[:, :, 1] < 110
    ys, xs = np.nonzero(cv2.morphologyEx(dark.astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5))))
    found = np.array([[xs.min(), ys.min()], [xs.max() + 1, ys.max() + 1]]) * scale
    assert found == pytest.approx(np.array(SPOT_MM), abs=1.0)
    assert results[0].in_view is None


def test_a_still_camera_gives_one_and_the_same_map():
    _, results = run([shot(seed=i, gain=1 + 0.1 * i) for i in range(5)])
    for result in results:
        assert not result.moved
        assert not result.lost
        assert result.note == ""
        assert (result.plane.homography == results[0].plane.homography).all()
    assert worst_mm(results[0]) < 0.4


@pytest.mark.parametrize("cards", [True, False])
@pytest.mark.parametrize(
    "motion",
    [
        bump((6, -4)),
        bump((45, 25)),
        bump((-10, 5), turn_deg=4),
        bump(zoom=1.05),
        bump((3, 2), turn_deg=-12, zoom=0.9),
    ],
    ids=["nudge", "shove", "turn", "zoom", "all"],
)
def test_a_bump_is_followed_with_lamp_on_and_a_hand_in_view(cards, motion):
    still = [shot(seed=i, cards=cards) for i in range(3)]
    after = [
        shot(motion, lamp=0.8, hand=(200, 560), seed=7, cards=cards),
        shot(motion, lamp=0.8, seed=8, cards=cards),
    ]
    _, results = run(still + after, None if cards else corners_setup())
    assert "camera moved" in results[3].note
    for result in results[3:]:
        assert not result.lost
        assert worst_mm(result, motion) < 0.5
    assert results[4].note == ""


@pytest.mark.parametrize(("cards", "found"), [(4, True), (3, False)])
def test_cards_all_around_tell_a_motion_by_themselves(cards, found):
    # Nothing else of the reference photo shows again: glare moved, things stand up from the table.
    motion = bump((60, 30), turn_deg=3, zoom=1.04)
    plane = Rectifier(sheet_setup(), Pictures([shot(seed=i) for i in range(3)])).plane
    square = np.array([[-21, -21], [21, -21], [21, 21], [-21, 21]], float)
    corners_px = plane.to_px(np.concatenate([square + centre for centre in CENTRES[:cards]]))
    seen_px = apply_homography(motion, corners_px)
    follower = Follower(shot(), plane, lambda _: (corners_px, seen_px))
    noise = np.random.default_rng(3).normal(120, 30, shot().shape).clip(0, 255).astype(np.uint8)
    followed = follower.follow(noise)
    assert followed.found == found
    if found:
        panel_px = plane.to_px(panel_corners_mm(*PANEL))
        moved_px = apply_homography(followed.motion, panel_px)
        np.testing.assert_allclose(moved_px, apply_homography(motion, panel_px), atol=0.05)


def test_slow_sag_is_followed():
    steps = [bump((0.0, 0.4 * i), turn_deg=0.015 * i) for i in range(10)]
    _, results = run([shot(step, seed=i) for i, step in enumerate(steps)])
    errors = [worst_mm(result, step) for result, step in zip(results, steps, strict=True)]
    assert max(errors) < 0.6
    assert not any(result.lost for result in results)


def test_focus_breathing_is_followed():
    zooms = [1 + 0.004 * np.sin(i) for i in range(8)]
    images = [shot(bump(zoom=z / zooms[0]), seed=i) for i, z in enumerate(zooms)]
    _, results = run(images)
    errors = [worst_mm(r, bump(zoom=z / zooms[0])) for r, z in zip(results, zooms, strict=True)]
    assert max(errors) < 0.6


def test_a_covered_lens_keeps_the_last_map_and_says_so():
    motion = bump((30, 10), turn_deg=2)
    black = np.zeros((720, 1280, 3), np.uint8)
    images = [shot(), shot(seed=1), shot(motion, seed=2), black, shot(motion, seed=4)]
    _, results = run(images)
    assert results[3].lost
    assert "reference hidden" in results[3].note
    assert (results[3].plane.homography == results[2].plane.homography).all()
    assert not results[4].lost
    assert worst_mm(results[4], motion) < 0.5


def test_a_camera_turned_away_is_lost_not_guessed():
    rng = np.random.default_rng(3)
    other = cv2.GaussianBlur(rng.normal(120, 60, (720, 1280, 3)), (0, 0), 4)
    other = np.clip(120 + (other - 120) * 6, 0, 255).astype(np.uint8)
    _, results = run([shot(), shot(seed=1), shot(seed=2)] + [other] * 4)
    assert all(result.lost for result in results[3:])


def test_a_marker_hidden_at_first_is_found_later():
    first = shot()
    x, y = camera.true_px(np.array([CENTRES[1]]), MATRIX)[0].astype(int)
    first[y - 35 : y + 35, x - 35 : x + 35] = 80
    rectifier, _ = run([first, *(shot(seed=i) for i in range(1, 6))])
    alone = Rectifier(sheet_setup(), Pictures([first] * 4))
    assert rectifier.plane.error_mm < alone.plane.error_mm
    assert errors_mm(rectifier.plane, MATRIX).mean() < 0.15


def test_a_hand_in_the_first_photo_does_no_lasting_harm():
    motion = bump((20, 8), turn_deg=1)
    images = [shot(hand=(1000, 600)), shot(seed=1), shot(seed=2), shot(motion, seed=3)]
    _, results = run(images, corners_setup())
    assert worst_mm(results[3], motion) < 0.5


def test_panel_partly_out_of_view_is_masked():
    motion = bump((520, 0))
    _, results = run([shot(), shot(seed=1), shot(motion, seed=2)])
    result = results[2]
    assert not result.lost
    assert result.in_view is not None
    assert 0.2 < result.in_view.mean() < 0.95
    assert np.isnan(result.border).any()


def test_border_colours_tell_the_light():
    rectifier, results = run([shot(), shot(seed=1), shot(gain=1.5, seed=2)])
    before, after = results[0].border, results[2].border
    assert before.shape == (len(rectifier.border_mm), 3)
    outside = (rectifier.border_mm < 0) | (rectifier.border_mm > np.array(PANEL))
    assert outside.any(axis=1).all()
    # 1.5 times the light is 1.5 ** (1 / 2.2) of the coded value (IEC 61966-2-1, power law 2.2)
    ratio = np.median(after[:, 1] / before[:, 1])
    assert ratio == pytest.approx(1.5 ** (1 / 2.2), rel=0.03)


def test_a_panel_that_fills_the_picture_is_still_followed():
    rng = np.random.default_rng(4)
    cloth = cv2.GaussianBlur(rng.normal(0, 1, (720, 1280)), (0, 0), 1.5)
    dry = 150 + 60 * cloth / cloth.std() / 3
    setup = setup_with(
        (400.0, 220.0),
        method="corners",
        corners_px=((8.0, 8.0), (1271.0, 8.0), (1271.0, 711.0), (8.0, 711.0)),
    )
    images, steps = [], []
    for i in range(6):
        shift = 0 if i < 4 else 9
        wet = np.where(np.arange(1280) < 150 * i, 0.72, 1.0)[None, :]
        grey = np.roll(dry * wet, shift, axis=1) + rng.normal(0, 1.5, dry.shape)
        images.append(np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[:, :, None], 3, axis=2))
        steps.append(shift)
    rectifier, results = run(images, setup)
    for result, shift in zip(results, steps, strict=True):
        assert not result.lost
        assert result.moved == (result is results[4])
        origin = result.plane.to_px(np.array([[200.0, 110.0]]))
        still = rectifier.plane.to_px(np.array([[200.0, 110.0]]))
        assert origin - still == pytest.approx(np.array([[shift, 0]]), abs=0.3)


def test_half_the_table_covered_is_no_reason_to_move():
    hidden = shot(seed=3)
    hidden[:, :560] = (90, 110, 160)
    _, results = run([shot(), shot(seed=1), shot(seed=2), hidden])
    assert not results[3].lost
    assert not results[3].moved


def test_a_blurred_photo_is_lost_or_right_but_never_wrong():
    motion = bump((25, 14), turn_deg=3)
    for sigma in (2.0, 5.0, 12.0):
        blurred = cv2.GaussianBlur(shot(motion, seed=3), (0, 0), sigma)
        _, results = run([shot(), shot(seed=1), shot(seed=2), blurred])
        assert results[3].lost or worst_mm(results[3], motion) < 1.5


def test_a_moved_camera_with_a_bent_lens():
    moved = camera.homography(reach_mm=930.0, turn_deg=5.0, tilt_deg=33.0)
    plan = camera.table(PANEL, CENTRES)
    first = camera.develop(camera.draw(*plan, MATRIX, -0.12))
    later = camera.develop(camera.draw(*plan, moved, -0.12), seed=5)
    _, results = run([first, first, first, later])
    assert errors_mm(results[0].plane, MATRIX, -0.12).mean() < 0.2
    assert errors_mm(results[3].plane, moved, -0.12).mean() < 0.3


def test_region_and_ignored_patches_on_the_canvas():
    setup = replace(
        sheet_setup(),
        region=((0, 20), (400, 20), (400, 180), (0, 180)),
        ignore=(((100, 50), (150, 50), (150, 100), (100, 100)),),
    )
    mask = region_mask(setup, (220, 400), 1.0)
    inside = mask.sum()
    assert inside == pytest.approx(400 * 160 - 50 * 50, rel=0.02)
    assert mask[30, 30]
    assert not mask[10, 30]
    assert not mask[75, 125]
    assert region_mask(sheet_setup(), (22, 40), 10.0).all()


def test_reference_photo_by_name_and_missing():
    setup = corners_setup()
    motion = bump((25, 10))
    scale = {"method": "corners", "corners_px": setup.scale.corners_px}
    images = [shot(np.linalg.inv(motion)), shot(seed=1), shot(seed=2)]
    _, results = run(images, setup_with(**scale, photo="1.jpg"))
    assert worst_mm(results[0], np.linalg.inv(motion)) < 0.5
    assert worst_mm(results[1]) < 1e-6
    with pytest.raises(WetlineError, match=r"photo = 9\.jpg: not among the frames"):
        run(images, setup_with(**scale, photo="9.jpg"))


def test_no_markers_anywhere():
    with pytest.raises(WetlineError, match="at most 0 of the four markers"):
        run([np.full((720, 1280, 3), 90, np.uint8)] * 4)


@pytest.mark.parametrize("size", [(400, 220), (380, 241), (1000, 150), (2500, 300), (90, 333)])
@pytest.mark.parametrize("photo_mm_per_px", [0.1, 0.7, 3.0])
def test_canvas_size(size, photo_mm_per_px):
    matrix = np.diag([1 / photo_mm_per_px, 1 / photo_mm_per_px, 1.0])
    plane = PlaneMap(matrix, None, None, (4000, 3000), *size, "corners", 1.0, 0.01)
    (rows, columns), scale = canvas_size(plane)
    assert columns * scale == pytest.approx(size[0])
    assert abs(rows * scale - size[1]) < 0.2 * scale
    assert rows * columns <= 1.05 * MOST_PIXELS
    assert scale >= 0.4
    points = canvas_points_mm((rows, columns), scale)
    assert points[0] == pytest.approx([scale / 2, scale / 2])
    assert points[-1] == pytest.approx([size[0] - scale / 2, rows * scale - scale / 2])


def test_a_fine_photo_is_averaged_down_not_picked_from():
    """A 4000-pixel photo of a noisy panel must come out calmer than a single pixel of it."""
    rng = np.random.default_rng(2)
    image = np.clip(rng.normal(120, 30, (2000, 4000, 3)), 0, 255).astype(np.uint8)
    corners = ((500.0, 400.0), (3500.0, 400.0), (3500.0, 1600.0), (500.0, 1600.0))
    setup = setup_with((1000.0, 400.0), method="corners", corners_px=corners)
    rectifier = Rectifier(setup, Pictures([image] * 4))
    assert rectifier.mm_per_px == pytest.approx(np.sqrt(1000 * 400 / MOST_PIXELS), rel=0.05)
    canvas = rectifier.rectify(Frame(0, "0.jpg", 0.0, image)).canvas
    assert canvas.std() < 12
