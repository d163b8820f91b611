"""The plan drawn small: as seen from above, with the next point marked."""

import numpy as np

from tests.vision.parts.tapping.test_asked_points import shape
from vision.drawing.strokes import YELLOW
from vision.parts.tapping.asked_points import points_to_tap
from vision.parts.tapping.plan_sketch import plan_sketch

WEDGE = np.array([[0.0, 0], [400, 0], [400, 300], [100, 300]])


def yellow(image):
    return np.argwhere(np.abs(image.astype(int) - YELLOW).sum(axis=2) < 12)


def test_the_next_point_is_ringed_where_it_lies():
    part = shape(WEDGE)
    asked = points_to_tap(part, "part.toml")
    lower = next(k for k, point in enumerate(asked) if point.mm == (400, 300))
    image = plan_sketch(part, asked, (600, 500), now=lower)
    row, col = yellow(image).mean(axis=0)
    assert row > 350
    assert col > 400
    assert len(yellow(plan_sketch(part, asked, (600, 500)))) == 0


def test_y_up_is_drawn_as_it_is_seen():
    down, up = shape(WEDGE), shape(WEDGE, y_runs="up")
    filled = [plan_sketch(part, (), (600, 500)) for part in (down, up)]
    assert not np.array_equal(*filled)
    assert np.abs(filled[0].astype(int) - filled[1][::-1]).mean() < 2  # flipped, to a pixel


def test_tapped_points_are_filled():
    part = shape(WEDGE)
    asked = points_to_tap(part, "part.toml")
    some = plan_sketch(part, asked, (600, 500), None, [0, 1])
    assert len(yellow(some)) > 50
