"""Labels keep clear of each other and inside the picture."""

import numpy as np
from numpy.testing import assert_allclose

from vision.drawing.labels import Box, place_labels, point_along


def test_labels_keep_clear_of_each_other_and_of_what_is_there():
    lines = [np.array([[x, 0.0], [x, 200.0]]) for x in (100.0, 110.0, 120.0, 130.0)]
    title = Box(100, 100, 60, 40)
    places = place_labels(lines, [(50, 16)] * 4, (300, 200), [title])
    assert all(place is not None for place in places)
    boxes = [title, *places]
    for i, box in enumerate(boxes):
        assert not any(box.overlaps(other) for other in boxes[i + 1 :])
    assert all(place.x == line[0, 0] for place, line in zip(places, lines, strict=True))


def test_a_label_without_room_is_left_out():
    line = np.array([[10.0, 0.0], [10.0, 100.0]])
    assert place_labels([line], [(50, 16)], (40, 100)) == [None]
    assert place_labels([line], [(50, 16)], (300, 100), [Box(30, 50, 60, 100)]) == [None]


def test_a_label_at_the_border_is_moved_inside():
    line = np.array([[10.0, 0.0], [10.0, 100.0]])
    assert place_labels([line], [(50, 16)], (300, 100)) == [Box(25, 50, 50, 16)]


def test_point_along_a_bent_line():
    bent = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 30.0]])
    assert_allclose(point_along(bent, 0.5), [10.0, 10.0])
