import json

from analysis.forecast.panel_json import answer_json
from tests.made_up.answers import make_answer
from tests.made_up.curves import make_front


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
