"""Runs of a part held against good ones, from folders to answer, page and exit code."""

import json
import shutil

import numpy as np
import pytest
from click.testing import CliRunner

from analysis.record.day.filing import set_findings
from analysis.runs.part_repeat.figures import places_figure
from analysis.runs.part_repeat.job import judge_part_folders
from analysis.runs.part_repeat.part_runs import other_plan
from analysis.runs.part_repeat.store import write_parts_repeat
from tests.made_up.part_beside import LINE, PART, ZONE, planned
from tests.made_up.part_season import part_run
from vision.errors import WetlineError
from wetline import main


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """Five good runs, of which the plan has learnt from three, and odd ones."""
    shop, rng = tmp_path_factory.mktemp("shop"), np.random.default_rng(1)
    for k in range(5):
        factor = float(np.exp(rng.normal(0, 0.05)))
        part_run(shop / f"day_{k + 1}", seed=k, factor=factor, learn=k < 3)
    part_run(shop / "like", seed=11, factor=1.03)
    part_run(shop / "cold", seed=12, factor=1.7)
    part_run(shop / "rib", seed=13, rib=0.4, learn=True)
    part_run(shop / "race", seed=14, patch=lambda x, y: 0.7 if y > 230 and x > 150 else 1.0)
    part_run(shop / "half", seed=15, last_s=900.0)
    return shop


@pytest.fixture(scope="module")
def good(shop):
    return [shop / f"day_{k}" for k in range(1, 6)]


def test_good_runs_alone_have_a_band_charts_and_resin(good):
    found = judge_part_folders(good)
    assert found.exit_code == 0
    assert found.band.unit == "% wet"
    assert found.band.distance_mm[-1] == pytest.approx(98.0, abs=0.5)
    names = [chart.name for chart in found.charts]
    assert names == ["Time to 98 % wet", "Full after", "K of the stack", "K of rib"]
    assert found.charts[0].centre is not None
    assert "known for 3 of the good runs" in found.charts[1].reason
    # 600 x 300 x 3 mm at a porosity of 0.5 hold 0.27 l; half of it is in when half is wet.
    percent, kg = found.resin
    assert kg[50] == pytest.approx(kg[-1] / 2, rel=0.05)
    assert found.far_words(50.0) == f"50 % wet, {kg[50]:.2f} kg in"
    assert percent[50] == 50.0


def test_a_like_run_is_in_and_half_a_run_as_far_as_it_went(good, shop):
    like = judge_part_folders(good, shop / "like")
    assert (like.judgement.word, like.places.odd, like.exit_code) == ("in", (), 0)
    half = judge_part_folders(good, shop / "half")
    assert half.exit_code == 0
    assert half.judgement.judged_mm < 65
    assert half.places.share < like.places.share


def test_cold_resin_is_slow_from_the_start_with_no_odd_place(good, shop):
    found = judge_part_folders(good, shop / "cold")
    assert (found.judgement.word, found.judgement.side) == ("out", "slow")
    assert found.judgement.end_ratio == pytest.approx(1.7, rel=0.1)
    assert found.places.odd == ()
    assert found.exit_code == 3


def test_a_dense_zone_makes_what_lies_behind_it_late_and_its_k_is_outside(good, shop):
    found = judge_part_folders(good, shop / "rib")
    assert found.exit_code == 3
    assert all(one.late_s > 0 for one in found.places.odd)
    assert "right" in found.places.odd[0].where
    assert "in zone rib" in found.places.odd[0].begins
    assert "it begins " in " ".join(found.own_words)
    words = {one.name: one.word for one in found.numbers}
    assert (words["K of rib"], words["K of the stack"]) == ("out", "in")
    text = " ".join(" ".join(lines) for _, lines in found.own_sections)
    assert "OUTSIDE" in text


def test_the_command_says_it_by_exit_code_and_writes_page_map_and_json(good, shop):
    runner, names = CliRunner(), [str(folder) for folder in good]
    told = runner.invoke(main, ["repeat", *names, "--judge", str(shop / "race")])
    assert told.exit_code == 3
    assert told.output.startswith("NOT LIKE THE GOOD RUNS: early at the bottom")
    results = shop / "race" / "results"
    assert (results / "places.png").read_bytes().startswith(b"\x89PNG")
    page = (results / "repeat.html").read_text(encoding="utf-8")
    assert "Wet share of the part against time" in page
    assert "kg in" in page
    numbers = json.loads((results / "repeat.json").read_text(encoding="utf-8"))
    assert numbers["places"]["odd"][0]["ratio"] == pytest.approx(0.7, rel=0.1)
    assert len(numbers["band"]["wet_percent"]) == len(numbers["band"]["late_s"])
    assert numbers["judgement"]["judged_wet_percent"] == pytest.approx(98.0, abs=0.5)
    assert not any(key.endswith("_mm") for key in numbers["judgement"])
    assert len(numbers["resin_in_kg"]) == len(numbers["band"]["late_s"])
    quiet = runner.invoke(main, ["repeat", *names, "--judge", str(shop / "race"), "-q"])
    assert quiet.output.count("\n") == 1
    mixed = runner.invoke(main, ["repeat", *names, "--judge", str(shop)])
    assert mixed.exit_code == 1
    assert "parts with parts" in mixed.output


