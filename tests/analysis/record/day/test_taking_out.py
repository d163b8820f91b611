"""A mark on the wrong place and a photo filed by mistake are taken out; nothing else changes."""

from datetime import datetime

import cv2
import numpy as np
import pytest

from analysis.record.day.day_records import TakenOut
from analysis.record.day.day_toml import read_day
from analysis.record.day.filing import add_mark, file_photo, set_findings
from analysis.record.day.taking_out import take_out_mark, take_out_photo
from vision.errors import WetlineError


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "panel.toml").write_text("[panel]\nlength_mm = 300\nwidth_mm = 160\n")
    return tmp_path


def test_a_mark_is_taken_out_and_all_else_stays(folder):
    for k, kind in enumerate(("pit", "bubble", "crease")):
        add_mark(folder, kind, 10.0 * k, 5.0)
    set_findings(folder, surface="fair")
    path = folder / "day.toml"
    path.write_text(path.read_text(encoding="utf-8") + "# my own line\n", encoding="utf-8")
    assert take_out_mark(folder, 2).kind == "bubble"
    day = read_day(folder)
    assert [mark.kind for mark in day.marks] == ["pit", "crease"]
    assert day.findings.surface == "fair"
    assert "# my own line" in path.read_text(encoding="utf-8")
    before = path.read_bytes()
    for number in (0, 3, -1):
        with pytest.raises(WetlineError, match="there are 2 marks"):
            take_out_mark(folder, number)
    assert path.read_bytes() == before


def test_a_mark_between_odd_lines_is_left_to_the_hand(folder):
    text = (
        '[findings]\nnote = """\n[[mark]]\nkind = 1"""\n'
        '[[mark]]\nkind = "pit"\nx_mm = 1\ny_mm = 2\n'
    )
    (folder / "day.toml").write_text(text, encoding="utf-8")
    assert len(read_day(folder).marks) == 1
    with pytest.raises(WetlineError, match="by hand"):
        take_out_mark(folder, 1)
    assert (folder / "day.toml").read_text(encoding="utf-8") == text


# -- photos

NOON = datetime(2031, 5, 20, 12, 0, 7)


def picture(folder, name, grey=90):
    ok, data = cv2.imencode(".jpg", np.full((40, 60, 3), grey, np.uint8))
    assert ok
    (folder / name).write_bytes(data.tobytes())
    return folder / name


def test_a_photo_is_taken_out_kept_and_noted_and_all_else_stays(folder):
    for k, stage in enumerate(("face", "bag", "bag")):
        file_photo(folder, picture(folder, f"IMG_{k}.jpg", 90 + k), stage, at="14:05")
    set_findings(folder, surface="fair")
    path = folder / "day.toml"
    path.write_text(path.read_text(encoding="utf-8") + "# my own line\n", encoding="utf-8")
    data = (folder / "stages" / "bag.jpg").read_bytes()
    out = take_out_photo(folder, "stages/bag.jpg", "bag", NOON)
    assert out == TakenOut("stages/bag.jpg", "bag", "taken_out/bag.jpg", "2031-05-20T12:00:07")
    assert (folder / out.kept).read_bytes() == data
    assert not (folder / out.file).exists()
    day = read_day(folder)
    assert [photo.file for photo in day.photos] == ["stages/bag-2.jpg", "stages/demoulded_face.jpg"]
    assert day.taken_out == (out,)
    assert day.findings.surface == "fair"
    take_out_photo(folder, "stages/bag-2.jpg", "bag", NOON)
    file_photo(folder, picture(folder, "again.jpg", 99), "bag")
    second = take_out_photo(folder, "stages/bag.jpg", "bag", NOON)
    assert second.kept == "taken_out/bag-3.jpg"  # bag.jpg and bag-2.jpg are kept there already
    assert len(list((folder / "taken_out").iterdir())) == 3
    assert "# my own line" in path.read_text(encoding="utf-8")


def test_a_photo_of_the_run_or_named_twice_stays_where_it_is(folder):
    (folder / "frames").mkdir()
    (folder / "stages").mkdir()
    picture(folder, "frames/photo_1.jpg")
    picture(folder, "stages/bag.jpg")
    rows = (("frames/photo_1.jpg", "bag"), ("stages/bag.jpg", "bag"), ("stages/bag.jpg", "other"))
    text = "".join(f'[[photo]]\nfile = "{file}"\nstage = "{stage}"\n\n' for file, stage in rows)
    (folder / "day.toml").write_text(text, encoding="utf-8")
    for file, stage in rows[:2]:
        assert take_out_photo(folder, file, stage, NOON).kept == file
        assert (folder / file).is_file()
    assert [photo.stage for photo in read_day(folder).photos] == ["other"]
    assert not (folder / "taken_out").exists()


def test_a_photo_that_is_gone_can_be_taken_out(folder):
    filed = file_photo(folder, picture(folder, "a.jpg"), "bag")
    (folder / filed.file).unlink()
    take_out_photo(folder, filed.file, "bag", NOON)
    assert read_day(folder).photos == ()


def test_a_photo_between_odd_lines_is_left_to_the_hand(folder):
    file_photo(folder, picture(folder, "a.jpg"), "bag")
    path = folder / "day.toml"
    text = '[findings]\nnote = """\n[[photo]]\nstage = 1"""\n' + path.read_text(encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    with pytest.raises(WetlineError, match="by hand"):
        take_out_photo(folder, "stages/bag.jpg", "bag", NOON)
    assert path.read_text(encoding="utf-8") == text
    assert (folder / "stages" / "bag.jpg").is_file()
    assert list((folder / "taken_out").iterdir()) == []
