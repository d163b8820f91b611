"""What has changed since a record was written."""

import pytest

from analysis.record.day.seal import Change, changes_since, write_seal
from analysis.record.input_files import hash_inputs
from vision.errors import WetlineError


def sealed(folder):
    (folder / "panel.toml").write_text("[panel]\n")
    (folder / "frames").mkdir()
    (folder / "frames" / "a.jpg").write_bytes(b"1")
    (folder / "results").mkdir()
    (folder / "results" / "front.csv").write_text("x\n")
    write_seal(folder, hash_inputs(folder))
    return folder


def test_nothing_changed(tmp_path):
    assert changes_since(sealed(tmp_path)) == []


def test_each_kind_of_change_is_found(tmp_path):
    folder = sealed(tmp_path)
    (folder / "frames" / "a.jpg").write_bytes(b"2")
    (folder / "frames" / "b.jpg").write_bytes(b"3")
    (folder / "results" / "front.csv").unlink()
    assert changes_since(folder) == [
        Change("frames/a.jpg", "changed"),
        Change("frames/b.jpg", "new"),
        Change("results/front.csv", "missing"),
    ]
    (folder / "panel.toml").unlink()
    assert Change("panel.toml", "missing") in changes_since(folder)


def test_without_a_record_there_is_nothing_to_compare(tmp_path):
    with pytest.raises(WetlineError, match="no record is written yet"):
        changes_since(tmp_path)
    folder = sealed(tmp_path)
    (folder / "results" / "record.json").write_text("{}")
    with pytest.raises(WetlineError, match="not what Wetline writes"):
        changes_since(folder)