def test_two_good_runs_judge_the_whole_but_no_places(good, shop, tmp_path):
    found = judge_part_folders(good[:2], shop / "rib")
    assert found.places is None
    assert "that takes 3 good runs" in " ".join(found.own_words)
    assert places_figure(found) is None
    (tmp_path / "places.png").write_bytes(b"of an earlier run")
    write_parts_repeat(tmp_path, found)
    assert not (tmp_path / "places.png").exists()


def test_copies_other_parts_and_edited_plans_are_refused(good, shop, tmp_path):
    copy = shutil.copytree(good[0], tmp_path / "copy")
    with pytest.raises(WetlineError, match="copy: holds the same run as"):
        judge_part_folders(good, copy)
    with pytest.raises(WetlineError, match="named twice"):
        judge_part_folders([good[0], good[0]])
    with pytest.raises(WetlineError, match="cannot judge itself"):
        judge_part_folders(good, good[1])
    plan = copy / "part.toml"
    plan.write_text(plan.read_text(encoding="utf-8").replace("= 900", "= 700"), encoding="utf-8")
    with pytest.raises(WetlineError, match="has changed since its run"):
        judge_part_folders(good[1:], copy)


def test_a_run_of_another_plan_cannot_be_told_and_is_no_good_one(good, tmp_path):
    other = part_run(tmp_path / "other", seed=20, more="")
    found = judge_part_folders(good, other)
    assert found.exit_code == 4
    assert "its zones are not those of the first good run" in found.judged.why
    found = judge_part_folders([*good, other])
    assert len(found.good) == 5
    assert found.left_out[0][0] == "other"


def test_a_run_not_measured_or_in_doubt_cannot_be_told_and_is_no_good_one(good, tmp_path):
    why = {"usable": False, "reason": "the part was hidden throughout"}
    blind = part_run(tmp_path / "blind", seed=21, told=why)
    doubt = part_run(tmp_path / "doubt", seed=22, told={"doubts": ("the camera was turned",)})
    done = CliRunner().invoke(main, ["repeat", *map(str, good), "--judge", str(blind)])
    assert done.exit_code == 4
    assert done.output.startswith("CANNOT BE TOLD")
    assert "hidden throughout" in done.output
    found = judge_part_folders([*good, doubt])
    assert found.left_out == (("doubt", "in doubt: the camera was turned"),)
    with pytest.raises(WetlineError, match="no good run can be used: blind: not measured"):
        judge_part_folders([blind])


def test_weighed_resin_is_charted(good, tmp_path):
    days = [shutil.copytree(folder, tmp_path / folder.name) for folder in good]
    for k, folder in enumerate(days):
        set_findings(folder, resin_used_kg=0.30 + 0.01 * k)
    chart = judge_part_folders(days).charts[-1]
    assert (chart.name, chart.unit) == ("Resin weighed", "kg")
    assert chart.centre == pytest.approx(0.32)


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        (LINE, "line_mm = [[0, 0], [0, 200]]", "feeds do not lie"),
        ("[[600, 0], [600, 300]]", "[[600, 100], [600, 300]]", "vents do not lie"),
        (LINE, LINE + "\nresistance_mm = 5", ""),
        ("porosity = 0.5", "porosity = 0.45", "porosity, thickness"),
        ("k1_m2 = 1e-10", "k1_m2 = 1.3e-10", ""),
        ("thickness_mm = 3", "thickness_mm = 3.5", "porosity, thickness"),
        ("[[200, 0], [350, 0]", "[[220, 0], [350, 0]", "zones are not"),
        ("[resin]", "[[gap]]\nline_mm = [[0, 300], [600, 300]]\nwidth_mm = 2\n[resin]", "gaps are"),
    ],
)
def test_what_makes_another_plan(tmp_path, old, new, why):
    from analysis.part.plan.part_toml import read_part

    first = planned(tmp_path, ZONE)[0].plan
    text = PART.format(more=ZONE, feed=LINE, k1=1e-10, k2=1e-10, low=5e-11, high=2e-10)
    assert old in text
    (tmp_path / "part.toml").write_text(text.replace(old, new), encoding="utf-8")
    told = other_plan(first, read_part(tmp_path).plan)
    assert (why in told) if why else told == ""
