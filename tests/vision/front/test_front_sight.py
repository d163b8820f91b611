import numpy as np
import pytest

from vision.front.front_sight import FILL_SD, edges, front_sight
from vision.records import ArrivalMap


def arrival(seen):
    time_s = np.tile(np.arange(seen.shape[1], dtype=float), (seen.shape[0], 1))
    return ArrivalMap(time_s, seen, np.zeros_like(seen), 0.5, 99.0)


def test_a_front_in_a_hole_is_not_seen_and_doubted_by_the_distance_to_what_was():
    seen = np.ones((10, 60), bool)
    seen[:5, 20:40] = False
    x_px = np.array([[10.0] * 10, [30.0] * 10])
    y_px = np.broadcast_to(np.arange(10) + 0.5, (2, 10))
    sight = front_sight(arrival(seen), x_px, y_px)
    assert sight.hidden_share == pytest.approx([0.0, 0.5])
    assert sight.blind_mm[0] == 0.0
    # Lanes 0 to 4 lie 5, 4, 3, 2 and 1 pixels of half a millimetre from the lanes that were seen.
    assert sight.blind_mm[1] == pytest.approx(FILL_SD * 0.5 * (5 + 4 + 3 + 2 + 1) / 10)


def test_the_edges_are_those_of_what_is_as_wide_as_a_tow():
    fronts = np.full((1, 40), 100.0)
    fronts[0, 5] = 170.0  # a speck one lane of half a millimetre wide
    fronts[0, 20:26] = 112.0
    fronts[0, 30] = 40.0
    least, most = edges(fronts, 0.5, around=False)
    assert (least[0], most[0]) == (100.0, 112.0)


def test_directions_close_round():
    radius = np.full((1, 36), 50.0)
    radius[0, [34, 35, 0, 1]] = 60.0
    assert edges(radius, 0.6, around=True)[1][0] == 60.0
