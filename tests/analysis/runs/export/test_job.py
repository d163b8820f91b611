"""Data of whole panel folders, from the command."""

import csv
import json
import shutil

import numpy as np
import pytest
from click.testing import CliRunner

import wetline
from tests.made_up.run_folders import write_run

ROOT = __import__("pathlib").Path(__file__).resolve().parents[4]


def read(path):
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def photographed(tmp_path_factory):
    """The sample panel, tracked."""
    folder = tmp_path_factory.mktemp("data") / "glass_edge"
    shutil.copytree(ROOT / "sample_frames" / "glass_edge", folder)
    wetline.track(folder, write=True)
    return folder


def test_one_panel_goes_into_its_results(photographed):
    told = CliRunner().invoke(wetline.main, ["data", str(photographed)])
    assert told.exit_code == 0, told.output
    place = photographed / "results" / "data"
    assert {path.name for path in place.iterdir()} == {
        "observations.csv",
        "panels.csv",
        "places.csv",
        "readings.csv",
        "panels.json",
        "arrival_s.npy",
        "arrival_s.tif",
        "arrival_seen.tif",
        "arrival_read_me.txt",
    }
    run = wetline.load(photographed)
    np.testing.assert_allclose(np.load(place / "arrival_s.npy"), run.arrival.time_s, rtol=1e-6)
    rows = read(place / "observations.csv")
    assert [row["frame"] for row in rows] == list(run.curve.frames)
    whole = json.loads((place / "panels.json").read_text(encoding="utf-8"))["glass_edge"]
    (row,) = read(place / "panels.csv")
    assert float(row["permeability.k_m2"]) == pytest.approx(whole["permeability"]["k_m2"])
    assert len(whole["observations"]) == len(rows)
    assert "panel" not in whole["observations"][0]


def test_several_panels_share_the_tables(photographed, tmp_path):
    pen = write_run(tmp_path / "pen")
    to = tmp_path / "out"
    (to / "pen").mkdir(parents=True)
    (to / "pen" / "arrival_s.npy").write_bytes(b"of an earlier run")
    told = CliRunner().invoke(
        wetline.main, ["data", str(photographed), str(pen), "--to", str(to), "-q"]
    )
    assert told.exit_code == 0, told.output
    assert told.output == ""
    assert {row["panel"] for row in read(to / "observations.csv")} == {"glass_edge", "pen"}
    assert [row["panel"] for row in read(to / "panels.csv")] == ["glass_edge", "pen"]
    assert (to / "glass_edge" / "arrival_s.tif").is_file()
    assert list((to / "pen").iterdir()) == []


def test_two_folders_of_one_name_are_refused(photographed, tmp_path):
    other = tmp_path / "glass_edge"
    other.mkdir()
    told = CliRunner().invoke(wetline.main, ["data", str(photographed), str(other)])
    assert told.exit_code == 1
    assert "two folders bear this name" in told.output
