"""The numbers of a run, ready for JSON."""

import json

import pytest

from analysis.infusion.answer.run_json import run_json
from tests.made_up.infusion_answers import late_run, unusable_run


def test_the_numbers_are_plain_and_in_si(tmp_path):
    content = run_json(late_run(tmp_path))
    json.dumps(content, allow_nan=False)
    (place,) = content["beside"]["places"]
    assert place["late_s"] == pytest.approx(300.0, abs=10.0)
    assert place["late_low_s"] < place["late_s"] < place["late_high_s"]
    assert set(place["causes"][0]) == {"usually", "because", "look_at"}
    assert content["resin"]["resin_in_low_kg"] < content["resin"]["resin_in_kg"]
    assert content["beside"]["pace_factor"] == pytest.approx(1.0, abs=0.01)
    assert content["seen"]["frames"] == 40


def test_nothing_measured_is_null_with_the_reason(tmp_path):
    content = run_json(unusable_run(tmp_path))
    json.dumps(content, allow_nan=False)
    assert content["beside"] is None
    assert content["resin"] is None
    assert content["seen"]["wetted_fraction"] is None
    assert "move what stands before it" in content["seen"]["reason"]
