import numpy as np
from numpy.testing import assert_allclose

from vision.repair.feed import Feed, FeedOnCanvas, first_front


def test_distance_from_an_edge_is_the_place_along_the_flow():
    feed = FeedOnCanvas(Feed(), (4, 6), 2.0)
    assert_allclose(feed.distance_px, np.tile(np.arange(6) + 0.5, (4, 1)))
    assert feed.place(np.zeros((4, 6), int), 0.1)[:, 0].all()
    assert not feed.place(np.zeros((4, 6), int), 0.1)[:, 1:].any()


def test_distance_from_a_point_begins_at_the_hole():
    feed = FeedOnCanvas(Feed((10.0, 10.0), 4.0, True), (40, 40), 0.5)
    assert feed.point_px == (20.0, 20.0)
    assert feed.distance_px[20, 20] == 0.0
    # 15.5 px to the right of the point, half a pixel below it, less a hole of 8 px.
    assert_allclose(feed.distance_px[20, 35], np.hypot(15.5, 0.5) - 8.0, rtol=1e-6)


def test_an_unknown_point_is_where_the_first_patch_is():
    wet_frame = np.full((60, 60), 9)
    wet_frame[30:36, 10:16] = 2
    wet_frame[5, 50] = 1
    feed = FeedOnCanvas(Feed(None, 0.0, True), (60, 60), 1.0)
    assert not feed.is_known
    place = feed.place(wet_frame, 0.002)
    assert place[30:36, 10:16].all()
    assert place.sum() == 36
    known = feed.at((13.0, 33.0))
    assert known.is_known
    assert known.feed.point_mm == (13.0, 33.0)


def test_specks_are_no_front():
    wet_frame = np.full((100, 100), 20)
    wet_frame[3, 3:6] = 1
    wet_frame[:, :2] = 7
    assert first_front(wet_frame, 20, 0.002) == 7
    assert first_front(np.full((9, 9), 20), 20, 0.002) == 0
