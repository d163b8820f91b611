"""The times that the board shows; its numbers from a whole run are tested in test_run.py."""

from dataclasses import replace

import pytest

from analysis.watch.board import (
    clock_text,
    end_text,
    gel_text,
    margin_s,
    overdue,
)
from analysis.watch.terminal import board_lines
from tests.made_up.boards import forecast_board


@pytest.mark.parametrize(
    ("elapsed_s", "end", "gel"),
    [
        (300.0, "in 5:00 (at 10:00; 95 %: 9:30 to 11:00)", "in 10:00, 5:00 after the end"),
        (585.0, "in 0:15 (95 %: by 11:00)", "in 5:15, 5:00 after the end"),
        (630.0, "due now (95 %: by 11:00)", "in 4:30, 4:30 after the end"),
        (661.0, "OVERDUE: was to be there by 11:00 at the latest (95 %)", "in 3:59"),
        (930.0, "OVERDUE: was to be there by 11:00 at the latest (95 %)", "PASSED 0:30 ago"),
    ],
)
def test_no_time_that_has_passed_is_shown_as_one_to_come(elapsed_s, end, gel):
    board = forecast_board()
    assert end_text(board, elapsed_s) == end
    assert gel_text(board, elapsed_s) == gel
    assert overdue(board, elapsed_s) == end.startswith("OVERDUE")
    assert "-" not in "".join(board_lines(board, elapsed_s)[1:])


def test_a_front_that_slows_is_not_promised_an_end():
    board = forecast_board()
    numbers = replace(board.numbers, end=replace(board.numbers.end, slowing=True))
    board = replace(board, numbers=numbers)
    assert end_text(board, 300.0).endswith("95 %: 9:30 to 11:00; later if it goes on slowing)")
    assert end_text(board, 585.0) == "in 0:15 (95 %: by 11:00; later if it goes on slowing)"


def test_a_front_at_the_end_is_never_overdue():
    board = forecast_board(reached_s=640.0)
    assert not overdue(board, 5000.0)
    assert end_text(board, 5000.0) == "reached at 10:40"
    assert margin_s(board, 5000.0) == 260.0


def test_clock_text_of_never():
    assert clock_text(float("inf")) == "never"
