"""A part that fills beside good runs of it: wet share and places, in words and alarms."""

import shutil
from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.outlook.numbers import planned_forecast, read_part_numbers
from analysis.part.plan.part_toml import read_part
from analysis.watch.alarms import LOOK
from analysis.watch.part.board import PartBoard, part_board_lines
from analysis.watch.part.good_runs import (
    FEW,
    beside_good,
    check_good_runs,
    good_alarms,
    read_good_runs,
    runs_of_plan,
)
from tests.made_up.infusion_answers import above
from tests.made_up.part_beside import ZONE, filled, planned
from tests.made_up.part_season import part_run
from vision.errors import WetlineError


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """Three good runs and the part of today."""
    shop, rng = tmp_path_factory.mktemp("shop"), np.random.default_rng(1)
    for k in range(3):
        part_run(shop / f"day_{k + 1}", seed=k, factor=float(np.exp(rng.normal(0, 0.05))))
    (shop / "today").mkdir()
    planned(shop / "today", ZONE)
    return shop


@pytest.fixture(scope="module")
def good(shop):
    folders = [shop / f"day_{k}" for k in (1, 2, 3)]
    return read_good_runs(folders, read_part(shop / "today").plan)


def look(shop, last_s, factor=1.0, slow=None):
    """What is seen of today's part, and its numbers; `slow` is a factor on times at x, y in mm."""
    job, answer = planned(shop / "today", ZONE)
    what, _ = filled(job, answer, factor=factor)
    x, y = np.meshgrid(what.x_mm, what.y_mm)
    time_s = what.time_s if slow is None else what.time_s * slow(x, y)
    time_s = np.where(time_s > last_s, np.inf, time_s)
    seen = above(replace(what, time_s=time_s, last_s=last_s))
    return seen, read_part_numbers(job, seen, planned_forecast(job))


def test_a_run_like_the_good_ones_is_inside_with_no_odd_place(shop, good):
    for last_s in (300.0, 900.0, 1500.0):
        found = beside_good(good, *look(shop, last_s))
        assert found.inside
        assert found.low_percent < 100 * look(shop, last_s)[1].wetted_share < found.high_percent
        assert found.odd == ()
    assert "no place is outside their band" in found.places_text
    assert "3 good runs, inside their band" in found.text


def test_a_slow_run_is_outside_and_says_by_how_much(shop, good):
    found = beside_good(good, *look(shop, 900.0, factor=1.9))
    assert not found.inside
    assert found.ahead_percent < 0
    assert "behind 3 good runs, OUTSIDE their band" in found.text
    assert found.odd == ()  # all of it is slow: that is its pace, and no place


def test_past_the_end_of_the_good_runs_only_a_late_one_is_outside(shop, good):
    end_s = float(good.band.late_s[-1])
    late = beside_good(good, *look(shop, 1.02 * end_s, factor=2.2))
    assert not late.inside
    assert late.text.startswith("by now 3 good runs had 98 % wet or more; this run is OUTSIDE")
    near = beside_good(good, *look(shop, 1.01 * float(good.band.middle_s[-1]), factor=1.04))
    assert near.ahead_percent is None
    assert near.inside


def test_a_place_that_is_late_is_told_once_two_looks_have_it(shop, good):
    def slow(x, y):
        return np.where((x > 330) & (x < 480) & (y < 140), 1.5, 1.0)

    looks = [beside_good(good, *look(shop, last_s, slow=slow)) for last_s in (1500.0, 1600.0)]
    assert all(one.odd for one in looks)
    assert looks[1].places_text.startswith("late ")
    assert good_alarms(looks[1], None) == []
    (alarm,) = good_alarms(looks[1], looks[0])
    assert (alarm.key, alarm.level) == ("odd late", LOOK)
    assert alarm.text.startswith("A place is late against the good runs: ")
    assert "What usually does that: a layer too many" in alarm.todo
    lines = part_board_lines(
        PartBoard("cover", part=look(shop, 1600.0)[1], beside=looks[1]), 1600.0
    )
    assert any(line.startswith("Good runs:  ") and "; late " in line for line in lines)


def test_two_good_runs_have_the_usual_band_and_no_places(shop):
    plan = read_part(shop / "today").plan
    few = read_good_runs([shop / "day_1", shop / "day_2"], plan)
    assert few.places is None
    assert beside_good(few, *look(shop, 900.0)).places_text == FEW


def test_a_full_part_is_not_compared_and_no_folder_is_no_good_run(shop, good):
    seen, numbers = look(shop, 1e5)
    assert numbers.left.filled
    assert beside_good(good, seen, numbers) is None
    assert read_good_runs((), read_part(shop / "today").plan) is None


def test_a_run_that_is_no_good_one_is_refused_in_a_line(shop, tmp_path):
    plan = read_part(shop / "today").plan
    part_run(tmp_path / "doubtful", seed=4, told={"doubts": ("a shadow moved",)})
    with pytest.raises(WetlineError, match=r"--like: .*in doubt: a shadow moved"):
        read_good_runs([tmp_path / "doubtful"], plan)
    part_run(tmp_path / "other", seed=5, more="")
    with pytest.raises(WetlineError, match="zones are not those of this part: leave it out"):
        read_good_runs([tmp_path / "other"], plan)
    wide = replace(plan, outline_mm=plan.outline_mm * 1.1)
    with pytest.raises(WetlineError, match="outline or holes are not those of this part"):
        read_good_runs([shop / "day_1"], wide)
    with pytest.raises(WetlineError, match="no run of this part"):
        read_good_runs([shop / "today"], plan)


def test_of_good_runs_of_several_plans_a_part_has_its_own(shop, tmp_path):
    day_1, other = shop / "day_1", part_run(tmp_path / "other", seed=5, more="")
    stale = shutil.copytree(day_1, tmp_path / "stale")
    check_good_runs([day_1, other])
    text = (stale / "part.toml").read_text(encoding="utf-8")
    (stale / "part.toml").write_text(text.replace("= 300\n", "= 310\n", 1), encoding="utf-8")
    own, left_out = runs_of_plan([day_1, other, stale, shop / "today"], shop / "today")
    assert [run.facts.folder for run in own] == [day_1]
    plan = read_part(shop / "today").plan
    again, read = read_good_runs([day_1], plan), read_good_runs(own, plan)  # not from disk again
    assert np.array_equal(again.band.middle_s, read.band.middle_s, equal_nan=True)
    assert again.count == read.count == 1
    assert left_out[0] == "other: its zones are not those of this part"
    assert left_out[1].startswith("stale: ")
    assert "changed" in left_out[1]
    assert left_out[2] == "today: it is the run that is watched"


def test_one_good_run_twice_or_a_doubtful_one_is_refused_before_any_part_is_watched(shop, tmp_path):
    copy = shutil.copytree(shop / "day_1", tmp_path / "copy")
    with pytest.raises(WetlineError, match=r"holds the same run as .*leave one out"):
        check_good_runs([shop / "day_1", shop / "day_2", copy])
    part_run(tmp_path / "doubtful", seed=4, told={"doubts": ("a shadow moved",)})
    with pytest.raises(WetlineError, match=r"--like: .*in doubt: a shadow moved"):
        check_good_runs([tmp_path / "doubtful"])
