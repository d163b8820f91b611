"""The summary: whole text, CSV and JSON of a made-up batch."""

import csv
import io
import json
from pathlib import Path

from analysis.batch.batch import Batch
from analysis.batch.one_panel import DONE, FAILED, NO_TOML, UP_TO_DATE, WATCHED, Outcome
from analysis.batch.summary import COLUMNS, summary_csv, summary_json, summary_lines, words_of

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
        "No panel yet:",
        "  =cmd: 5 photos but no panel.toml",
        "",
        "5 found: 1 done, 1 up to date, 1 failed, 1 being watched, 1 no panel.toml",
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
    assert [row["panel"] for row in rows] == ["a", "b", "c", "d", "'=cmd"]


def test_json_holds_the_same_and_whether_all_is_fine():
    told = json.loads(json.dumps(summary_json(BATCH), allow_nan=False))
    assert told["all_fine"] is False
    assert told["panels"][0]["fill_time_high_s"] == 2848.3
    assert told["panels"][1]["fill_time_s"] is None


def test_what_lacks_its_panel_toml_is_no_failure():
    batch = Batch(Path(), (BATCH.outcomes[0], BATCH.outcomes[4]), {}, False, 1.0)
    assert batch.all_fine
    assert not Batch(Path(), (), {}, True, 1.0).all_fine
