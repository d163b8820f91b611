"""The record of a part, from made-up runs."""

import json

import pytest
from click.testing import CliRunner

from analysis.infusion.answer.run_files import write_run
from analysis.infusion.answer.run_job import learnt_from
from analysis.part.plan.part_toml import read_part
from analysis.record.part.part_record import write_part_record
from tests.made_up.infusion_answers import even_run, grey_photo, late_run, unusable_run
from wetline import main


def text_of(run, folder):
    write_run(run, folder / "results", (39, grey_photo()))
    return write_part_record(folder).read_text(encoding="utf-8")


def test_a_run_gives_panel_plan_seen_corrected_and_lines_that_can_be_read_back(tmp_path):
    run = learnt_from(even_run(tmp_path))
    text = text_of(run, tmp_path)
    for name in ("Panel", "Expected: the plan", "Seen", "Corrected", "Next plan", "Cautions"):
        assert f"<h2>{name}</h2>" in text
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
    assert "<pre>" not in text
    text = text_of(late_run(tmp_path), tmp_path)  # nothing was learnt from it
    assert "No lines are given" in text


def test_no_run_a_changed_plan_and_findings_are_refused(tmp_path):
    run = even_run(tmp_path)
    words = ["record", str(tmp_path)]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 1
    assert "no run of this part: run `wetline run" in done.output
    write_run(run, tmp_path / "results", None)
    done = CliRunner().invoke(main, [*words, "--surface", "good"])
    assert done.exit_code == 1
    assert "--surface goes with a panel" in done.output
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
    text = write_part_record(tmp_path).read_text(encoding="utf-8")
    assert "no open feed of the plan can have sent it" in text
    assert "<pre>" not in text


def test_a_plan_that_traps_air_is_not_called_full_in_time(tmp_path):
    write_run(learnt_from(even_run(tmp_path)), tmp_path / "results", None)
    path = tmp_path / "results" / "part_run.json"
    content = json.loads(path.read_text(encoding="utf-8"))
    content["planned"]["verdict"] = "traps air"
    path.write_text(json.dumps(content), encoding="utf-8")
    text = write_part_record(tmp_path).read_text(encoding="utf-8")
    assert "The plan traps air" in text
    assert "In time, by what" not in text
