"""From folders to the answer, the pages and the exit code."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

import wetline
from analysis.runs.repeat.job import judge_folders
from tests.made_up.run_folders import write_run
from vision.errors import WetlineError


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """Five good runs of one stack, and odd ones."""
    shop, rng = tmp_path_factory.mktemp("shop"), np.random.default_rng(1)
    for i in range(5):
        write_run(shop / f"cover_{i + 1}", 1e-10 * np.exp(rng.normal(0, 0.06)), seed=i, stack="g6")
    write_run(shop / "cold", 1e-10, seed=7, stack="g6", true_viscosity=420)
    write_run(shop / "stated_cold", 1e-10, seed=8, stack="g6", viscosity=420, warm_c=14)
    write_run(shop / "media", 2.5e-10, seed=9, stack="g6 with media")
    return shop


@pytest.fixture(scope="module")
def good(shop):
    return [shop / f"cover_{i}" for i in range(1, 6)]


def test_good_runs_alone_have_a_band_and_charts(good):
    found = judge_folders(good)
    assert found.exit_code == 0
    assert found.judgement is None
    assert [chart.name for chart in found.charts] == ["Permeability K", "Time to 579 mm"]
    assert all(chart.centre is not None for chart in found.charts)


def test_a_cold_resin_that_nobody_stated_is_out(good, shop):
    found = judge_folders(good, shop / "cold")
    assert found.exit_code == 3
    assert (found.judgement.side, found.judgement.manner) == ("slow", "from the start")
    assert found.alike.word == "out"
    # 420 against 200 mPa s.
    assert found.judgement.end_ratio == pytest.approx(2.1, rel=0.06)


def test_a_cold_resin_that_is_stated_explains_itself(good, shop):
    found = judge_folders(good, shop / "stated_cold")
    assert found.judgement.word == "out"
    assert found.alike.word == "in"


def test_bad_folders_are_refused(good, shop):
    with pytest.raises(WetlineError, match="named twice"):
        judge_folders([good[0], good[0]])
    with pytest.raises(WetlineError, match="cannot judge itself"):
        judge_folders(good, good[1])
    with pytest.raises(WetlineError, match=r"panel\.toml"):
        judge_folders([shop / "nowhere"])


def test_command_writes_page_and_says_it_by_exit_code(good, shop):
    runner = CliRunner()
    names = [str(folder) for folder in good]
    told = runner.invoke(wetline.main, ["repeat", *names, "--judge", str(shop / "cold")])
    assert told.exit_code == 3
    assert told.output.startswith("NOT LIKE THE GOOD RUNS: SLOW from the start")
    results = shop / "cold" / "results"
    page = (results / "repeat.html").read_text(encoding="utf-8")
    assert "NOT LIKE THE GOOD RUNS" in page
    assert (results / "band.png").read_bytes().startswith(b"\x89PNG")
    numbers = json.loads((results / "repeat.json").read_text(encoding="utf-8"))
    assert numbers["judgement"]["side"] == "slow"
    assert numbers["judgement"]["left_mm"] > 0
    assert numbers["band"]["rests_on"] == "own spread"
    assert len(numbers["band"]["late_s"]) == len(numbers["band"]["distance_mm"])
    quiet = runner.invoke(wetline.main, ["repeat", *names, "--judge", str(shop / "cold"), "-q"])
    assert quiet.output.count("\n") == 1


def test_json_and_another_place(good, shop, tmp_path):
    told = CliRunner().invoke(
        wetline.main, ["repeat", *map(str, good), "--json", "--to", str(tmp_path / "band")]
    )
    assert told.exit_code == 0
    assert json.loads(told.output)["judgement"] is None
    assert (tmp_path / "band" / "control_charts.png").is_file()


def test_compare_command_writes_four_files(good, shop, tmp_path):
    folders = [str(good[0]), str(good[1]), str(shop / "media")]
    to = tmp_path / "out"
    told = CliRunner().invoke(wetline.main, ["compare", *folders, "--to", str(to)])
    assert told.exit_code == 0, told.output
    assert told.output.startswith("Most margin to gel: B")
    assert {path.name for path in to.iterdir()} == {
        "comparison.html",
        "comparison.png",
        "comparison.csv",
        "comparison.json",
    }
    numbers = json.loads((to / "comparison.json").read_text(encoding="utf-8"))
    assert numbers["best"] == "B"
    assert [setup["panels"] for setup in numbers["setups"]] == [["A1", "A2"], ["B"]]
    told = CliRunner().invoke(
        wetline.main, ["compare", *folders, "--by", "surface", "--json", "--to", str(to)]
    )
    assert json.loads(told.output)["ranking"] == []
    assert CliRunner().invoke(wetline.main, ["compare", folders[0]]).exit_code == 1
    assert CliRunner().invoke(wetline.main, ["compare"]).exit_code == 2
