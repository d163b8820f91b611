"""Which corners are asked for, in which order, and what they are called."""

import numpy as np
import pytest

from vision.errors import WetlineError
from vision.part_records import FeedPlace, PartShape
from vision.parts.tapping.asked_points import points_to_tap

RECTANGLE = np.array([[100.0, 50], [900, 50], [900, 450], [100, 450]])
CHAMFERED = np.array(
    [[0.0, 60], [60, 0], [460, 0], [520, 60], [520, 260], [460, 320], [60, 320], [0, 260]]
)
ROUND = np.array([(np.cos(a), np.sin(a)) for a in np.linspace(0, 2 * np.pi, 60)[:-1]]) * 300


def shape(outline, holes=(), feeds=(), y_runs="down"):
    return PartShape("cover", outline, tuple(holes), tuple(feeds), y_runs)


def test_corners_run_clockwise_from_the_upper_left_as_seen_from_above():
    points = points_to_tap(shape(RECTANGLE), "part.toml")
    assert [point.mm for point in points] == [(100, 50), (900, 50), (900, 450), (100, 450)]
    assert [p.words for p in points] == ["upper left", "upper right", "lower right", "lower left"]


def test_a_plan_with_y_up_is_called_as_it_is_seen():
    points = points_to_tap(shape(RECTANGLE, y_runs="up"), "part.toml")
    assert [point.mm for point in points] == [(100, 450), (900, 450), (900, 50), (100, 50)]
    assert points[0].words == "upper left"


def test_of_many_corners_those_far_apart_come_first_and_all_are_told_apart():
    points = points_to_tap(shape(CHAMFERED), "part.toml")
    assert len(points) == 8
    assert len({point.words for point in points}) == 8
    first = np.array([point.mm for point in points[:4]])
    assert np.ptp(first, axis=0) == pytest.approx([520, 320], abs=61)
    nearest = min(np.hypot(*(a - b)) for k, a in enumerate(first) for b in first[:k])
    assert nearest > 200


def test_no_more_than_eight_are_asked_for_and_corners_of_openings_come_last():
    hole = np.array([[380.0, 200], [480, 200], [480, 300], [380, 300]])
    points = points_to_tap(shape(RECTANGLE, [hole, hole + np.array([200.0, 0])]), "part.toml")
    assert len(points) == 8
    assert all("opening" not in point.words for point in points[:4])
    assert all(point.words.startswith("opening at the") for point in points[4:])
    assert len({point.words for point in points}) == 8


def test_corners_of_an_opening_are_told_by_its_place_and_theirs():
    hole = np.array([[180.0, 100], [280, 100], [280, 160], [180, 160]])
    words = [point.words for point in points_to_tap(shape(RECTANGLE, [hole]), "part.toml")]
    assert words[4] == "opening at the upper left, its upper left corner"
    assert words[6] == "opening at the upper left, its lower right corner"


def test_steps_of_a_curve_are_no_corners():
    with pytest.raises(WetlineError, match=r"has 0 corners .*`wetline sheet`"):
        points_to_tap(shape(ROUND), "cover/part.toml")


def test_a_corner_by_a_feed_is_called_after_it():
    feed = FeedPlace("left line", np.array([[100.0, 50], [100, 450]]))
    words = [point.words for point in points_to_tap(shape(RECTANGLE, feeds=[feed]), "part.toml")]
    assert words[0] == "upper left, by feed 'left line'"
    assert words[1] == "upper right"
