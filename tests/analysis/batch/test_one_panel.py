"""One panel brought up to date; whatever goes wrong is an outcome, not an exception."""

import os
import sys

import pytest

import analysis.record.panel_job
from analysis.batch.fingerprint import Fingerprint, made_by, why_again
from analysis.batch.one_panel import DONE, FAILED, WATCHED, Order, bring_up_to_date
from analysis.record.input_files import hash_inputs
from analysis.watch.lock import FolderLock
from tests.made_up.season import add_bad_panel, add_panel


def order_for(folder, **other):
    told = {"inputs": hash_inputs(folder), "why": "new", "made_by": made_by()} | other
    return Order(folder.name, folder, **told)


def test_a_panel_is_done_and_then_stands(tmp_path):
    folder, heard = add_panel(tmp_path, "a"), []
    outcome = bring_up_to_date(order_for(folder), heard.append)
    assert (outcome.state, outcome.note) == (DONE, "new")
    assert outcome.answer["verdict"]["verdict"] == "fills"
    assert why_again(folder, Fingerprint(hash_inputs(folder), made_by())) == ""


def test_a_fault_of_the_user_is_told_in_the_same_words(tmp_path):
    outcome = bring_up_to_date(order_for(add_bad_panel(tmp_path, "a")))
    assert outcome.state == FAILED
    assert "no pictures of the run" in outcome.note
    assert not outcome.answer


@pytest.mark.parametrize(
    ("error", "said"),
    [(ZeroDivisionError("boom"), "fault of its own"), (MemoryError(), "too little memory")],
)
def test_a_fault_of_our_own_is_an_outcome(tmp_path, monkeypatch, error, said):
    def fail(*given, **named):
        raise error

    monkeypatch.setattr(analysis.record.panel_job, "run_panel", fail)
    outcome = bring_up_to_date(order_for(add_panel(tmp_path, "a")))
    assert outcome.state == FAILED
    assert said in outcome.note


def test_a_failed_panel_keeps_no_fingerprint_of_older_results(tmp_path):
    folder = add_panel(tmp_path, "a")
    bring_up_to_date(order_for(folder))
    kept = (folder / "panel.toml").read_bytes()
    (folder / "panel.toml").write_text("[panel]\nlength = 3\n")
    assert bring_up_to_date(order_for(folder)).state == FAILED
    (folder / "panel.toml").write_bytes(kept)
    assert why_again(folder, Fingerprint(hash_inputs(folder), made_by())) != ""


def test_files_that_change_meanwhile_are_not_taken_for_done(tmp_path):
    folder = add_panel(tmp_path, "a")
    stale = order_for(folder)
    (folder / "notes.txt").write_text("came later")
    outcome = bring_up_to_date(stale)
    assert outcome.state == DONE
    assert "again the next time" in outcome.note
    assert why_again(folder, Fingerprint(hash_inputs(folder), made_by())) != ""


def test_another_version_is_refused(tmp_path):
    outcome = bring_up_to_date(order_for(add_panel(tmp_path, "a"), made_by={"wetline": "other"}))
    assert outcome.state == FAILED
    assert "another version" in outcome.note


def test_a_panel_that_is_being_watched_is_left_alone(tmp_path):
    folder = add_panel(tmp_path, "a")
    with FolderLock(folder):
        assert bring_up_to_date(order_for(folder)).state == WATCHED
    assert bring_up_to_date(order_for(folder)).state == DONE


@pytest.mark.skipif(
    sys.platform == "win32" or getattr(os, "geteuid", int)() == 0,
    reason="needs a user that a folder can be closed to",
)
def test_a_folder_that_cannot_be_written_to_is_an_outcome(tmp_path):
    folder = add_panel(tmp_path, "a")
    order = order_for(folder)
    folder.chmod(0o555)
    try:
        assert bring_up_to_date(order).state == FAILED
    finally:
        folder.chmod(0o755)
