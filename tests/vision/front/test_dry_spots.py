"""Dry spots on an arrival map of 1 mm pixels, 60 mm across and 100 mm along the flow."""

import numpy as np
import pytest

from vision.drawing.front_lines import front_lines
from vision.front.dry_spots import dry_spot_mask, find_dry_spots
from vision.records import ArrivalMap


def panel(dry, hidden=(slice(0, 0), slice(0, 0)), reach=100):
    """A panel wet up to `reach` mm but for the patch `dry`."""
    time_s = np.tile((np.arange(100) + 0.5) ** 2 / 10.0, (60, 1))
    time_s[:, reach:] = np.inf
    time_s[dry] = np.inf
    seen = np.ones((60, 100), bool)
    seen[hidden] = False
    return ArrivalMap(time_s, seen, np.zeros((60, 100), bool), 1.0, 1000.0)


def test_a_patch_that_stayed_dry_is_found_at_its_place():
    (spot,) = find_dry_spots(panel((slice(20, 30), slice(40, 46))))
    assert (spot.x_mm, spot.y_mm, spot.area_mm2) == (43.0, 25.0, 60.0)


@pytest.mark.parametrize(("rows", "found"), [(5, 1), (4, 0)])
def test_the_least_area_is_30_mm2(rows, found):
    arrival = panel((slice(20, 20 + rows), slice(40, 46 + 1)))
    assert len(find_dry_spots(arrival)) == found  # 35 and 28 mm2


def test_what_the_front_has_not_reached_is_no_dry_spot():
    arrival = panel((slice(20, 30), slice(60, 80)), reach=80)
    assert find_dry_spots(arrival) == ()
    assert find_dry_spots(panel((slice(20, 30), slice(60, 79)), reach=80))[0].area_mm2 == 190.0


def test_with_a_point_feed_a_patch_at_any_edge_may_still_fill():
    at_side = panel((slice(0, 10), slice(40, 50)))
    assert len(find_dry_spots(at_side, "edge")) == 1
    assert find_dry_spots(at_side, "point") == ()
    inside = panel((slice(20, 30), slice(40, 50)))
    assert find_dry_spots(inside, "point")[0].area_mm2 == 100.0


def test_a_hidden_patch_is_a_hole_not_a_dry_spot():
    dry = (slice(20, 30), slice(40, 50))
    assert find_dry_spots(panel(dry, hidden=(slice(20, 23), slice(40, 50)))) == ()
    assert len(find_dry_spots(panel(dry, hidden=(slice(20, 22), slice(40, 50))))) == 1


def test_pixels_that_touch_at_a_corner_are_two_patches():
    arrival = panel((slice(20, 26), slice(40, 46)))
    arrival.time_s[26:32, 46:52] = np.inf
    assert [spot.area_mm2 for spot in find_dry_spots(arrival)] == [36.0, 36.0]


@pytest.mark.parametrize("flow", ["edge", "point"])
def test_what_is_reported_is_what_is_drawn(flow):
    arrival = panel((slice(20, 30), slice(40, 46)))
    arrival.time_s[40:46, 70:76] = np.inf
    arrival.time_s[5:8, 5:8] = np.inf
    arrival.time_s[0:9, 20:29] = np.inf
    spots = find_dry_spots(arrival, flow)
    drawn = [line for line in front_lines(arrival, [100.0], flow=flow) if line.dry]
    assert len(spots) == len(drawn) == (3 if flow == "edge" else 2)
    assert dry_spot_mask(arrival, flow).sum() == sum(spot.area_mm2 for spot in spots)
