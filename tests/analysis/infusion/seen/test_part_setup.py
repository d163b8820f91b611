"""part.toml's tables for the camera: what is read, and one line for each mistake."""

from pathlib import Path

import numpy as np
import pytest

from analysis.infusion.seen.part_setup import part_camera
from analysis.part.part_folder import has_camera
from analysis.part.plan.part_toml import read_part
from vision.errors import WetlineError

PLAN = """
name = "cover"
[outline]
points_mm = [[100, 100], [900, 100], [900, 600], [100, 600]]
{turn}
[stack]
k1_m2 = 3e-10
k2_m2 = 3e-10
angle_deg = 0
porosity = 0.5
thickness_mm = 3
[[feed]]
name = "left"
line_mm = [[100, 100], [100, 600]]
[[feed]]
name = "middle"
line_mm = [[500, 100], [500, 600]]
opens_when = "wet"
[[vent]]
line_mm = [[900, 100], [900, 600]]
[resin]
viscosity_mpas = 200
gel_time_min = 60
[vacuum]
pressure_difference_mbar = 900
"""
FRAMES = '[frames]\nsource = "frames"\n'
SHEET = '[scale]\nmethod = "sheet"\nmarker_mm = 60\nmarker_centres_mm = {}\n'
DOWN = [[20, 20], [980, 20], [980, 680], [20, 680]]
UP = [[20, 680], [980, 680], [980, 20], [20, 20]]
TAPPED = (
    '[scale]\nmethod = "outline"\npoints_px = [[10, 10], [600, 12], [610, 400], [8, 390]]\n'
    "points_mm = [[100, 100], [900, 100], [900, 600], [100, 600]]\n"
)


def folder(tmp_path: Path, more: str, turn: str = "") -> Path:
    home = tmp_path / "cover"
    (home / "frames").mkdir(parents=True)
    (home / "part.toml").write_text(PLAN.format(turn=turn) + more, encoding="utf-8")
    return home


def camera(tmp_path, more, turn=""):
    return part_camera(read_part(folder(tmp_path, more, turn)))


def test_outline_and_feeds_come_from_the_plan(tmp_path):
    found = camera(tmp_path, FRAMES + SHEET.format(DOWN))
    assert [(feed.name, feed.first) for feed in found.shape.feeds] == [
        ("left", True),
        ("middle", False),
    ]
    assert [vent.name for vent in found.shape.vents] == ["vent 1"]
    assert found.shape.vents[0].points_mm.tolist() == [[900, 100], [900, 600]]
    assert found.size_mm == (800, 500)
    assert found.setup().scale.marker_centres_mm[0] == (-80, -80)


def test_cards_of_a_plan_with_y_up_are_taken_as_they_are_seen(tmp_path):
    found = camera(tmp_path, FRAMES + SHEET.format(UP), 'y_runs = "up"')
    assert found.scale.marker_centres_mm[0] == (20, 680)
    assert found.setup().scale.marker_centres_mm == ((-80, -80), (880, -80), (880, 580), (-80, 580))


def test_tapped_points_and_height(tmp_path):
    found = camera(tmp_path, FRAMES + TAPPED + "[surface]\nheight_mm = 25\nheight_varies_mm = 2\n")
    assert np.array(found.scale.points_px).shape == (4, 2)
    assert found.setup().scale.points_mm[2] == (800, 500)
    assert (found.shape.height_mm, found.shape.height_sd_mm) == (25, 2)


def test_has_camera(tmp_path):
    assert has_camera(folder(tmp_path, FRAMES + TAPPED))
    assert not has_camera(folder(tmp_path / "other", ""))
    assert not has_camera(tmp_path)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (FRAMES, r"\[scale\] method = \(missing\): is needed"),
        (FRAMES + TAPPED.replace('"outline"', '"corners"'), r"\[scale\] method"),
        (FRAMES + TAPPED.replace(", [100, 600]]", "]"), r"points_mm .*needs four or more"),
        (
            FRAMES + TAPPED.replace("[100, 600]]", "[100, 600], [1, 1]]"),
            r"has 5 points but points_px has 4",
        ),
        (FRAMES + TAPPED.replace("[900, 600]", "[9000, 600]"), r"\(9000, 600\) lies off"),
        (
            FRAMES
            + TAPPED.replace(
                "[[100, 100], [900, 100], [900, 600], [100, 600]]",
                "[[100, 100], [300, 101], [600, 100], [900, 101]]",
            ),
            "about on one line",
        ),
        (FRAMES + TAPPED + "marker_mm = 40\n", r'does not go with method = "outline"'),
        (FRAMES + SHEET.format(DOWN) + "points_px = []\n", r'does not go with method = "sheet"'),
        (FRAMES + SHEET.format(DOWN[::-1]), r"run the wrong way round"),
        (FRAMES + TAPPED + "[surface]\nheight = 3\n", r"\[surface\]"),
    ],
)
def test_mistakes_are_told_in_one_line(tmp_path, more, words):
    with pytest.raises(WetlineError, match=words) as told:
        camera(tmp_path, more)
    assert "\n" not in str(told.value)


def test_cards_that_are_not_stated_are_asked_for_in_words_of_a_part(tmp_path):
    with pytest.raises(
        WetlineError, match=r"in the plan's coordinates; `wetline sheet cover --write`"
    ):
        camera(tmp_path, FRAMES + '[scale]\nmethod = "sheet"\nmarker_mm = 60\n')


def test_points_that_are_not_stated_are_to_be_tapped(tmp_path):
    with pytest.raises(WetlineError, match=r"points_px = .*`wetline corners cover` asks for them"):
        camera(tmp_path, FRAMES + '[scale]\nmethod = "outline"\n')
