"""`wetline run` on a part: the sample, whose doubler and gap are not as planned, and refusals."""

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

import wetline
from vision.drawing.pictures import read_photo

SAMPLE = Path(__file__).resolve().parents[3] / "sample_frames" / "part_run"


def run(*words):
    return CliRunner().invoke(wetline.main, ["run", *map(str, words)])


@pytest.fixture(scope="module")
def part(tmp_path_factory):
    folder = tmp_path_factory.mktemp("shop") / "cover"
    shutil.copytree(SAMPLE, folder, ignore=shutil.ignore_patterns("results", "truth"))
    done = run(folder, "--quiet")
    assert done.exit_code == 0, done.output
    return folder, done.output


def test_the_sample_names_the_doubler_and_the_gap(part):
    folder, text = part
    assert "UNEVEN" in text
    assert "zone doubler is denser than planned" in text
    assert "a planned gap that races more than planned" in text
    content = json.loads((folder / "results" / "part_run.json").read_text(encoding="utf-8"))
    truth = json.loads((SAMPLE / "truth" / "truth.json").read_text(encoding="utf-8"))
    learnt = {one["name"]: one for one in content["learnt"]["values"]}
    k_m2 = truth["true"]["stacks"][1]["k1_m2"]
    assert learnt["doubler"]["low"] < k_m2 < learnt["doubler"]["high"]
    assert content["learnt"]["fill_time_s"] == pytest.approx(truth["true"]["fill_time_s"], rel=0.05)


def test_everything_it_promises_lies_there(part):
    results = part[0] / "results"
    for name in ("part_run.html", "part_late.png", "part_front.csv", "arrival.npz"):
        assert (results / name).stat().st_size > 500
    assert read_photo(results / "part_lines.jpg").shape[:2] == (720, 960)


def test_a_part_without_photos_is_told_what_to_write(tmp_path):
    text = (SAMPLE / "part.toml").read_text(encoding="utf-8")
    (tmp_path / "part.toml").write_text(text.split("[frames]")[0], encoding="utf-8")
    for path in (tmp_path, tmp_path / "part.toml"):
        done = run(path)
        assert done.exit_code == 1
        assert "[frames]: is missing" in done.output
        assert 'source = "frames"' in done.output
    assert not (tmp_path / "results").exists()


def test_options_of_the_other_kind_are_wrong_usage(part, tmp_path):
    assert run(part[0], "--pdf").exit_code == 2
    assert run(tmp_path, "--photos").exit_code == 2
