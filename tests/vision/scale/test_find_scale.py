"""The four scale references against made-up cameras with known truth."""

import functools
from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.made_up import camera
from vision.errors import WetlineError
from vision.scale.find_scale import find_scale
from vision.scale.markers import find_markers
from vision.scale.plane_map import panel_corners_mm, panel_grid_mm
from vision.settings.frame_settings import FrameSource
from vision.settings.panel_settings import PanelSetup
from vision.settings.scale_settings import ScaleSpec

PANEL = (400.0, 220.0)
CENTRES = ((30.0, -70.0), (370.0, -70.0), (370.0, 290.0), (30.0, 290.0))
MATRIX = camera.homography(reach_mm=900.0)


def setup_with(size=PANEL, **scale):
    here = Path("panel")
    return PanelSetup(
        folder=here,
        file=here / "panel.toml",
        name="x",
        length_mm=size[0],
        width_mm=size[1],
        flow="edge",
        feed_point_mm=None,
        feed_radius_mm=None,
        frames=FrameSource(here, "photos"),
        scale=ScaleSpec(**scale),
    )


def sheet_setup(**changes):
    return setup_with(
        **{"method": "sheet", "marker_mm": 42.0, "marker_centres_mm": CENTRES, **changes}
    )


@functools.cache
def sheet_photo(k1=0.0, angles=(0, 0, 0, 0), centres=CENTRES, marker_mm=42.0, turn_deg=8.0):
    matrix = camera.homography(turn_deg=turn_deg, reach_mm=900.0)
    plan = camera.table(PANEL, centres, marker_mm, angles)
    return camera.develop(camera.draw(*plan, matrix, k1))


def errors_mm(plane, matrix=MATRIX, k1=0.0):
    grid = panel_grid_mm(*PANEL)
    return np.hypot(*(plane.to_mm(camera.true_px(grid, matrix, k1)) - grid).T)


@pytest.mark.parametrize(("k1", "angles"), [(0.0, (0, 0, 0, 0)), (-0.12, (7, -20, 93, 181))])
def test_sheet_finds_the_panel_whatever_the_lens_and_the_cards_turn(k1, angles):
    plane = find_scale(sheet_photo(k1, angles), sheet_setup())
    errors = errors_mm(plane, k1=k1)
    assert errors.mean() < 0.15
    assert errors.max() < 0.4
    assert plane.error_mm < 1.0
    assert 0.0005 < plane.relative_sd < 0.005
    assert (plane.distortion is None) == (k1 == 0.0)


def test_sheet_with_one_marker_hidden():
    photo = sheet_photo().copy()
    x, y = camera.true_px(np.array([CENTRES[2]]), MATRIX)[0].astype(int)
    photo[y - 30 : y + 30, x - 30 : x + 30] = 90
    assert [m.id for m in find_markers(photo)] == [0, 1, 3]
    assert errors_mm(find_scale(photo, sheet_setup())).mean() < 0.5


@pytest.mark.parametrize(
    "turn", [cv2.ROTATE_90_CLOCKWISE, cv2.ROTATE_180, cv2.ROTATE_90_COUNTERCLOCKWISE]
)
def test_the_panel_may_lie_any_way_round_in_the_picture(turn):
    photo = np.asarray(cv2.rotate(sheet_photo(), turn), np.uint8)
    plane = find_scale(photo, sheet_setup())
    x, y = camera.true_px(panel_grid_mm(*PANEL), MATRIX).T
    width, height = camera.SIZE[0] - 1, camera.SIZE[1] - 1
    turned = {
        cv2.ROTATE_90_CLOCKWISE: (height - y, x),
        cv2.ROTATE_180: (width - x, height - y),
        cv2.ROTATE_90_COUNTERCLOCKWISE: (y, width - x),
    }[turn]
    miss = plane.to_mm(np.column_stack(turned)) - panel_grid_mm(*PANEL)
    assert np.hypot(*miss.T).max() < 0.4


def test_a_panel_that_fills_a_third_of_the_picture():
    matrix = camera.homography(reach_mm=1900.0)
    plan = camera.table(PANEL, CENTRES)
    plane = find_scale(camera.develop(camera.draw(*plan, matrix)), sheet_setup())
    errors = errors_mm(plane, matrix)
    assert errors.mean() < 0.4
    assert np.sqrt((errors**2).mean()) < 2.5 * plane.error_mm


