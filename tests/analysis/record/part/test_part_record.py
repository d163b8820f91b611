"""The record of a part, from made-up runs."""

import base64
import json
from dataclasses import replace

import cv2
import pytest
from click.testing import CliRunner

from analysis.infusion.answer.run_files import write_run
from analysis.infusion.answer.run_job import learnt_from
from analysis.infusion.answer.run_text import rows
from analysis.infusion.beside.sources import FeedSeen
from analysis.part.plan.part_toml import read_part
from analysis.record.part.part_record import write_part_record
from tests.made_up.infusion_answers import even_run, grey_photo, late_run, unusable_run
from vision.settings.event_log import EVENT, FEED_OPEN, RESIN_OPEN, VENT_SHUT, Stamp, add_stamp
from wetline import main


def text_of(run, folder):
    write_run(run, folder / "results", (39, grey_photo()))
    return write_part_record(folder).page.read_text(encoding="utf-8")


def test_a_run_gives_panel_plan_seen_corrected_and_lines_that_can_be_read_back(tmp_path):
    run = learnt_from(even_run(tmp_path))
    text = text_of(run, tmp_path)
    names = (
        "Set-up", "Panel", "Expected: the plan", "Seen", "Corrected", "After demoulding",
        "Next plan", "Warnings", "Cautions", "Settings (part.toml)",
    )  # fmt: skip
    places = [text.index(f"<h2>{name}</h2>") for name in names]
    assert places == sorted(places)
    assert (tmp_path / "results" / "part_record.pdf").read_bytes().startswith(b"%PDF")
    assert "plan&#x27;s own numbers" in text
    lines = text.split("[stack]: ")[1].split("<pre>")[1].split("</pre>")[0].splitlines()
    told = {line.split(" = ")[0]: line for line in lines}
    plan = tmp_path / "part.toml"
    kept = [told.pop(line.split(" = ")[0], line) for line in plan.read_text().splitlines()]
    plan.write_text("\n".join(kept))
    assert not told
    new, learnt = read_part(tmp_path).plan.stack, run.learnt.values[0]
    assert new.k1_m2 == pytest.approx(learnt.value, rel=1e-3)
    assert new.low * new.k1_m2 == pytest.approx(learnt.low, rel=1e-3)


def test_what_was_not_measured_or_not_explained_hands_nothing_on(tmp_path):
    text = text_of(unusable_run(tmp_path), tmp_path)
    assert "the part was hidden throughout" in text
    assert "No lines are given" in text
    assert text.count("<pre>") == 1  # the settings
    text = text_of(late_run(tmp_path), tmp_path)  # nothing was learnt from it
    assert "No lines are given" in text


def test_a_run_in_doubt_says_so_before_its_places_and_values(tmp_path):
    run = learnt_from(late_run(tmp_path))
    text = text_of(run, tmp_path)
    assert "photos that are in doubt" not in text
    assert "5.0 min late<" in text
    doubtful = replace(run, seen=replace(run.seen, doubts=("the light can be read in two ways",)))
    text = text_of(doubtful, tmp_path)
    assert "5.0 min late?<" in text
    assert text.index("rests on photos that are in doubt") < text.index("5.0 min late?<")
    assert "From photos that are in doubt" in text


def test_no_run_and_a_changed_plan_are_refused(tmp_path):
    run = even_run(tmp_path)
    words = ["record", str(tmp_path)]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 1
    assert "no run of this part: run `wetline run" in done.output
    write_run(run, tmp_path / "results", None)
    plan = tmp_path / "part.toml"
    plan.write_text(plan.read_text().replace("viscosity_mpas = 300", "viscosity_mpas = 400"))
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 1
    assert "has changed since its run" in done.output
    assert not (tmp_path / "results" / "part_record.html").exists()


