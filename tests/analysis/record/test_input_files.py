"""What a panel's answer rests on: each file found, hashed, and noticed when it changes."""

import hashlib
import os

import pytest

from analysis.record.input_files import hash_inputs, input_files


@pytest.fixture
def panel(tmp_path):
    folder = tmp_path / "panel"
    (folder / "frames").mkdir(parents=True)
    (folder / "results").mkdir()
    (folder / "panel.toml").write_text('[vacuum]\nlog = "../gauge.csv"\n')
    (folder / "frames" / "a.jpg").write_bytes(b"a")
    (folder / "results" / "results.json").write_text("{}")
    (folder / ".watch.lock").write_text("12:00")
    (tmp_path / "gauge.csv").write_text("time_min,bag_mbar\n0,10\n")
    return folder


def test_finds_all_but_results_and_hidden_files(panel):
    assert list(input_files(panel)) == ["../gauge.csv", "frames/a.jpg", "panel.toml"]


@pytest.mark.parametrize("name", ["panel.toml", "frames/a.jpg", "../gauge.csv"])
def test_a_change_with_the_old_time_and_size_is_noticed(panel, name):
    before = hash_inputs(panel)
    path = panel / name
    stat, held = path.stat(), path.read_bytes()
    path.write_bytes(held[:-1] + b" ")
    os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    after = hash_inputs(panel)
    assert {key for key in before if before[key] != after[key]} == {name}
    assert after[name] == hashlib.sha256(path.read_bytes()).hexdigest()


def test_a_new_file_and_a_lost_one_are_noticed(panel):
    before = hash_inputs(panel)
    (panel / "fix.csv").write_text("time_s,x_mm,y_mm\n")
    (panel / "frames" / "a.jpg").unlink()
    after = hash_inputs(panel)
    assert set(after) - set(before) == {"fix.csv"}
    assert set(before) - set(after) == {"frames/a.jpg"}


def test_photos_outside_of_the_folder_count_and_another_panel_below_does_not(panel, tmp_path):
    other = tmp_path / "card"
    other.mkdir()
    (other / "b.jpg").write_bytes(b"b")
    (panel / "older").mkdir()
    (panel / "older" / "panel.toml").write_text("")
    (panel / "panel.toml").write_text('[frames]\nsource = "../card"\n')
    assert list(input_files(panel)) == ["../card/b.jpg", "frames/a.jpg", "panel.toml"]


def test_a_name_that_leads_up_or_says_nothing_is_no_input(panel):
    (panel / "panel.toml").write_text('[panel]\nname = ".."\n[frames]\nsource = "no such place"\n')
    assert list(input_files(panel)) == ["frames/a.jpg", "panel.toml"]


def test_a_panel_toml_that_cannot_be_read_still_has_its_hash(panel):
    (panel / "panel.toml").write_bytes(b"\xff not toml")
    assert set(hash_inputs(panel)) == {"frames/a.jpg", "panel.toml"}