def test_cards_laid_a_millimetre_off_are_not_taken_for_a_bent_lens():
    rng = np.random.default_rng(5)
    for _ in range(2):
        off = rng.normal(0, 0.7, (4, 2))
        photo = sheet_photo(centres=tuple(map(tuple, np.array(CENTRES) + off)))
        plane = find_scale(photo, sheet_setup())
        errors = errors_mm(plane)
        assert errors.mean() < 1.5
        assert np.sqrt((errors**2).mean()) < 3 * plane.error_mm


def test_corners_are_sharper_than_a_tenth_of_a_pixel():
    photo = sheet_photo(angles=(5, 0, 12, -3))
    for seen in find_markers(photo):
        true = camera.true_px(np.array([CENTRES[seen.id]]), MATRIX)[0]
        assert np.hypot(*(seen.centre_px - true)) < 0.1


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"marker_mm": 36.0}, "black squares measure 4[12]"),
        ({"marker_centres_mm": tuple((1.15 * x, 1.15 * y) for x, y in CENTRES)}, "black squares"),
    ],
)
def test_sheet_that_contradicts_itself(changes, words):
    with pytest.raises(WetlineError, match=words):
        find_scale(sheet_photo(), sheet_setup(**changes))


def test_a_card_some_millimetres_off_is_said_and_widens_the_error():
    moved = (CENTRES[0], CENTRES[1], (375.0, 283.6), CENTRES[3])
    plane = find_scale(sheet_photo(centres=moved), sheet_setup())
    assert "measure the centres again" in plane.assumption
    assert plane.error_mm > 1.0
    assert plane.relative_sd > 0.003
    plain = find_scale(sheet_photo(), sheet_setup()).assumption
    assert "measure the centres again" not in plain
    assert "rests on your tape measure" in plain


@pytest.mark.parametrize(
    ("size", "told"), [((200.0, 400.0), "not 0.5"), ((40.0, 200.0), "not 0.2")]
)
def test_length_and_width_the_wrong_way_round_or_in_another_unit(size, told):
    # Corners as a phone sees a panel of 400 x 200 mm straight from above.
    corners = {"method": "corners", "corners_px": ((100, 100), (900, 100), (900, 500), (100, 500))}
    photo = np.zeros((600, 1000, 3), np.uint8)
    with pytest.raises(WetlineError, match=f"is 2 times as long as wide, {told}"):
        find_scale(photo, setup_with(size, **corners))
    right = find_scale(photo, setup_with((400.0, 200.0), **corners))
    assert right.mm_per_px() == pytest.approx(0.5)


def seen_from(tilt_deg, size_mm=(380.0, 230.0), focal_35mm=28.0, size=(1280, 720)):
    """Corners of a panel as a camera 0.9 m away sees them, tilted about the photo's x axis."""
    focal = focal_35mm / 43.27 * np.hypot(*size)
    x, y = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]).T * np.array(size_mm)[:, None] / 2
    tilt, turn = np.radians(tilt_deg), np.radians(12.0)
    x, y = x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)
    depth = 900.0 - y * np.sin(tilt)
    across, down = focal * x / depth, focal * y * np.cos(tilt) / depth
    return tuple(zip(across + (size[0] - 1) / 2, down + (size[1] - 1) / 2, strict=True))


@pytest.mark.parametrize("tilt_deg", [10.0, 25.0, 40.0])
@pytest.mark.parametrize("focal_35mm", [24.0, 50.0])
def test_a_length_that_perspective_contradicts_is_asked_about(tilt_deg, focal_35mm):
    # The formulas of a pinhole camera; nothing of the package makes these corners.
    photo = np.zeros((720, 1280, 3), np.uint8)
    corners = {
        "method": "corners",
        "corners_px": seen_from(tilt_deg, focal_35mm=focal_35mm),
        "focal_35mm": focal_35mm,
    }
    assert find_scale(photo, setup_with((380.0, 230.0), **corners)).question == ""
    for wrong in ((475.0, 230.0), (380.0, 290.0)):
        asked = find_scale(photo, setup_with(wrong, **corners))
        assert "by its perspective" in asked.question
        assert asked.relative_sd > 0.1  # half of what is off
    sure = setup_with((475.0, 230.0), **corners, confirmed=("corners_px",))
    assert find_scale(photo, sure).question == ""


