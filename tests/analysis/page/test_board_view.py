"""The board as plain JSON for the page."""

import json
from dataclasses import replace
from types import SimpleNamespace

import pytest

from analysis.page.board_view import board_view, chart_words
from analysis.watch.board import Board
from tests.made_up.boards import forecast_board


def view(board, elapsed_s):
    watch = SimpleNamespace(
        elapsed_s=lambda: elapsed_s,
        clock=SimpleNamespace(now=lambda: 1000.0),
        interval_s=10.0,
        recorder=SimpleNamespace(silence_s=lambda: 3.0),
    )
    return json.loads(json.dumps(board_view(watch, board)))


def test_numbers_and_words_of_a_run_that_goes_on():
    shown = view(forecast_board(start_clock_s=700.0), 300.0)
    assert (shown["end_s"], shown["end_low_s"], shown["end_high_s"]) == (600.0, 570.0, 660.0)
    assert shown["margin_s"] == 300.0
    assert shown["front"]["mean_mm"] == 200.0
    assert (shown["now_ms"], shown["start_ms"]) == (1_000_000.0, 700_000.0)
    assert "At the end: in 5:00" in shown["chart_text"]
    assert not shown["overdue"]


def test_edges_that_are_hidden_are_empty_and_said_to_be_hidden():
    board = forecast_board(start_clock_s=700.0)
    front = replace(board.numbers.front, low_mm=None, high_mm=None)
    shown = view(replace(board, numbers=replace(board.numbers, front=front)), 300.0)
    assert shown["front"]["low_mm"] is shown["front"]["high_mm"] is None
    assert shown["width_text"] == "leading and trailing edge hidden"
    assert shown["front"]["mean_mm"] == 200.0


@pytest.mark.parametrize("elapsed_s", [661.0, 5000.0])
def test_an_overdue_end_has_no_margin(elapsed_s):
    shown = view(forecast_board(), elapsed_s)
    assert shown["overdue"]
    assert shown["margin_s"] is None
    assert shown["end_text"].startswith("OVERDUE")


def test_a_board_before_the_first_picture():
    shown = view(Board("strip"), None)
    assert shown["front"] is None
    assert shown["end_s"] is None
    assert chart_words(Board("strip")) == "No front yet."
