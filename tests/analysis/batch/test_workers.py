"""Processes that do panels: one that dies costs one panel, and nothing is left behind."""

import multiprocessing

import pytest

from analysis.batch.fingerprint import made_by
from analysis.batch.one_panel import DONE, FAILED, Order
from analysis.batch.workers import TRIES, Finished, Progress, cores, work_off
from analysis.record.input_files import hash_inputs
from tests.made_up.season import add_bad_panel, add_panel, results_of


def order_for(folder, weight=1.0):
    return Order(folder.name, folder, hash_inputs(folder), "new", made_by(), weight=weight)


def kill_the_worker():
    for process in multiprocessing.active_children():
        process.kill()


def test_panels_are_done_side_by_side_and_a_bad_one_stops_none(tmp_path):
    orders = [
        order_for(add_panel(tmp_path, "a")),
        order_for(add_bad_panel(tmp_path, "b")),
        order_for(add_panel(tmp_path, "c")),
    ]
    words = list(work_off(orders, 2))
    states = {w.order.name: w.outcome.state for w in words if isinstance(w, Finished)}
    assert states == {"a": DONE, "b": FAILED, "c": DONE}
    assert not multiprocessing.active_children()


@pytest.mark.slow
def test_a_panel_whose_process_dies_once_is_done_all_the_same(tmp_path):
    folder, heard = add_panel(tmp_path, "a", "glass_edge"), []
    for word in work_off([order_for(folder)], 1):
        if isinstance(word, Progress) and not heard:
            kill_the_worker()
        heard.append(word)
    assert heard[-1].outcome.state == DONE
    assert not [name for name in results_of(folder) if name.startswith(".part-")]


@pytest.mark.slow
def test_a_panel_whose_process_always_dies_fails_and_the_rest_goes_on(tmp_path):
    deadly = add_panel(tmp_path, "deadly", "glass_edge")
    orders = [order_for(deadly, 9.0), order_for(add_panel(tmp_path, "a"))]
    killed, outcomes = 0, {}
    for word in work_off(orders, 1):
        if isinstance(word, Finished):
            outcomes[word.order.name] = word.outcome
        elif word.order.name == "deadly" and killed < TRIES:
            killed += 1
            kill_the_worker()
    assert killed == TRIES
    assert outcomes["deadly"].state == FAILED
    assert "without a word" in outcomes["deadly"].note
    assert outcomes["a"].state == DONE


def test_stopping_half_way_ends_the_processes(tmp_path):
    folder = add_panel(tmp_path, "a", "glass_edge")
    words = work_off([order_for(folder)], 1)
    next(words)
    words.close()
    assert not multiprocessing.active_children()
    assert not (folder / "results").exists() or not list((folder / "results").glob(".part-*"))


def test_cores_are_counted():
    assert cores() >= 1
