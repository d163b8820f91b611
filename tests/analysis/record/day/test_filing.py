"""Filing by program: what lands in day.toml, what stays untouched, what is refused whole."""

import os

import cv2
import numpy as np
import pytest

from analysis.record.day.day_toml import read_day
from analysis.record.day.filing import (
    add_mark,
    file_photo,
    file_picture,
    parse_mark,
    set_day,
    set_findings,
)
from vision.errors import WetlineError


@pytest.fixture
def folder(tmp_path):
    place = tmp_path / "cover"
    place.mkdir()
    (place / "panel.toml").write_text(
        "[panel]\nlength_mm = 400\nwidth_mm = 200\n", encoding="utf-8"
    )
    return place


def photo(tmp_path, name="IMG 1.JPG", grey=90, clock_s=1.94e9):
    path = tmp_path / name
    ok, data = cv2.imencode(".jpg", np.full((40, 60, 3), grey, np.uint8))
    assert ok
    path.write_bytes(data.tobytes())
    os.utime(path, (clock_s, clock_s))
    return path


def test_a_photo_is_copied_and_the_original_left_alone(folder, tmp_path):
    path = photo(tmp_path)
    before = (path.read_bytes(), path.stat().st_mtime_ns)
    filed = file_photo(folder, path, "face", note='north "side"\nwet', at="14:05")
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before
    assert (folder / filed.file).read_bytes() == before[0]
    assert filed.stage == "demoulded face"
    assert filed.time.endswith("T14:05:00")
    assert filed.time_from == "said"
    assert read_day(folder).photos == (filed,)
    assert filed.note == 'north "side" wet'


def test_a_note_that_is_too_long_is_refused_and_not_cut_short(folder, tmp_path):
    with pytest.raises(WetlineError, match="a note of 401 letters: at most 400 fit"):
        file_photo(folder, photo(tmp_path), "face", note="x" * 401, at="14:05")
    assert not read_day(folder).photos
    assert not list((folder / "stages").iterdir())


def test_a_second_photo_of_a_stage_gets_its_own_name(folder, tmp_path):
    first = file_photo(folder, photo(tmp_path), "bag")
    second = file_photo(folder, photo(tmp_path, "b.jpg", 91), "bag")
    assert [first.file, second.file] == ["stages/bag.jpg", "stages/bag-2.jpg"]
    assert second.time_from == "file"
    assert len(read_day(folder).photos) == 2


def test_the_same_photo_is_not_filed_twice(folder, tmp_path):
    file_photo(folder, photo(tmp_path), "bag")
    with pytest.raises(WetlineError, match="filed already, as bag"):
        file_photo(folder, photo(tmp_path), "stack")
    assert len(list((folder / "stages").iterdir())) == 1


@pytest.mark.parametrize("data", [b"", b"not a picture", None])
def test_what_is_no_whole_photo_is_refused_and_nothing_is_left(folder, tmp_path, data):
    if data is None:
        data = photo(tmp_path).read_bytes()[:-20]
    with pytest.raises(WetlineError, match=r"not a picture|is missing"):
        file_picture(folder, data, ".jpg", "bag")
    assert list((folder / "stages").iterdir()) == []
    assert not (folder / "day.toml").exists()


def test_a_picture_from_memory_has_no_time_unless_told(folder, tmp_path):
    data = photo(tmp_path).read_bytes()
    assert file_picture(folder, data, ".jpg", "bag").time == ""
    with pytest.raises(WetlineError, match="must be one of"):
        file_picture(folder, data, ".exe", "bag")


def test_findings_are_changed_one_by_one_and_hand_written_lines_stay(folder):
    (folder / "day.toml").write_text(
        '# ours\n[[mark]]\nkind = "pit"  # the big one\nx_mm = 1\ny_mm = 2\n', encoding="utf-8"
    )
    set_findings(folder, surface="good", weight_kg="850 g")
    set_day(folder, done_by="Kim")
    day = set_findings(folder, surface="fair", thickness_mm=["2,1 mm", 2.0])
    assert (day.findings.surface, day.findings.weight_kg) == ("fair", 0.85)
    assert day.findings.thickness_mm == (2.1, 2.0)
    assert day.done_by == "Kim"
    assert set_findings(folder, weight_kg=None).findings.weight_kg is None
    text = (folder / "day.toml").read_text(encoding="utf-8")
    assert "# the big one" in text
    assert text.startswith("# ours")
    assert text.count("[findings]") == 1


def test_a_wrong_value_leaves_the_file_as_it_was(folder):
    set_findings(folder, surface="good")
    before = (folder / "day.toml").read_bytes()
    with pytest.raises(WetlineError, match="did you mean good"):
        set_findings(folder, surface="goood")
    with pytest.raises(WetlineError, match="did you mean weight_kg"):
        set_findings(folder, weigth_kg=1)
    with pytest.raises(WetlineError, match="off the panel"):
        add_mark(folder, "pit", 900, 10)
    assert (folder / "day.toml").read_bytes() == before


def test_marks_are_appended_in_order(folder):
    add_mark(folder, "pit", 210, 45, "first")
    add_mark(folder, "Dry area", 30.04, 20)
    assert [(m.kind, m.x_mm, m.note) for m in read_day(folder).marks] == [
        ("pit", 210.0, "first"),
        ("dry area", 30.0, ""),
    ]


def test_a_mark_as_it_is_typed():
    assert parse_mark("print-through 12, 8 over the seam") == (
        "print-through",
        12.0,
        8.0,
        "over the seam",
    )
    for text in ("pit", "pit 210", "210 45", "pit x y"):
        with pytest.raises(WetlineError, match="such as"):
            parse_mark(text)
    with pytest.raises(WetlineError, match="must be one of pit"):
        parse_mark("hole 1 2")


def test_a_missing_folder_is_named(tmp_path):
    with pytest.raises(WetlineError, match="no such folder"):
        add_mark(tmp_path / "none", "pit", 1, 2)
