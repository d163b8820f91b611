from dataclasses import replace

import numpy as np
import pytest

from vision.errors import WetlineError
from vision.front.results import PlacedFrames, load_run, save_tracked
from vision.records import (
    ArrivalMap,
    FrontCurve,
    FrontDoubt,
    FrontSummary,
    ScaleSummary,
    Tracked,
)

TIMES = np.array([-20.0, 0.0, 20.0])
DOUBT = FrontDoubt(2.5, TIMES, np.array([0.0, 0.0, 9.0]), np.array([0.1, 0.1, 0.4]))


def save(results, doubt):
    yes = np.ones((3, 5), bool)
    arrival = ArrivalMap(np.tile(np.arange(5.0), (3, 1)), yes, ~yes, 1.0, 20.0, doubt)
    names = ("a.jpg", "b.jpg", "c.jpg")
    curve = FrontCurve.of("edge", names, TIMES, np.ones(3, bool), [""] * 3)
    scale = ScaleSummary("corners", 1.0, 0.3, 0.003, 5.0, 3.0)
    placed = PlacedFrames(names, TIMES, 0.0, np.stack([np.eye(3)] * 3))
    save_tracked(results, Tracked(arrival, curve, FrontSummary(True, "", 3, 3), scale), placed)


def test_how_sure_the_fronts_are_is_kept_with_the_map(tmp_path):
    save(tmp_path, DOUBT)
    back = load_run(tmp_path).arrival.doubt
    assert back.start_sd_s == 2.5
    for name in ("time_s", "front_mm", "sd_mm"):
        assert np.array_equal(getattr(back, name), getattr(DOUBT, name))
    save(tmp_path, None)
    assert load_run(tmp_path).arrival.doubt is None


@pytest.mark.parametrize(
    "wrong",
    [
        {"start_sd_s": -1.0},
        {"start_sd_s": np.nan},
        {"time_s": TIMES[::-1]},
        {"sd_mm": np.array([0.1, -0.1, 0.4])},
        {"front_mm": np.array([0.0, np.nan, 9.0])},
        {"front_mm": np.zeros(2)},
    ],
)
def test_fronts_that_cannot_be_are_refused(tmp_path, wrong):
    save(tmp_path, replace(DOUBT, **wrong))
    with pytest.raises(WetlineError, match="cannot be read"):
        load_run(tmp_path)


def test_a_frame_is_placed_by_its_name_for_some_photos_may_have_been_skipped():
    moves = np.stack([np.eye(3) * k for k in (1, 2, 3)])
    placed = PlacedFrames(("a.jpg", "c.jpg", "d.jpg"), np.array([0.0, 2.0, 3.0]), 0.0, moves)
    assert np.array_equal(placed.homography("c.jpg"), np.eye(3) * 2)
    assert placed.homography("b.jpg") is None
