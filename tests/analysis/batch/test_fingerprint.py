"""Results stand only for what they were made from."""

import json
import shutil

import pytest

from analysis.batch.fingerprint import (
    FILE,
    Fingerprint,
    drop_fingerprint,
    made_by,
    why_again,
    write_fingerprint,
)

MADE = {"wetline": "1", "code": "a"}
NOW = Fingerprint({"panel.toml": "1", "frames/a.jpg": "2"}, MADE)


@pytest.fixture
def panel(tmp_path):
    results = tmp_path / "results"
    results.mkdir()
    for name in ("results.json", "front.csv", "report.html"):
        (results / name).write_text(name)
    write_fingerprint(tmp_path, NOW)
    return tmp_path


def test_what_has_not_changed_stands(panel):
    assert why_again(panel, NOW) == ""


@pytest.mark.parametrize(
    ("inputs", "why"),
    [
        ({"panel.toml": "9", "frames/a.jpg": "2"}, "panel.toml changed"),
        ({"panel.toml": "1"}, "frames/a.jpg gone"),
        (dict(NOW.inputs) | {"fix.csv": "3", "b": "4"}, "2 files new"),
        ({"panel.toml": "9", "fix.csv": "3"}, "fix.csv new, frames/a.jpg gone, panel.toml changed"),
    ],
)
def test_a_change_of_the_inputs_is_named(panel, inputs, why):
    assert why_again(panel, Fingerprint(inputs, MADE)) == why


def test_another_version_makes_all_of_it_again(panel):
    other = Fingerprint(NOW.inputs, MADE | {"code": "b"})
    assert why_again(panel, other) == "Wetline or a library has changed"


def test_results_written_by_another_command_since_do_not_stand(panel):
    (panel / "results" / "results.json").write_text("{}")
    assert "results.json was written" in why_again(panel, NOW)


def test_what_is_missing_is_made(panel):
    assert why_again(panel, NOW, pdf=True) == "report.pdf is missing"
    (panel / "results" / "report.html").unlink()
    assert why_again(panel, NOW) == "report.html is missing"
    shutil.rmtree(panel / "results")
    assert why_again(panel, NOW) == "new"


@pytest.mark.parametrize("text", ["", "[]", "{", '{"inputs": 3}', "[" * 100_000, '{"made_by": []}'])
def test_a_broken_fingerprint_is_no_fingerprint(panel, text):
    (panel / "results" / FILE).write_text(text)
    assert "not known" in why_again(panel, NOW)


def test_a_dropped_fingerprint_is_gone(panel):
    drop_fingerprint(panel)
    drop_fingerprint(panel)
    assert "not known" in why_again(panel, NOW)


def test_versions_name_code_and_libraries():
    made = made_by()
    assert len(made["code"]) == 64
    assert made["numpy"][0].isdigit()
    assert json.dumps(made)


def test_a_part_stands_by_its_own_files(tmp_path):
    results = tmp_path / "results"
    results.mkdir()
    (tmp_path / "part.toml").write_text("")
    assert why_again(tmp_path, NOW) == "new"
    for name in ("part_run.json", "part_front.csv", "arrival.npz", "part_run.html"):
        (results / name).write_text(name)
    write_fingerprint(tmp_path, NOW)
    assert why_again(tmp_path, NOW) == ""
    assert why_again(tmp_path, NOW, pdf=True) == "part_record.pdf is missing"
    (results / "part_front.csv").write_text("by hand")
    assert why_again(tmp_path, NOW) == "part_front.csv was written by something else since"
