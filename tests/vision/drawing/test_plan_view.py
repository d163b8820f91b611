"""The panel from straight above."""

import numpy as np

from tests.made_up.drawn_panel import darcy
from vision.drawing.front_lines import front_lines
from vision.drawing.plan_view import plan_view
from vision.records import ArrivalMap


def test_plan_view_puts_mm_axes_round_the_panel():
    arrival = darcy(dry=True)
    canvas = np.full((360, 600, 3), 200, np.uint8)
    canvas[:, :4] = (0, 0, 255)  # the feed edge in red
    picture = plan_view(
        canvas, arrival, front_lines(arrival, [120.0, 600.0]), title="$5 _a", dpi=100
    )
    assert picture.shape[1] == 640
    red = np.argwhere((picture[..., 2] > 200) & (picture[..., :2].max(axis=2) < 40))
    assert red[:, 1].max() < 0.15 * picture.shape[1]  # on the left, in blue-green-red order
    tall = plan_view(
        canvas.transpose(1, 0, 2).copy(),
        ArrivalMap(arrival.time_s.T, arrival.seen.T, arrival.by_hand.T, 1.0, 1100.0),
        [],
        flow="point",
        dpi=100,
    )
    assert tall.shape[1] == 640