def test_where_the_lens_leaves_the_shape_open_nothing_is_asked():
    # From almost straight above and steep alike, with a lens that nobody told.
    photo = np.zeros((720, 1280, 3), np.uint8)
    for tilt_deg in (0.0, 5.0, 30.0, 50.0):
        for focal_35mm in (24.0, 28.0, 50.0):
            corners = {
                "method": "corners",
                "corners_px": seen_from(tilt_deg, (380.0, 230.0), focal_35mm),
            }
            assert find_scale(photo, setup_with((380.0, 230.0), **corners)).question == ""


def test_a_card_far_from_its_stated_place():
    moved = (CENTRES[0], CENTRES[1], (340.0, 300.0), CENTRES[3])
    with pytest.raises(WetlineError, match="measure"):
        find_scale(sheet_photo(centres=moved), sheet_setup())


def test_swapped_cards_and_missing_cards():
    swapped = (CENTRES[1], CENTRES[0], CENTRES[2], CENTRES[3])
    with pytest.raises(WetlineError, match="two cards are swapped"):
        find_scale(sheet_photo(centres=swapped), sheet_setup())
    with pytest.raises(WetlineError, match="markers in view: none"):
        find_scale(np.full((720, 1280, 3), 90, np.uint8), sheet_setup())


def test_corners_give_the_exact_map():
    corners = camera.true_px(panel_corners_mm(*PANEL), MATRIX)
    setup = setup_with(method="corners", corners_px=tuple(map(tuple, corners)))
    plane = find_scale(np.zeros((720, 1280, 3), np.uint8), setup)
    assert errors_mm(plane).max() < 1e-6
    assert "free of distortion" in plane.assumption
    assert plane.to_px(np.array([[10.0, 20.0]])) == pytest.approx(
        camera.true_px(np.array([[10.0, 20.0]]), MATRIX)
    )


def test_a_panel_that_leaves_the_picture():
    corners = camera.true_px(panel_corners_mm(*PANEL), MATRIX) + np.array([400, 0])
    setup = setup_with(method="corners", corners_px=tuple(map(tuple, corners)))
    with pytest.raises(WetlineError, match=r"leaves the picture by .* pixels at the right"):
        find_scale(np.zeros((720, 1280, 3), np.uint8), setup)


def tape_setup(matrix, size=(None, None), noise=0.0, tape_mm=350.0, seed=0, focal=None):
    rng = np.random.default_rng(seed)
    corners = camera.true_px(panel_corners_mm(*PANEL), matrix)
    tape = camera.true_px(np.array([[20.0, 250.0], [370.0, 250.0]]), matrix)
    if noise:
        corners = np.round(corners + rng.normal(0, noise, (4, 2)))
        tape = np.round(tape + rng.normal(0, noise, (2, 2)))
    return setup_with(
        size,
        method="tape",
        corners_px=tuple(map(tuple, corners)),
        tape_px=tuple(map(tuple, tape)),
        tape_mm=tape_mm,
        focal_35mm=focal,
    )


BLANK = np.zeros((720, 1280, 3), np.uint8)


def test_tape_recovers_size_and_shape_from_perspective():
    matrix = camera.homography(tilt_deg=45, turn_deg=25, reach_mm=800.0)
    plane = find_scale(BLANK, tape_setup(matrix))
    assert plane.length_mm == pytest.approx(400, rel=0.005)
    assert plane.width_mm == pytest.approx(220, rel=0.015)
    assert "true rectangle" in plane.assumption


