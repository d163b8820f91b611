"""The part on its canvas: holes, feeds and ways round them."""

from dataclasses import replace

import numpy as np
import pytest

from vision.part_records import FeedPlace, PartShape
from vision.parts.part_canvas import fill_outline, geodesic_px, lay_part, to_px

ELL = np.array([[100.0, 50], [500, 50], [500, 150], [200, 150], [200, 350], [100, 350]])


def shape(feeds, outline=ELL, holes=(), y_runs="down"):
    return PartShape("bracket", outline, tuple(holes), tuple(feeds), y_runs)


def test_area_of_outline_less_holes():
    hole = np.array([[300.0, 80], [360, 80], [360, 120], [300, 120]])
    mask = fill_outline(shape([], holes=[hole]), (150, 200), 2.0)
    assert 4 * np.count_nonzero(mask) == pytest.approx(40_000 + 20_000 - 2_400, rel=0.02)


@pytest.mark.parametrize(("y_runs", "row"), [("down", 0), ("up", 150)])
def test_y_runs_as_the_part_is_seen_from_above(y_runs, row):
    px = to_px(shape([], y_runs=y_runs), np.array([[100.0, 50.0]]), 2.0)
    assert px == pytest.approx(np.array([[-0.5, row - 0.5]]))


def test_way_goes_round_the_corner():
    feed = FeedPlace("left end", np.array([[110.0, 345.0]]), 4.0)
    part = lay_part(shape([feed]), (150, 200), 2.0)
    far = part.feeds.distance_px[40, 195] * 2.0
    straight = np.hypot(490 - 110, 130 - 345)
    # By the inner corner: two straight legs, and up to 8 % for ways over eight neighbours.
    legs = np.hypot(200 - 110, 150 - 345) + np.hypot(490 - 200, 130 - 150)
    assert straight < far
    assert legs - 15 < far < 1.08 * legs


def test_every_planned_feed_is_a_source_and_the_first_tell_the_way():
    feeds = [
        FeedPlace("first", np.array([[120.0, 60.0], [120.0, 340.0]])),
        FeedPlace("later", np.array([[480.0, 60.0], [480.0, 140.0]]), first=False),
    ]
    part = lay_part(shape(feeds), (150, 200), 2.0)
    at_later = (25, 190)
    assert part.feeds.place(np.zeros((150, 200), int), 0.0)[at_later]
    assert part.from_any_px[at_later] == 0
    assert part.feeds.distance_px[at_later] * 2 > 330
    assert not (part.beside["later"] & part.under).any()
    assert part.beside["later"][25, 180]


def test_a_vent_hides_its_own_hose_and_is_no_source():
    vent = FeedPlace("right end", np.array([[500.0, 60.0], [500.0, 140.0]]))
    part = lay_part(replace(shape([]), vents=(vent,)), (150, 200), 2.0)
    assert part.vents[25, 199]
    assert not part.vents[25, 190]
    assert not part.vents[100, 25]
    assert not (part.under | part.feeds.place(np.zeros((150, 200), int), 0.0)).any()


def test_no_source_gives_one_distance_everywhere():
    assert (geodesic_px(np.ones((4, 5), bool), np.zeros((4, 5), bool)) == 1).all()
