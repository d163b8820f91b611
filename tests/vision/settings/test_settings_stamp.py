"""What tracking was told, and that a change since is noticed."""

import shutil

import pytest

from vision.errors import WetlineError
from vision.front.results import read_tracked
from vision.settings.settings_stamp import settings_stamp
from vision.tracking.job import track_folder

PANEL = """
[panel]
name = "cover strip"
length_mm = 600
width_mm = 200
[frames]
source = "marks.csv"
[resin]
gel_time_min = 60
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "panel.toml").write_text(PANEL, encoding="utf-8")
    rows = "".join(f"{k},{100 * k**0.5:.1f}\n" for k in range(1, 20))
    (tmp_path / "marks.csv").write_text("time_min,distance_mm\n" + rows, encoding="utf-8")
    return tmp_path


def change(folder, old, new):
    text = (folder / "panel.toml").read_text(encoding="utf-8")
    assert old in text
    (folder / "panel.toml").write_text(text.replace(old, new), encoding="utf-8")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("gel_time_min = 60", "gel_time_min = 70"),
        ('name = "cover strip"', 'name = "cover"'),
        ("length_mm = 600\nwidth_mm = 200", "width_mm = 200  # across\nlength_mm = 600"),
    ],
)
def test_what_the_tracker_does_not_ask_may_change(folder, old, new):
    before = settings_stamp(folder)
    change(folder, old, new)
    assert settings_stamp(folder) == before


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("length_mm = 600", "length_mm = 700"),
        ("[resin]", "interval_s = 30\n[resin]"),
        ("[resin]", '[scale]\nmethod = "corners"\n[resin]'),
    ],
)
def test_what_the_tracker_was_told_may_not(folder, old, new):
    track_folder(folder, quiet=True)
    assert read_tracked(folder).settings_stamp == settings_stamp(folder)
    change(folder, old, new)
    with pytest.raises(WetlineError, match="changed since the front was tracked"):
        read_tracked(folder)


@pytest.mark.parametrize("name", ["marks.csv", "fix.csv"])
def test_marks_and_corrections_count_too(folder, name):
    track_folder(folder, quiet=True)
    with (folder / name).open("a", encoding="utf-8") as file:
        file.write("25,510\n")
    with pytest.raises(WetlineError, match="the marks or fix"):
        read_tracked(folder)


def test_a_folder_that_has_moved_is_still_the_same(folder, tmp_path_factory):
    track_folder(folder, quiet=True)
    moved = tmp_path_factory.mktemp("archive") / "panel"
    shutil.copytree(folder, moved)
    assert read_tracked(moved).curve.time_s.size == 19
