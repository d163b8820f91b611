"""The summary: whole text, CSV and JSON of a made-up batch."""

import csv
import io
import json
from pathlib import Path

from analysis.batch.batch import Batch
from analysis.batch.one_panel import (
    DONE,
    FAILED,
    NO_TOML,
    PLAN_ONLY,
    UP_TO_DATE,
    WATCHED,
    Outcome,
)
from analysis.batch.summary import (
    COLUMNS,
    row_of,
    summary_csv,
    summary_json,
    summary_lines,
    words_of,
)

ANSWER = {
    "front": {"frames": 45, "frames_used": 39, "length_reached_mm": 417.7},
    "permeability": {"k_m2": 9.499e-11, "k_low_m2": 8.485e-11, "k_high_m2": 1.0639e-10},
    "fill": {
        "flow_length_mm": 650.0, "time_s": 2434.4, "time_low_s": 2080.0, "time_high_s": 2848.3,
        "never": False,
    },
    "gel": {"margin": 1.725, "margin_low": 1.342, "margin_high": 2.218},
    "verdict": {"verdict": "tight", "reason": "little time to spare", "may_gel_first": True},
    "warnings": ["one", "two"],
}  # fmt: skip
NEVER = {"fill": {"time_s": None, "never": True}, "verdict": {"verdict": "gels first"}}
BATCH = Batch(
    Path("season"),
    (
        Outcome("a", DONE, "new", 4.04, ANSWER),
        Outcome("b", UP_TO_DATE, answer=NEVER),
        Outcome("c", FAILED, "no frames: put the photos in c/frames"),
        Outcome("d", WATCHED, "`wetline watch` is following it"),
        Outcome("=cmd", NO_TOML, "5 photos but no panel.toml"),
        Outcome("lid", PLAN_ONLY, "a plan without [frames]"),
    ),
    {},
    False,
    5.0,
)


def test_the_screen_reads_as_a_whole():
    assert summary_lines(BATCH, {"Table": "season/results/batch.csv"}) == [
        "Panel  Verdict                K, m2 (95 %)                     "
        "Part fills in, min (95 %)  Look at  State",
        "a      MAY GEL FIRST (tight)  9.50e-11 (8.48e-11 to 1.07e-10)  "
        "41 (34 to 48)              2        done",
        "b      gels first             not known                        never",
        "",
        "Failed:",
        "  c: no frames: put the photos in c/frames",
        "",
        "Left alone:",
        "  d: `wetline watch` is following it",
        "",
        "Not set up yet:",
        "  =cmd: 5 photos but no panel.toml",
        "",
        "Passed over:",
        "  lid: a plan without [frames]",
        "",
        "6 found: 1 done, 1 up to date, 1 failed, 1 being watched, 1 no panel.toml, 1 plan only",
        "Table: season/results/batch.csv",
    ]


def test_bounds_are_rounded_away_from_what_they_bound():
    words = words_of(BATCH.outcomes[0])
    assert words.permeability == "9.50e-11 (8.48e-11 to 1.07e-10)"
    assert words.margin == "1.73 (1.34 to 2.22)"
    assert words.note == "little time to spare"


def test_csv_has_a_row_for_each_and_no_formula():
    rows = list(csv.DictReader(io.StringIO(summary_csv(BATCH))))
    assert tuple(rows[0]) == COLUMNS
    assert float(rows[0]["k_m2"]) == 9.499e-11
    assert rows[0]["may_gel_first"] == "yes"
    assert rows[1]["never_fills"] == "yes"
    assert rows[2]["verdict"] == ""
    assert [row["panel"] for row in rows] == ["a", "b", "c", "d", "'=cmd", "lid"]


def test_json_holds_the_same_and_whether_all_is_fine():
    told = json.loads(json.dumps(summary_json(BATCH), allow_nan=False))
    assert told["all_fine"] is False
    assert told["panels"][0]["fill_time_high_s"] == 2848.3
    assert told["panels"][1]["fill_time_s"] is None


def test_what_lacks_its_panel_toml_is_no_failure():
    batch = Batch(Path(), (BATCH.outcomes[0], BATCH.outcomes[4]), {}, False, 1.0)
    assert batch.all_fine
    assert not Batch(Path(), (), {}, True, 1.0).all_fine


PART = {
    "answer": "uneven", "reason": "one place is unlike the plan", "planned": {"verdict": "fills"},
    "seen": {
        "frames": 36, "frames_used": 30, "warnings": ["one"], "doubts": [], "wetted_fraction": 0.6,
    },
    "beside": {"places": [{}]},
    "learnt": {
        "values": [{"told": True, "value": 3e-10, "low": 2.9e-10, "high": 3.2e-10}],
        "fill_time_s": 3000.0, "fill_time_low_s": 2500.0, "fill_time_high_s": 6000.0,
        "working_time_s": 3600.0, "gel_time_s": 5400.0,
    },
}  # fmt: skip


def test_a_part_has_a_row_of_its_own():
    row = row_of(Outcome("p", DONE, "new", 9.0, PART))
    assert (row["kind"], row["verdict"], row["wetted_fraction"]) == ("part", "uneven", 0.6)
    assert (row["frames_used"], row["warnings"], row["places_unlike_plan"]) == (30, 1, 1)
    assert row["k_m2"] == 3e-10
    # Working time over fill time; the high end of one is the low end of the other.
    assert (row["margin"], row["margin_low"], row["margin_high"]) == (1.2, 0.6, 1.44)
    words = words_of(Outcome("p", DONE, "new", 9.0, PART))
    assert words.verdict == "MAY GEL FIRST (uneven)"
    assert words.fill == "50 (41 to 100)"


def test_a_part_in_doubt_or_full_or_not_measured_says_no_more_than_it_knows():
    doubt = PART | {"seen": PART["seen"] | {"doubts": ["the camera moved"]}}
    row = row_of(Outcome("p", DONE, answer=doubt))
    assert (row["k_m2"], row["fill_time_s"], row["may_gel_first"]) == (None, None, None)
    full = PART | {"seen": PART["seen"] | {"wetted_fraction": 0.999}}
    assert row_of(Outcome("p", DONE, answer=full))["may_gel_first"] is False
    blind = PART | {"beside": None, "learnt": None}
    row = row_of(Outcome("p", DONE, answer=blind))
    assert (row["places_unlike_plan"], row["fill_time_s"]) == (None, None)
    never = PART | {"learnt": PART["learnt"] | {"fill_time_s": None, "fill_time_high_s": None}}
    row = row_of(Outcome("p", DONE, answer=never))
    assert (row["never_fills"], row["may_gel_first"]) == (True, True)
