import numpy as np
from numpy.testing import assert_allclose
from skimage.measure import find_contours

from vision.arrival.lanes import lane_fronts_px


def test_fronts_agree_with_contours_by_another_library():
    # Independent reference: marching squares of scikit-image on the same map.
    rows, cols = 40, 90
    y, x = np.indices((rows, cols)) + 0.5
    arrival = (x - 6 * np.sin(y / 7)) ** 2 / 3.0 + 5
    time = 700.0
    front = lane_fronts_px(arrival, np.array([time]))[0]
    contour = max(find_contours(arrival, time), key=len)
    at_rows = np.interp(np.arange(rows), *contour[np.argsort(contour[:, 0])].T)
    assert_allclose(front, at_rows + 0.5, atol=0.08)


def test_a_dry_island_does_not_pull_the_front_back():
    arrival = np.tile(np.arange(1.0, 21.0), (3, 1))
    arrival[1, 5:8] = np.inf
    front = lane_fronts_px(arrival, np.array([15.0]))
    assert_allclose(front, 15.0, atol=0.5)


def test_front_stops_at_both_ends():
    arrival = np.tile(np.arange(1.0, 6.0), (2, 1))
    assert lane_fronts_px(arrival, np.array([0.5, 99.0])).tolist() == [[0, 0], [5, 5]]
