"""The made-up parts: their truth holds, and the scoring tells right from wrong."""

import json
import tomllib
from dataclasses import replace

import cv2
import numpy as np
import pytest

from analysis.part.flow.filling import fill_plan
from sample_frames._part_make import part_px
from tests.made_up.part_seen import part_seen
from tests.made_up.parts.cases import CASES
from tests.made_up.parts.cut_offs import CUT_OFF, GOOD, flow_case, job_of
from tests.made_up.parts.made_part import made_part, true_filling
from tests.made_up.parts.scored import at_places, score_arrival, score_cut_offs


@pytest.mark.parametrize("name", CUT_OFF)
def test_an_area_is_cut_off_well_before_the_end(name):
    _, filled, closings = flow_case("cut off", name)
    assert len(closings) == 1
    assert 120 < closings[0].time_s < 0.9 * filled.fill_s


@pytest.mark.parametrize("name", GOOD)
def test_in_a_good_run_nothing_is_cut_off(name):
    assert not flow_case("good", name)[2]


def test_a_cut_off_is_told_ahead_and_a_good_run_is_left_alone():
    assert score_cut_offs("cut off", "two lines").lead_min >= 2.0
    assert score_cut_offs("good", "octagon").false_alarms == 0


def test_there_are_twelve_parts_and_more_each_with_a_name_of_its_own():
    assert len(CASES) >= 12
    assert {case.scale for case in CASES.values()} == {"sheet", "outline"}
    assert any(case.look.height_mm for case in CASES.values())


def test_the_later_feed_opens_when_the_front_has_passed_it():
    filled = true_filling("later_shadow")
    y = np.linspace(30.0, 290.0, 20)
    passed = at_places(filled, np.full(20, 300.0), y).max()
    assert filled.opened_s["later line"] == pytest.approx(passed, rel=0.02)


def test_a_folder_holds_plan_photos_and_truth():
    folder = made_part("tapped")
    record = tomllib.loads((folder / "part.toml").read_text(encoding="utf-8"))
    truth = json.loads((folder / "truth" / "truth.json").read_text(encoding="utf-8"))
    assert len(list((folder / "frames").iterdir())) == len(truth["frames"]) == 28
    scale = record["scale"]
    assert scale["method"] == "outline"
    base = np.array(truth["frames"][0]["homography_part_mm_to_px"])
    px = cv2.perspectiveTransform(np.array(scale["points_mm"])[None], base)[0]
    assert np.abs(px - scale["points_px"]).max() < 1.5
    with np.load(folder / "truth.npz") as stored:
        assert stored["time_s"].shape == (len(stored["y_mm"]), len(stored["x_mm"]))
        assert np.nanmax(stored["time_s"]) == pytest.approx(truth["true"]["fill_time_s"], rel=0.001)


def test_a_raised_part_appears_beside_its_place_on_the_table():
    # Seen from a distance d, what stands h above a table moves outwards by h / (d - h).
    recipe = CASES["raised"]
    camera = replace(recipe.look.camera, tilt_deg=0.001, roll_deg=0.0, azimuth_deg=0.0)
    recipe = replace(recipe, look=replace(recipe.look, camera=camera))
    corner = np.array([(0.0, 0.0)])
    flat = camera.recorded_px(corner) - (np.array(camera.size_px) / 2 - 0.5)
    moved = part_px(recipe, corner) - camera.recorded_px(corner)
    share = 30.0 / (camera.distance_mm - 30.0)
    assert moved[0] == pytest.approx(flat[0] * share, abs=0.05)


def test_the_scoring_tells_right_from_wrong():
    world, filled, _ = flow_case("good", "plain")
    links = fill_plan(job_of(world).plan).links
    centre = links.centre_mm[: links.cells]
    true = at_places(filled, centre[:, 0], centre[:, 1])
    right = score_arrival(part_seen(links, true), filled)
    assert right.within_share > 0.98
    assert right.silent_share == 0.0
    late = score_arrival(part_seen(links, true + 0.05 * filled.fill_s), filled)
    assert late.within_share == 0.0
    assert late.silent_share == 1.0
    unsure = part_seen(links, true + 0.05 * filled.fill_s, sd_s=0.05 * filled.fill_s)
    assert score_arrival(unsure, filled).silent_share == 0.0