@pytest.mark.parametrize(("tilt", "turn"), [(0, 0), (10, 3), (30, 10), (45, 25)])
def test_tape_states_an_honest_error_from_frontal_to_steep(tilt, turn):
    matrix = camera.homography(tilt_deg=tilt, turn_deg=turn, reach_mm=900.0)
    misses = []
    for seed in range(8):
        plane = find_scale(BLANK, tape_setup(matrix, noise=0.5, seed=seed))
        misses.append((plane.length_mm / 400 - 1) / plane.relative_sd)
        assert plane.width_mm == pytest.approx(220, rel=0.06)
    assert np.sqrt(np.mean(np.square(misses))) < 2


def test_a_known_focal_length_sharpens_the_tape():
    matrix = camera.homography(tilt_deg=20, turn_deg=2, reach_mm=900.0)
    focal_35mm = 1100 / np.hypot(1280, 720) * 43.27
    plain = find_scale(BLANK, tape_setup(matrix, noise=0.5))
    told = find_scale(BLANK, tape_setup(matrix, noise=0.5, focal=focal_35mm))
    assert told.error_mm < plain.error_mm
    assert abs(told.width_mm - 220) < 4


def test_tape_against_a_stated_size():
    matrix = camera.homography(tilt_deg=45, turn_deg=25, reach_mm=800.0)
    assert find_scale(BLANK, tape_setup(matrix, PANEL)).length_mm == 400.0
    with pytest.raises(WetlineError, match=r"by the panel's size and corners it is 350 mm"):
        find_scale(BLANK, tape_setup(matrix, PANEL, tape_mm=330.0))


@functools.cache
def board_photo(k1):
    columns, rows, square, px = 9, 6, 22.0, 3.0
    plan, origin, _ = camera.table(PANEL, (), px_per_mm=px, angles_deg=())
    x, y = np.meshgrid(np.arange((columns + 3) * square * px), np.arange((rows + 3) * square * px))
    ix, iy = (x // (square * px)).astype(int) - 1, (y // (square * px)).astype(int) - 1
    inside = (ix >= 0) & (iy >= 0) & (ix <= columns) & (iy <= rows)
    board = np.where(inside & ((ix + iy) % 2 == 0), 30, 235).astype(np.uint8)
    corner = np.round((np.array([70.0, 10.0]) - origin) * px).astype(int)
    plan[corner[1] : corner[1] + board.shape[0], corner[0] : corner[0] + board.shape[1]] = board
    return camera.develop(camera.draw(plan, origin, px, MATRIX, k1))


@pytest.mark.parametrize("k1", [0.0, -0.12])
def test_checkerboard(k1):
    corners = camera.true_px(panel_corners_mm(*PANEL), MATRIX, k1)
    setup = setup_with(
        method="checkerboard",
        square_mm=22.0,
        inner_corners=(9, 6),
        corners_px=tuple(map(tuple, corners)),
    )
    photo = board_photo(k1)
    errors = errors_mm(find_scale(photo, setup), k1=k1)
    assert errors.mean() < 0.3
    wrong = setup_with(
        method="checkerboard",
        square_mm=25.0,
        inner_corners=(9, 6),
        corners_px=tuple(map(tuple, corners)),
    )
    with pytest.raises(WetlineError, match=r"length_mm = 400: by the checkerboard it is 45\d mm"):
        find_scale(photo, wrong)


def test_no_checkerboard():
    setup = setup_with(
        method="checkerboard",
        square_mm=22.0,
        inner_corners=(9, 6),
        corners_px=((1, 1), (9, 1), (9, 5), (1, 5)),
    )
    with pytest.raises(WetlineError, match="no such board"):
        find_scale(BLANK, setup)


def test_lens_agrees_with_opencv():
    # OpenCV's projectPoints applies the same published model (Brown 1971) on its own.
    plane = find_scale(sheet_photo(-0.12), sheet_setup())
    assert plane.camera is not None
    ideal = np.array([[100.0, 80.0], [900.0, 500.0], [639.5, 359.5]])
    rays = np.column_stack([ideal, np.ones(3)]) @ np.linalg.inv(plane.camera).T
    expected, _ = cv2.projectPoints(
        rays, np.zeros(3), np.zeros(3), plane.camera, np.asarray(plane.distortion)
    )
    assert plane.distort(ideal) == pytest.approx(expected.reshape(-1, 2), abs=1e-6)
    assert plane.undistort(plane.distort(ideal)) == pytest.approx(ideal, abs=1e-5)
