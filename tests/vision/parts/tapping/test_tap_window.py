"""The window's photo and plan, driven without a display."""

import cv2
import numpy as np

from tests.vision.parts.tapping.test_asked_points import RECTANGLE, shape
from vision.parts.tapping.asked_points import points_to_tap
from vision.parts.tapping.tap_window import TapPicker, prompts_of

IMAGE = np.full((360, 640, 3), 120, np.uint8)
HOLE = np.array([[380.0, 200], [480, 200], [480, 300], [380, 300]])


def picker():
    part = shape(RECTANGLE, [HOLE])
    return TapPicker(IMAGE, part, points_to_tap(part, "part.toml"))


def click(one, *points):
    for x, y in points:
        one.mouse(cv2.EVENT_LBUTTONDOWN, x, y)


def test_each_point_is_asked_for_in_words():
    words = prompts_of(points_to_tap(shape(RECTANGLE), "part.toml"))
    assert words[1] == "corner 2 of 4: upper right, at 900, 50 mm"


def test_taps_are_taken_on_the_photo_only():
    one = picker()
    click(one, (10, 20), (700, 20), (600, 25))
    assert one.taps == [(10, 20), (600, 25)]


def test_a_corner_that_does_not_show_is_passed_over_and_may_be_taken_back():
    one = picker()
    click(one, (10, 20))
    one.press(ord("n"))
    click(one, (600, 300))
    assert one.taps == [(10, 20), None, (600, 300)]
    one.mouse(cv2.EVENT_RBUTTONDOWN, 0, 0)
    one.mouse(cv2.EVENT_RBUTTONDOWN, 0, 0)
    click(one, (600, 25))
    assert one.taps == [(10, 20), (600, 25)]


def test_four_tapped_points_are_enough_passed_ones_do_not_count():
    one = picker()
    one.press(ord("n"))
    click(one, (10, 20), (600, 25), (600, 300))
    assert not one.may_stop()
    click(one, (20, 300))
    assert one.may_stop()
    assert not one.done
    click(one, (1, 1), (2, 2), (3, 3))
    assert one.done


def test_the_plan_stands_beside_the_photo_and_moves_on():
    one = picker()
    before = one.picture()
    assert before.shape[0] == 360
    assert before.shape[1] > 800
    click(one, (10, 20))
    one.press(ord("n"))
    after = one.picture()
    assert (before[:, 640:] != after[:, 640:]).any()
    assert (after[20, 10] == (0, 0, 255)).all()
    assert (IMAGE == 120).all()
