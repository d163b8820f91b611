"""What a run left of a part, read back."""

import json
from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.answer.run_files import write_run
from analysis.infusion.kept.kept_run import read_kept, share_wet
from tests.made_up.infusion_answers import even_run, late_run, unusable_run
from vision.errors import WetlineError


def kept(run, folder):
    write_run(run, folder / "results", None)
    return read_kept(folder)


def test_a_run_is_read_back_as_it_was_written(tmp_path):
    run = late_run(tmp_path)
    found = kept(run, tmp_path)
    assert found.numbers["seen"]["last_s"] == pytest.approx(run.seen.last_s)
    assert np.array_equal(found.arrival.time_s, run.seen.time_s, equal_nan=True)
    assert found.photos == run.made_from.photos
    assert found.left_out == ""
    time_s, share = share_wet(found)
    middle = float(np.median(run.seen.time_s[run.seen.inside]))
    assert np.interp(middle, time_s, share) == pytest.approx(0.5, abs=0.01)


def test_what_was_not_measured_or_is_in_doubt_is_left_out(tmp_path):
    assert "hidden throughout" in kept(unusable_run(tmp_path), tmp_path).left_out
    run = even_run(tmp_path)
    run = replace(run, seen=replace(run.seen, doubts=("the camera was turned",)))
    assert kept(run, tmp_path).left_out == "in doubt: the camera was turned"


def test_no_run_and_one_of_another_plan_are_refused(tmp_path):
    run = even_run(tmp_path)
    with pytest.raises(WetlineError, match="no run of this part"):
        read_kept(tmp_path)
    kept(run, tmp_path)
    plan = tmp_path / "part.toml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text("# a word\n" + text.replace("roof unit", "unit"), encoding="utf-8")
    read_kept(tmp_path)
    plan.write_text(text.replace("mbar = 900", "mbar = 800"), encoding="utf-8")
    with pytest.raises(WetlineError, match="has changed since its run"):
        read_kept(tmp_path)


def test_files_that_wetline_did_not_write_are_refused(tmp_path):
    run = even_run(tmp_path)
    kept(run, tmp_path)
    numbers, results = tmp_path / "results" / "part_run.json", tmp_path / "results"
    content = json.loads(numbers.read_text(encoding="utf-8"))
    numbers.write_text(json.dumps(content | {"made_from": None}), encoding="utf-8")
    with pytest.raises(WetlineError, match="or what it was made from"):
        read_kept(tmp_path)
    for name, table in (("seen", {"usable": True}), ("seen", 7), ("made_from", {"photos": 3})):
        numbers.write_text(json.dumps(content | {name: table}), encoding="utf-8")
        with pytest.raises(WetlineError, match="lacks what a run writes"):
            read_kept(tmp_path)
    content.pop("learnt")
    numbers.write_text(json.dumps(content), encoding="utf-8")
    with pytest.raises(WetlineError, match="lacks what a run writes"):
        read_kept(tmp_path)
    content["learnt"] = None
    numbers.write_text(json.dumps(content), encoding="utf-8")
    np.savez(results / "arrival.npz", time_s=np.zeros((2, 2)))
    with pytest.raises(WetlineError, match="not what Wetline writes"):
        read_kept(tmp_path)
    (results / "arrival.npz").write_bytes(b"no arrays")
    with pytest.raises(WetlineError, match="cannot be read"):
        read_kept(tmp_path)
