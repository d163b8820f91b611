"""`wetline batch` as a whole: what is done, done again, left alone, and after being stopped."""

import csv
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

import analysis.batch.batch
import wetline
from analysis.batch.one_panel import Outcome, bring_up_to_date
from analysis.batch.workers import Finished
from analysis.watch.lock import FolderLock
from tests.made_up.season import SAMPLES, add_bad_panel, add_panel, add_part, results_of


def batch(root, *options):
    return CliRunner().invoke(wetline.main, ["batch", str(root), *options])


@pytest.fixture
def one_process(monkeypatch):
    """All in this process, where which panels are done is what is looked at, not who does them."""

    def work(orders, wish):
        yield from (Finished(order, bring_up_to_date(order)) for order in orders)

    monkeypatch.setattr(analysis.batch.batch, "_work", work)


def states(root):
    with (root / "results" / "batch.csv").open(encoding="utf-8", newline="") as file:
        return {row["panel"]: row["state"] for row in csv.DictReader(file)}


def inputs_of(root):
    """Bytes of all that is not results."""
    files = (path for path in root.rglob("*") if path.is_file())
    return {path: path.read_bytes() for path in files if "results" not in path.parts}


@pytest.mark.usefixtures("one_process")
def test_only_what_changed_is_done_again(tmp_path):
    for name in ("a", "week 1/b"):
        add_panel(tmp_path, name)
    before = inputs_of(tmp_path)
    first = batch(tmp_path)
    assert first.exit_code == 0, first.output
    assert states(tmp_path) == {"a": "done", "week 1/b": "done"}
    assert inputs_of(tmp_path) == before
    settings = tmp_path / "a" / "panel.toml"
    settings.write_text(settings.read_text() + "# a note\n")
    kept = results_of(tmp_path / "week 1" / "b")
    second = batch(tmp_path, "--json")
    told = {row["panel"]: row for row in json.loads(second.stdout)["panels"]}
    assert (told["a"]["state"], told["a"]["note"]) == ("done", "panel.toml changed")
    assert told["week 1/b"]["state"] == "up to date"
    assert told["week 1/b"]["k_m2"] == told["a"]["k_m2"]
    assert results_of(tmp_path / "week 1" / "b") == kept


@pytest.fixture(scope="module")
def alone(tmp_path_factory):
    """What `wetline run` makes of the panel."""
    folder = add_panel(tmp_path_factory.mktemp("alone"), "a", "glass_edge")
    assert CliRunner().invoke(wetline.main, ["run", str(folder), "-q"]).exit_code == 0
    return results_of(folder)


def test_results_are_those_of_a_run_byte_for_byte(tmp_path, alone):
    folder = add_panel(tmp_path, "a", "glass_edge")
    assert batch(folder, "--quiet").exit_code == 0
    made = results_of(folder)
    assert {name: made[name] for name in alone} == alone


@pytest.mark.usefixtures("one_process")
def test_a_bad_folder_stops_none_and_the_exit_code_says_so(tmp_path):
    add_bad_panel(tmp_path, "a")
    add_panel(tmp_path, "b")
    found = batch(tmp_path, "--quiet")
    assert found.exit_code == 1
    assert states(tmp_path) == {"a": "failed", "b": "done"}
    assert "no pictures of the run" in found.output
    assert "Traceback" not in found.output


@pytest.mark.usefixtures("one_process")
def test_parts_stand_among_panels_and_are_resumed(tmp_path):
    add_panel(tmp_path, "a")
    part = add_part(tmp_path, "cover")
    bad = add_part(tmp_path, "bad")
    shutil.rmtree(bad / "frames")
    before = inputs_of(tmp_path)
    first = batch(tmp_path, "-q", "--pdf", "--json")
    assert first.exit_code == 1
    told = {row["panel"]: row for row in json.loads(first.stdout)["panels"]}
    assert {name: row["state"] for name, row in told.items()} == {
        "a": "done", "bad": "failed", "cover": "done",
    }  # fmt: skip
    assert told["cover"]["kind"] == "part"
    assert "frames" in told["bad"]["note"]
    # The made-up stack had 3e-10 m2; a third of the photos on a coarse grid.
    assert told["cover"]["k_m2"] == pytest.approx(3e-10, rel=0.08)
    assert (part / "results" / "part_record.pdf").read_bytes().startswith(b"%PDF")
    assert inputs_of(tmp_path) == before
    kept = results_of(part)
    shutil.rmtree(bad)
    second = batch(tmp_path, "-q", "--pdf")
    assert second.exit_code == 0
    assert states(tmp_path) == {"a": "up to date", "cover": "up to date"}
    assert results_of(part) == kept
    page = (tmp_path / "results" / "batch.html").read_text(encoding="utf-8")
    assert "Panels and parts in" in page
    assert "../cover/results/part_run.html" in page


