"""What runs on parts measured, as other programs read it."""

import csv
import json
import shutil

import numpy as np
import pytest
from click.testing import CliRunner
from skimage import io

import wetline
from analysis.infusion.answer.run_files import write_run
from analysis.infusion.answer.run_job import learnt_from
from analysis.infusion.kept.kept_run import read_kept
from analysis.record.day.filing import add_mark
from analysis.runs.parts.part_data import export_parts, observations
from tests.made_up.infusion_answers import even_run, late_run
from vision.errors import WetlineError


def read(path):
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def part(tmp_path_factory):
    """A part with a late place and a mark on it."""
    folder = tmp_path_factory.mktemp("parts") / "cover"
    folder.mkdir()
    run = learnt_from(late_run(folder))
    write_run(run, folder / "results", None)
    add_mark(folder, "pit", 450.0, 200.0, "beside the hose")
    return folder, run


def test_one_part_goes_into_its_results(part):
    folder, run = part
    told = CliRunner().invoke(wetline.main, ["data", str(folder)])
    assert told.exit_code == 0, told.output
    place = folder / "results" / "data"
    assert {path.name for path in place.iterdir()} == {
        "observations.csv", "parts.csv", "places.csv", "values.csv", "readings.csv", "parts.json",
        "arrival_s.npy", "arrival_s.tif", "arrival_seen.tif", "arrival_read_me.txt",
    }  # fmt: skip
    rows = read(place / "observations.csv")
    assert [row["frame"] for row in rows] == list(run.seen.frames)
    wet = [float(row["wetted_fraction"]) for row in rows]
    np.testing.assert_allclose(wet, run.seen.wetted_share, atol=1e-5)
    late, mark = read(place / "places.csv")
    assert (late["kind"], mark["kind"]) == ("late", "pit")
    assert float(late["late_s"]) == pytest.approx(300.0, rel=0.2)
    assert float(late["late_low_s"]) < float(late["late_s"]) < float(late["late_high_s"])
    assert mark["note"] == "beside the hose"
    whole = json.loads((place / "parts.json").read_text(encoding="utf-8"))["cover"]
    assert whole["answer"] == "uneven"
    (row,) = read(place / "parts.csv")
    assert float(row["planned.fill_time_s"]) == pytest.approx(whole["planned"]["fill_time_s"])
    assert len(whole["observations"]) == len(rows)


def test_the_arrival_map_comes_back_with_its_place_on_the_plan(part, tmp_path):
    folder, run = part
    export_parts([folder], tmp_path)
    for found in (np.load(tmp_path / "arrival_s.npy"), io.imread(tmp_path / "arrival_s.tif")):
        np.testing.assert_allclose(found, run.seen.time_s.astype(np.float32))
    words = (tmp_path / "arrival_read_me.txt").read_text(encoding="utf-8")
    assert "not a number: outside the part" in words
    line = next(line for line in words.splitlines() if line.startswith("x_mm:"))
    assert float(line.split()[1]) == pytest.approx(run.seen.x_mm[0])
    size = next(line for line in words.splitlines() if line.startswith("mm_per_px:"))
    assert float(size.split()[1]) == pytest.approx(run.seen.x_mm[1] - run.seen.x_mm[0])


def test_the_driving_impulse_is_pressure_over_viscosity_in_time(part):
    rows = observations(read_kept(part[0]))
    assert all(row["driving_impulse"] is None for row in rows if row["time_s"] < 0)
    last = rows[-1]
    # 900 mbar over 300 mPa s, both steady, until the last photo (definition).
    assert last["driving_impulse"] == pytest.approx(90000.0 / 0.3 * last["time_s"], rel=1e-6)
    assert last["pressure_over_viscosity_per_s"] == pytest.approx(90000.0 / 0.3, rel=1e-6)


def test_several_parts_share_the_tables_and_panels_do_not_mix(part, tmp_path):
    other = tmp_path / "other"
    other.mkdir()
    write_run(even_run(other), other / "results", None)
    export_parts([part[0], other], tmp_path / "out")
    assert [row["part"] for row in read(tmp_path / "out" / "parts.csv")] == ["cover", "other"]
    assert (tmp_path / "out" / "other" / "arrival_s.tif").is_file()
    with pytest.raises(WetlineError, match="two folders bear this name"):
        export_parts([part[0], shutil.copytree(part[0], tmp_path / "x" / "cover")], tmp_path)
    mixed = CliRunner().invoke(wetline.main, ["data", str(part[0]), str(tmp_path)])
    assert mixed.exit_code == 1
    plan = other / "part.toml"
    plan.write_text(plan.read_text(encoding="utf-8").replace("= 900", "= 800"), encoding="utf-8")
    with pytest.raises(WetlineError, match="has changed since its run"):
        export_parts([other], tmp_path)
