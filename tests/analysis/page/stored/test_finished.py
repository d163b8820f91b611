"""What the page says of a finished panel, from good and from damaged results."""

import pytest

from analysis.page.stored.finished import finished_rows

RESULTS = {
    "verdict": {"verdict": "tight", "reason": "650 mm fills in 41 min", "may_gel_first": False},
    "fill": {
        "flow_length_mm": 650.0,
        "time_s": 2434.4,
        "time_low_s": 2080.1,
        "time_high_s": 2848.3,
    },
    "gel": {"gel_time_s": 6000.0, "working_time_s": 4200.0},
    "front": {"length_reached_mm": 417.7, "warnings": ["the left edge ran ahead"]},
}


def text_of(results):
    return {row["label"]: (row["text"], row["more"]) for row in finished_rows(results)}


def test_verdict_and_numbers_come_first():
    rows = text_of(RESULTS)
    assert next(iter(rows)) == "Verdict"
    assert rows["Verdict"] == ("TIGHT", ["650 mm fills in 41 min"])
    assert rows["Front"] == ("reached 418 mm", [])
    assert rows["Warning"] == ("the left edge ran ahead", [])
    assert rows["Gel"][0] == "100 min, working time 70 min"


def test_interval_is_rounded_outwards():
    """2080.1 s are 34.67 min and 2848.3 s are 47.47 min."""
    assert text_of(RESULTS)["Fill time"][0] == "650 mm in 41 min (95 %: 34 to 48)"


def test_what_may_gel_first_says_so():
    verdict = {"verdict": "cannot decide", "reason": "wide", "may_gel_first": True}
    assert text_of({"verdict": verdict})["Verdict"][0] == "MAY GEL FIRST: CANNOT DECIDE"


@pytest.mark.parametrize(
    "damaged",
    [
        {},
        {"verdict": None},
        {"verdict": {"verdict": 3}},
        {"verdict": {"verdict": "fills"}, "fill": {"time_s": True, "flow_length_mm": 10**400}},
        {"verdict": {"verdict": "fills"}, "fill": [1], "gel": "x", "front": {"warnings": 3}},
        {"verdict": {"verdict": "fills"}, "fill": {"time_s": -1.0, "flow_length_mm": 1.0}},
    ],
)
def test_damaged_results_show_no_number(damaged):
    assert {row["label"] for row in finished_rows(damaged)} <= {"Verdict"}