def test_panels_are_done_before_the_parts_that_may_rest_on_them(tmp_path, monkeypatch):
    add_part(tmp_path, "a cover")
    add_panel(tmp_path, "panel")
    groups = []

    def work(orders, wish):
        groups.append([order.name for order in orders])
        yield from (Finished(order, Outcome(order.name, "failed", "not today")) for order in orders)

    monkeypatch.setattr(analysis.batch.batch, "_work", work)
    assert batch(tmp_path, "-q").exit_code == 1
    assert groups == [["panel"], ["a cover"]]


@pytest.mark.usefixtures("one_process")
def test_what_lacks_a_panel_toml_is_named_and_no_failure(tmp_path):
    add_panel(tmp_path, "a")
    (add_panel(tmp_path, "b") / "panel.toml").unlink()
    found = batch(tmp_path, "--quiet")
    assert found.exit_code == 0
    assert states(tmp_path)["b"] == "no panel.toml"
    assert f"wetline new {(tmp_path / 'b').as_posix()}" in found.output


@pytest.mark.usefixtures("one_process")
def test_fresh_and_pdf_ask_for_more(tmp_path):
    add_panel(tmp_path, "a")
    assert batch(tmp_path, "-q").exit_code == 0
    assert batch(tmp_path, "-q", "--pdf").exit_code == 0
    assert (tmp_path / "a" / "results" / "report.pdf").read_bytes().startswith(b"%PDF")
    assert states(tmp_path)["a"] == "done"
    batch(tmp_path, "-q", "--pdf")
    assert states(tmp_path)["a"] == "up to date"
    batch(tmp_path, "-q", "--fresh")
    assert states(tmp_path)["a"] == "done"


def test_a_watched_panel_is_left_alone_and_counts_as_not_fine(tmp_path):
    with FolderLock(add_panel(tmp_path, "a")):
        found = batch(tmp_path, "-q")
    assert found.exit_code == 1
    assert states(tmp_path)["a"] == "being watched"


def test_two_batches_on_one_folder_do_not_meet(tmp_path):
    add_panel(tmp_path, "a")
    (tmp_path / "results").mkdir()
    with FolderLock(tmp_path / "results", ".batch.lock"):
        found = batch(tmp_path, "-q")
    assert found.exit_code == 1
    assert "already" in found.output


def test_nothing_to_do_and_no_cluster_are_one_line(tmp_path):
    empty = batch(tmp_path)
    assert empty.exit_code == 1
    assert "no panel folder beneath" in empty.output
    assert empty.output.count("\n") == 1
    assert batch(tmp_path / "nowhere").output.count("\n") == 1


STANDS_STILL = """
import signal, sys, time
import wetline
from analysis.batch import workers

signal.signal(signal.SIGINT, signal.default_int_handler)
hand = workers._hand

def hand_and_stand_still(worker, order):
    hand(worker, order)
    if order.name == "b":
        print("at work", worker.process.pid, flush=True)
        time.sleep(600)

workers._hand = hand_and_stand_still
sys.exit(wetline.main())
"""
"""A batch that goes no further once its second panel is in work, however quick the computer."""


def started(root):
    """Start a batch of its own, and wait until it is half-way; its process and its worker's."""
    process = subprocess.Popen(
        [sys.executable, "-c", STANDS_STILL, "batch", str(root), "--jobs", "1"],
        cwd=SAMPLES.parent, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    word, _, worker = process.stdout.readline().decode().rpartition(" ")
    assert word == "at work"
    return process, int(worker)


def at_work(number):
    """Whether a process is there, and no ended one that nobody has asked about."""
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    told = Path("/proc") / str(number) / "stat"
    try:
        return told.read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return not told.parent.parent.is_dir()


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="sends signals")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
def test_stopped_half_way_the_same_command_goes_on(tmp_path, how, alone):
    for name in ("a", "b", "c"):
        add_panel(tmp_path, name, "glass_edge" if name == "a" else "pen_marks")
    process, worker = started(tmp_path)
    process.send_signal(how)
    out, _ = process.communicate(timeout=600)
    assert process.returncode != 0
    if how == signal.SIGINT:
        assert "not done yet" in out.decode()
        assert states(tmp_path)["c"] == "not done yet"
    until = time.monotonic() + 120.0
    while at_work(worker) and time.monotonic() < until:
        time.sleep(0.02)
    assert not at_work(worker)  # the processes of a killed batch end by themselves
    assert batch(tmp_path, "-q").exit_code == 0
    assert "not done yet" not in states(tmp_path).values()
    assert batch(tmp_path, "-q").exit_code == 0
    assert set(states(tmp_path).values()) == {"up to date"}
    made = results_of(tmp_path / "a")
    assert {name: made[name] for name in alone} == alone
    assert not [path for path in tmp_path.rglob(".part-*") if how == signal.SIGINT]
    assert os.listdir(tmp_path / "results")
