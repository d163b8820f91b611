"""The picture of what was not understood."""

import numpy as np

from vision.check.doubts import Unexplained
from vision.drawing.unexplained_view import photo_from_above, unexplained_view
from vision.scale.plane_map import PlaneMap

SIZE_MM = (300.0, 160.0)
SHAPE = (80, 150)


def places(**boxes):
    masks = {name: np.zeros(SHAPE, bool) for name in ("odd", "elsewhere", "light", "hidden")}
    for name, (rows, cols) in boxes.items():
        masks[name][rows, cols] = True
    return Unexplained(**masks)


def dark_share(picture, x_mm, y_mm):
    """Share of dark pixels around a place of a picture 1024 px wide at 160 dots an inch."""
    left, wide = 0.62 * 160, (6.4 - 0.62 - 0.15) * 160
    scale = wide / SIZE_MM[0]
    x, y = round(left + x_mm * scale), round(0.35 * 160 + y_mm * scale)
    return float(np.mean(picture[y - 12 : y + 13, x - 12 : x + 13].max(axis=2) < 110))


def test_each_kind_of_place_is_stroked_where_it_is_and_nowhere_else():
    flat = np.full((160, 300, 3), 30, np.uint8)  # black cloth
    odd = places(odd=(slice(10, 40), slice(20, 70)), hidden=(slice(50, 75), slice(90, 140)))
    picture = unexplained_view(flat, odd, SIZE_MM, title="roof cover")
    assert picture.shape[1] == 1024
    assert dark_share(picture, 90, 50) > 0.1  # in the odd place
    assert dark_share(picture, 230, 125) > 0.1  # in the hidden one
    assert dark_share(picture, 200, 50) == 0.0
    # A line of words for each kind that there is: one more makes the picture taller.
    more = places(odd=(slice(10, 40), slice(20, 70)))
    assert unexplained_view(flat, more, SIZE_MM).shape[0] < picture.shape[0]


def test_a_tall_panel_fits_and_a_place_at_the_edge_is_drawn():
    flat = np.full((300, 100, 3), 220, np.uint8)
    mask = np.zeros((150, 50), bool)
    mask[:, :10] = True
    none = np.zeros_like(mask)
    picture = unexplained_view(flat, Unexplained(none, mask, none, none), (100.0, 300.0))
    assert picture.shape[0] < 1600


def test_only_a_part_of_the_panel_is_a_place_to_show():
    assert not places().is_telling
    assert not places(hidden=(slice(None), slice(None))).is_telling
    assert places(hidden=(slice(0, 30), slice(0, 30))).is_telling
    assert places(light=(slice(0, 1), slice(0, 1))).is_telling


def test_a_photo_laid_flat_has_the_feed_on_the_left_whichever_way_it_lies():
    # A panel of 40 x 20 mm at 10 px a mm, its feed at the right of the photo, turned half round.
    image = np.zeros((300, 500, 3), np.uint8)
    image[50:250, 50:450] = 90
    image[200:250, 400:450] = 250  # the corner (0, 0)
    turned = np.array([[-10.0, 0.0, 449.5], [0.0, -10.0, 249.5], [0.0, 0.0, 1.0]])
    plane = PlaneMap(turned, None, None, (500, 300), 40.0, 20.0, "corners", 0.1, 0.001)
    flat = photo_from_above(image, plane, 400)
    assert flat.shape == (200, 400, 3)
    assert flat[5:45, 5:45].min() == 250
    assert flat[60:].max() == flat[:, 60:].max() == 90