def test_resin_from_elsewhere_hands_nothing_on(tmp_path):
    write_run(learnt_from(even_run(tmp_path)), tmp_path / "results", None)
    path = tmp_path / "results" / "part_run.json"
    content = json.loads(path.read_text(encoding="utf-8"))
    content["beside"]["strays"] = [{"x_mm": 1.0}]
    path.write_text(json.dumps(content), encoding="utf-8")
    text = write_part_record(tmp_path).page.read_text(encoding="utf-8")
    assert "no open feed of the plan can have sent it" in text
    assert text.count("<pre>") == 1  # the settings


def test_a_plan_that_traps_air_is_not_called_full_in_time(tmp_path):
    write_run(learnt_from(even_run(tmp_path)), tmp_path / "results", None)
    path = tmp_path / "results" / "part_run.json"
    content = json.loads(path.read_text(encoding="utf-8"))
    content["planned"]["verdict"] = "traps air"
    path.write_text(json.dumps(content), encoding="utf-8")
    text = write_part_record(tmp_path).page.read_text(encoding="utf-8")
    assert "The plan traps air" in text
    assert "In time, by what" not in text


def record(*words):
    return CliRunner().invoke(main, ["record", *map(str, words)])


def photo(path):
    assert cv2.imwrite(str(path), grey_photo())
    return path


def test_findings_are_filed_before_the_run_and_shown_after_it(tmp_path):
    run = late_run(tmp_path)
    early = record(tmp_path, "--surface", "good", "--mark", "pit 450 240 by the hose")
    assert early.exit_code == 0, early.output
    assert "The record comes with the result" in early.output
    assert "x and y as on the plan" in (tmp_path / "day.toml").read_text(encoding="utf-8")
    write_run(run, tmp_path / "results", None)
    bag = photo(tmp_path / "IMG_7.jpg")
    filed = record(tmp_path, bag, "--stage", "bag", "--note", "pleat", "--by", "K. N.")
    assert filed.exit_code == 0, filed.output
    more = record(tmp_path, "--mark", "dry area 60 30", "--weight", "900 g")
    assert "Mark 2: dry area at x 60, y 30 mm: wetted at " in more.output
    assert "Mark 1" not in more.output
    text = (tmp_path / "results" / "part_record.html").read_text(encoding="utf-8")
    for words in ("K. N.", "Pleat.", "Weight of the part", "pit (by the hose)", "0.900 kg"):
        assert words in text
    # The place was 300 s late.
    found = json.loads(record(tmp_path, "--json").output)
    assert [mark["kind"] for mark in found["marks"]] == ["pit", "dry area"]
    late, early = found["flow_at_marks"]
    planned_min = float(late["words"].split("planned ")[1].split(" min")[0])
    assert late["time_s"] / 60 - planned_min == pytest.approx(5.0, abs=0.6)
    planned_min = float(early["words"].split("planned ")[1].split(" min")[0])
    assert early["time_s"] / 60 - planned_min == pytest.approx(0.0, abs=0.6)


def test_what_cannot_be_filed_of_a_part_is_refused_in_one_line(tmp_path):
    write_run(even_run(tmp_path), tmp_path / "results", None)
    for words, told in (
        (("--mark", "pit 700 100"), "lies off the part"),
        (("--corners", "1,1 2,1 2,2 1,2"), "--corners goes with a photo"),
        (("--corners", "1,1 - 2"), "four or more points in pixels, in the order that"),
        (("--stage", "bag"), "goes with a photo"),
    ):
        done = record(tmp_path, *words)
        assert done.exit_code == 1
        assert told in done.output
        assert done.output.count("\n") == 1
    assert not (tmp_path / "day.toml").exists()


def test_verify_names_what_has_changed_since(tmp_path):
    write_run(even_run(tmp_path), tmp_path / "results", None)
    assert "no record is written yet" in record(tmp_path, "--verify").output
    record(tmp_path, "--surface", "good", "-q")
    same = record(tmp_path, "--verify")
    assert (same.exit_code, same.output.count("\n")) == (0, 1)
    numbers = tmp_path / "results" / "part_run.json"
    numbers.write_text(numbers.read_text(encoding="utf-8") + " ", encoding="utf-8")
    (tmp_path / "day.toml").unlink()
    (tmp_path / "bag.csv").write_text("time_s,bag_mbar", encoding="utf-8")
    changed = record(tmp_path, "--verify", "--json")
    assert changed.exit_code == 1
    assert {one["file"]: one["how"] for one in json.loads(changed.output)} == {
        "day.toml": "missing", "bag.csv": "new", "results/part_run.json": "changed",
    }  # fmt: skip


