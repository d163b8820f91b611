import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from vision.common.atomic_files import add_file, read_json, replace_file, write_json, write_text
from vision.errors import WetlineError, bad_field
from vision.frames.prefetch import Ahead


def test_a_failed_write_leaves_the_last_file_and_no_other(tmp_path):
    path = tmp_path / "results.json"
    write_text(path, "good")

    def fail(part):
        part.write_text("half")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        replace_file(path, fail)
    assert path.read_text() == "good"
    assert [item.name for item in tmp_path.iterdir()] == ["results.json"]


def test_a_full_disk_is_told_in_one_line(tmp_path):
    def fail(part):
        raise OSError(28, "No space left on device")

    with pytest.raises(WetlineError, match="No space left on device"):
        replace_file(tmp_path / "a.csv", fail)
    assert not list(tmp_path.iterdir())


def test_json_holds_no_nan(tmp_path):
    write_json(tmp_path / "a.json", {"a": np.nan, "b": np.arange(2), "c": (1.5, None)})
    assert json.loads((tmp_path / "a.json").read_text()) == {
        "a": None,
        "b": [0, 1],
        "c": [1.5, None],
    }


def test_missing_and_broken_json_say_what_to_do(tmp_path):
    with pytest.raises(WetlineError, match="run `wetline run"):
        read_json(tmp_path / "results.json")
    (tmp_path / "results.json").write_text("{")
    with pytest.raises(WetlineError, match="delete it and run again"):
        read_json(tmp_path / "results.json")


def test_a_long_value_is_shortened_in_the_message():
    assert len(str(bad_field("a/panel.toml", "x", "y" * 500, "must be short"))) < 120


def test_work_done_ahead_hands_on_the_error_where_it_happened_and_can_be_left():
    stream = iter(Ahead(lambda n: 6 // n, [3, 2, 0, 1]))
    assert [next(stream), next(stream)] == [2, 3]
    with pytest.raises(ZeroDivisionError):
        next(stream)
    source = Ahead(lambda n: n, range(10**6))
    stream = iter(source)
    assert next(stream) == 0
    stream.close()
    assert source.at(7) == 7


def test_files_added_under_one_name_all_stay(tmp_path):
    places = [add_file(tmp_path / "notes", "10-00-00", ".jpg", bytes([n])) for n in range(3)]
    assert [p.name for p in places] == ["10-00-00.jpg", "10-00-00-2.jpg", "10-00-00-3.jpg"]
    assert [p.read_bytes() for p in places] == [b"\0", b"\1", b"\2"]


def test_files_added_at_once_from_many_threads_all_stay(tmp_path):
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda n: add_file(tmp_path, "x", ".jpg", bytes([n])), range(40)))
    assert sorted(p.read_bytes()[0] for p in tmp_path.iterdir()) == list(range(40))


def test_a_file_that_cannot_be_added_leaves_nothing(tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(WetlineError, match="cannot be written"):
        add_file(tmp_path, "x", ".jpg", b"1")
    assert list(tmp_path.iterdir()) == []
