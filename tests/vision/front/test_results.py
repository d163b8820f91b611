import numpy as np

from vision.front.results import PlacedFrames


def test_a_frame_is_placed_by_its_name_for_some_photos_may_have_been_skipped():
    moves = np.stack([np.eye(3) * k for k in (1, 2, 3)])
    placed = PlacedFrames(("a.jpg", "c.jpg", "d.jpg"), np.array([0.0, 2.0, 3.0]), 0.0, moves)
    assert np.array_equal(placed.homography("c.jpg"), np.eye(3) * 2)
    assert placed.homography("b.jpg") is None