def test_inches_stand_beside_millimetres_on_letter(tmp_path):
    write_run(even_run(tmp_path), tmp_path / "results", None)
    page = tmp_path / "results" / "part_record.html"
    drawn = [
        base64.b64encode((tmp_path / "results" / name).read_bytes()).decode("ascii")
        for name in ("part_late.png", "part_resin_seen.png")
    ]
    assert record(tmp_path, "-q").exit_code == 0
    metric = page.read_text(encoding="utf-8")
    assert all(picture in metric for picture in drawn)
    assert record(tmp_path, "--inch", "--paper", "letter", "-q").exit_code == 0
    text = page.read_text(encoding="utf-8")
    assert not any(picture in text for picture in drawn)  # drawn again, with inches and pounds
    assert text.count("<img") == metric.count("<img")
    assert "600 x 300 mm (23.62 x 11.81 in)" in text
    assert "size: letter" in text


def test_a_drawdown_on_a_log_in_the_part_s_folder_is_in_its_record(tmp_path):
    write_run(even_run(tmp_path), tmp_path / "results", None)
    assert "Drawdown: none kept" in write_part_record(tmp_path).page.read_text(encoding="utf-8")
    log = tmp_path / "drawdown.csv"
    log.write_text("time_min,bag_mbar\n0,22\n5,23\n10,25\n15,26\n20,28\n", encoding="utf-8")
    assert CliRunner().invoke(main, ["drawdown", str(log)]).exit_code == 0
    text = write_part_record(tmp_path).page.read_text(encoding="utf-8")
    assert "<h2>Drawdown</h2>" in text
    assert "22 mbar" in text
    assert "Drawdown: none kept" not in text
    log.write_text("time_min,bag_mbar\n0,22\n5,60\n", encoding="utf-8")
    text = write_part_record(tmp_path).page.read_text(encoding="utf-8")
    assert "drawdown.csv has changed since" in text


def test_stamps_of_a_watched_part_are_in_its_record(tmp_path):
    add_stamp(tmp_path, Stamp(1000.0, RESIN_OPEN))
    add_stamp(tmp_path, Stamp(1630.0, FEED_OPEN, "second line"))
    add_stamp(tmp_path, Stamp(1700.0, VENT_SHUT, "left edge"))
    add_stamp(tmp_path, Stamp(1720.0, EVENT, "alarm: CHECK: An area may be cut off"))
    write_run(even_run(tmp_path), tmp_path / "results", None)
    text = write_part_record(tmp_path).page.read_text(encoding="utf-8")
    assert "done and seen at the part" in text
    assert "feed open: second line" in text
    assert "+10.5" in text
    assert "vent clamped: left edge" in text
    assert "alarm: CHECK: An area may be cut off" in text
    assert "event: alarm" not in text


def test_run_record_and_json_say_the_same_of_a_feed(tmp_path):
    run = even_run(tmp_path)
    late = FeedSeen("left line", 900.0, 1200.0, "late", by_front=True)
    run = replace(run, beside=replace(run.beside, feeds=(late,)))
    words = "was reached by the front at 20 min, planned 15 min: open it no sooner"
    assert words in text_of(run, tmp_path)
    assert f"left line {words}" in [row.text for row in rows(run)]
    content = json.loads((tmp_path / "results" / "part_run.json").read_text(encoding="utf-8"))
    assert content["beside"]["feeds"] == [
        {"name": "left line", "planned_s": 900.0, "wet_s": 1200.0, "state": "late",
         "by_front": True, "text": words},
    ]  # fmt: skip
