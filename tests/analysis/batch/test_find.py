"""Panels found wherever they lie, and what lacks a panel.toml named with what to write."""

import os
import shutil
import sys

import pytest
from click.testing import CliRunner

import wetline
from analysis.batch.find import find_panels
from vision.errors import WetlineError
from vision.settings.panel_settings import read_setup


def photos(folder, count):
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(count):
        (folder / f"p{number}.jpg").write_bytes(b"jpeg")


def panel(folder):
    photos(folder / "frames", 4)
    (folder / "panel.toml").write_text("")


def test_finds_panels_at_any_depth_in_the_order_people_count(tmp_path):
    for name in ("week 10/a", "week 2/b", "c", "c/older"):
        panel(tmp_path / name)
    found = find_panels(tmp_path)
    assert [found.name(folder) for folder in found.panels] == [
        "c", "c/older", "week 2/b", "week 10/a",
    ]  # fmt: skip
    assert found.unfinished == ()


def test_the_folder_itself_may_be_the_panel(tmp_path):
    panel(tmp_path / "one")
    found = find_panels(tmp_path / "one")
    assert [found.name(folder) for folder in found.panels] == ["one"]


def test_parts_with_frames_are_found_and_plans_alone_are_passed_over(tmp_path):
    panel(tmp_path / "a")
    for name, text in (("b", "[frames]\n"), ("c", ""), ("d", ""), ("e", "[[[")):
        (tmp_path / name).mkdir()
        (tmp_path / name / "part.toml").write_text(text)
    (tmp_path / "a" / "part.toml").write_text("[frames]\n")  # a panel's folder with a plan in it
    photos(tmp_path / "d" / "frames", 5)
    found = find_panels(tmp_path)
    assert [found.name(folder) for folder in found.panels] == ["a", "b", "e"]
    advice = {one.folder: one.advice for one in found.unfinished}
    assert list(advice) == ["d"]
    assert "5 photos beside a part.toml without [frames]" in advice["d"]
    assert [(one.folder, "without [frames]" in one.advice) for one in found.plans] == [("c", True)]


def test_results_and_hidden_folders_are_left_out(tmp_path):
    panel(tmp_path / "a")
    panel(tmp_path / "a" / "results" / "copy")
    panel(tmp_path / ".trash" / "b")
    photos(tmp_path / "results", 9)
    found = find_panels(tmp_path)
    assert [found.name(folder) for folder in found.panels] == ["a"]
    assert found.unfinished == ()


def test_photos_films_and_marks_without_a_panel_toml_are_named(tmp_path):
    photos(tmp_path / "a" / "frames", 5)
    photos(tmp_path / "loose photos", 4)
    photos(tmp_path / "few", 3)
    for name in ("film/run.mp4", "films/1.mov", "films/2.mov", "pen/marks.csv"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"")
    advice = {one.folder: one.advice for one in find_panels(tmp_path).unfinished}
    assert set(advice) == {"a", "loose photos", "film", "films", "pen"}
    assert "5 photos" in advice["a"]
    assert f"`wetline new {(tmp_path / 'a').as_posix()}`" in advice["a"]
    assert 'source = "."' in advice["loose photos"]
    typed = (tmp_path / "loose photos").as_posix()
    assert f'`wetline new "{typed}"`' in advice["loose photos"]
    assert 'source = "run.mp4"' in advice["film"]
    assert "speed_up" in advice["film"]
    assert "a folder of its own" in advice["films"]
    assert 'source = "marks.csv"' in advice["pen"]


@pytest.mark.parametrize("name", ["frames", "."])
def test_what_is_advised_makes_a_panel(tmp_path, monkeypatch, name):
    """The advice followed to the letter leads to settings that can be read."""
    photos(tmp_path / "new" / name, 4)
    monkeypatch.chdir(tmp_path)
    command = ["new", "new", "--length", "400", "--width", "200", "--no-ask", "--scale", "corners"]
    made = CliRunner().invoke(wetline.main, command)
    assert made.exit_code == 0, made.output
    place = tmp_path / "new" / "panel.toml"
    text = place.read_text()
    corners = "corners_px = [[0, 0], [9, 0], [9, 9], [0, 9]]"
    text = text.replace("# corners_px =             # four [x, y]", corners)
    place.write_text(text.replace('source = "frames"', f'source = "{name}"'))
    assert read_setup(tmp_path / "new").frames.kind == "photos"
    assert find_panels(tmp_path).unfinished == ()


def test_a_missing_folder_is_an_error_in_one_line(tmp_path):
    with pytest.raises(WetlineError, match="no such folder"):
        find_panels(tmp_path / "nowhere")


@pytest.mark.skipif(sys.platform == "win32", reason="links need a right of their own there")
def test_links_that_lead_round_in_a_circle_end(tmp_path):
    panel(tmp_path / "a")
    os.symlink(tmp_path, tmp_path / "a" / "round")
    panel(tmp_path / "far" / "b")
    shutil.move(tmp_path / "far", tmp_path.parent / "far")
    os.symlink(tmp_path.parent / "far", tmp_path / "share")
    found = find_panels(tmp_path)
    assert [found.name(folder) for folder in found.panels] == ["a", "share/b"]
    shutil.rmtree(tmp_path.parent / "far")
