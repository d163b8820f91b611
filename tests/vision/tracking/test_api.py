"""Tracking from a script, on a made-up panel whose front runs as x = sqrt(120 mm2/s t)."""

import re
import shutil

import cv2
import numpy as np
import pytest

from tests.made_up.live_run import CORNERS, LENGTH_MM, WIDTH_MM, front_mm, picture, write_panel
from vision.errors import WetlineError
from vision.tracking.api import front_lines, load, track, track_images

TIMES_S = np.arange(-60.0, 620.0, 20.0)


@pytest.fixture(scope="module")
def pictures():
    return [picture(time_s) for time_s in TIMES_S]


@pytest.fixture(scope="module")
def run(pictures):
    return track_images(pictures, TIMES_S + 1000.0, CORNERS, LENGTH_MM, WIDTH_MM)


@pytest.fixture(scope="module")
def folder(pictures, tmp_path_factory):
    place = write_panel(tmp_path_factory.mktemp("api") / "panel")
    text = (place / "panel.toml").read_text(encoding="utf-8")
    (place / "panel.toml").write_text(text + "[frames]\ninterval_s = 20\n", encoding="utf-8")
    (place / "frames").mkdir()
    for k, image in enumerate(pictures):
        cv2.imwrite(str(place / "frames" / f"{k:03d}.png"), image)
    return place


def test_pictures_in_memory_give_the_front_and_the_start(run):
    truth = np.array([front_mm(time_s) for time_s in TIMES_S])
    assert run.front.usable
    assert np.abs(run.curve.front_mean_mm - truth)[run.curve.used].max() < 1.0
    start_s = (TIMES_S + 1000.0 - run.curve.time_s)[0]
    assert abs(start_s - 1000.0) < 6.0


def test_a_folder_of_the_same_pictures_gives_the_same_and_nothing_is_written(run, folder):
    steps = []
    found = track(folder, progress=lambda done, count: steps.append((done, count)))
    assert np.allclose(found.arrival.time_s, run.arrival.time_s, atol=1e-6)
    assert np.allclose(found.curve.front_mean_mm, run.curve.front_mean_mm, atol=1e-6)
    assert found.scale == run.scale
    assert steps == [(k, len(TIMES_S)) for k in range(len(TIMES_S))]
    assert not (folder / "results").exists()
    with pytest.raises(WetlineError, match="run `wetline run"):
        load(folder)


def test_what_was_written_is_read_back(folder, tmp_path):
    folder = shutil.copytree(folder, tmp_path / "panel")
    found = track(folder, write=True)
    back = load(folder)
    assert np.allclose(back.curve.front_mean_mm, found.curve.front_mean_mm, atol=5e-4)
    assert np.allclose(back.arrival.time_s, found.arrival.time_s, rtol=1e-6)
    assert (back.front, back.scale) == (found.front, found.scale)
    assert (folder / "results" / "front_lines.jpg").exists()


def test_a_run_without_a_map_leaves_no_older_map_behind(folder, tmp_path):
    folder = shutil.copytree(folder, tmp_path / "panel")
    track(folder, write=True)
    (folder / "marks.csv").write_text(
        "time_min,distance_mm\n1,85\n2,120\n4,170\n6,208\n9,254\n", encoding="utf-8"
    )
    panel = folder / "panel.toml"
    before = panel.read_text(encoding="utf-8")
    panel.write_text(before.replace("interval_s = 20", 'source = "marks.csv"'), encoding="utf-8")
    track(folder, write=True)
    back = load(folder)
    assert back.arrival is None
    assert back.scale.method == "marks"
    with pytest.raises(WetlineError, match="no arrival map"):
        front_lines(back, [60])


def test_front_lines_stand_where_the_front_was(run):
    lines = front_lines(run, [400.0, 100.0])
    assert [line.time_s for line in lines] == [100.0, 400.0]
    for line in lines:
        x_mm, y_mm = line.points_mm.T
        assert abs(x_mm.mean() - front_mm(line.time_s)) < 1.0
        assert np.ptp(y_mm) > 0.95 * WIDTH_MM


@pytest.mark.parametrize("time_s", [-1.0, 5000.0, float("nan")])
def test_front_lines_outside_of_the_run_are_refused(run, time_s):
    with pytest.raises(WetlineError, match="outside of the run"):
        front_lines(run, [60.0, time_s])


def test_a_panel_on_which_nothing_happens_is_not_measured(pictures):
    still = [picture(-100.0 - k) for k in range(12)]
    found = track_images(still, np.arange(12) * 20.0, CORNERS, LENGTH_MM, WIDTH_MM)
    assert not found.front.usable
    with pytest.raises(WetlineError, match="cannot be measured"):
        front_lines(found, [60.0])


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"length_mm": -300}, "length_mm = -300: must be above 0"),
        ({"width_mm": None}, "width_mm"),
        ({"corners_px": CORNERS[::-1]}, "corners run the wrong way round"),
        ({"corners_px": CORNERS[:3]}, "corners_px = .*: must be a list of 4 pairs"),
        ({"corners_px": [[60, 50], [5400, 50], [5400, 306], [60, 306]]}, "picture"),
        ({"flow": "radial"}, "flow = radial: must be one of edge, point"),
        ({"feed_point_mm": (10, 10)}, "feed_point_mm"),
        ({"resin_start_s": 9999.0}, r"resin_start_s = 9999.0: must be before the last picture"),
        ({"resin_start_s": float("nan")}, "resin_start_s = nan: must be a number"),
        ({"ignore_mm": [[[1, 2]]]}, "ignore_mm"),
    ],
)
def test_a_wrong_argument_is_named_with_its_value(pictures, change, told):
    given = {"corners_px": CORNERS, "length_mm": LENGTH_MM, "width_mm": WIDTH_MM} | change
    corners, length, width = (given.pop(k) for k in ("corners_px", "length_mm", "width_mm"))
    with pytest.raises(WetlineError, match=told) as error:
        track_images(pictures[:6], np.arange(6.0), corners, length, width, **given)
    assert re.match("track_images: ", str(error.value))
