import json

from analysis.forecast.panel_json import answer_json
from analysis.panel.records import Resin
from tests.made_up.answers import make_answer
from tests.made_up.curves import make_front, make_panel


def test_results_are_plain_json_with_the_agreed_keys():
    found = json.loads(json.dumps(answer_json(make_answer())))
    for section, keys in {
        "front": "frames frames_used resin_start length_reached_mm filled stalled_at_mm "
        "race_tracking_mm dry_spots warnings",
        "scale": "method mm_per_px error_mm",
        "permeability": "model k_m2 k_low_m2 k_high_m2 k1_m2 k2_m2 angle_deg",
        "fill": "flow_length_mm time_s time_low_s time_high_s longest_run_mm",
        "gel": "gel_time_s working_time_s margin",
        "verdict": "verdict reason",
    }.items():
        assert set(keys.split()) <= set(found[section])


def test_no_fit_leaves_nulls_and_its_reason():
    found = answer_json(make_answer(front=make_front(usable=False, reason="no front seen")))
    assert found["permeability"]["k_m2"] is None
    assert found["permeability"]["reason"] == "no front seen"
    assert found["fill"]["time_s"] is None
    assert found["verdict"] == {
        "verdict": "cannot decide",
        "reason": "no front seen",
        "may_gel_first": False,
    }


def test_a_gel_time_without_a_margin_still_has_every_key():
    known = answer_json(make_answer())["gel"]
    found = answer_json(make_answer(panel=make_panel(resin=Resin(gel_time_s=3600.0), part=None)))
    assert set(found["gel"]) == set(known)
    assert found["gel"]["gel_time_s"] == 3600.0
