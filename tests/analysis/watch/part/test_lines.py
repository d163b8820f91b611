"""A part's board as text, whole."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.ahead.next_feed import NOT_YET, OPEN, NextFeed
from analysis.infusion.learn.learnt import EARLY, LATE, Learnt, Opening
from analysis.infusion.outlook.numbers import PartNumbers
from analysis.watch.part.board import PartBoard, part_board_lines
from analysis.watch.part.learner import PartLearner
from analysis.watch.part.lines import gel_of, left_of, part_lines
from tests.made_up.part_board import LEFT, cut_off

FEED = NextFeed(
    "second line", NOT_YET, 500.0, 60.0, 0.0, "second line: not yet: 60 mm of it still dry"
)
BOARD = PartNumbers(
    0.6, 0.01, 1.234, 0.04, LEFT, (FEED,), (cut_off(),), True, 600.0, "", ("the light changed",)
)


def test_the_whole_board():
    assert part_lines(BOARD) == [
        "Wet:        60 +- 2.0 % of the part, about 1.23 kg of resin in it; 4 % hidden",
        "Left:       40 % dry, until 20:00 (18:20 to 23:20), in 10:00",
        "Gel:        at 33:20: after the part is full",
        "Next feed:  second line: not yet: 60 mm of it still dry",
        "Air:        will be cut off in 5.0 min (4.0 to 6.5): 120 cm2, its air ends at x 400, "
        "y 250 mm",
        "Doubt:      the light changed",
    ]


def test_a_forecast_from_the_plan_alone_and_likely_ones_are_told_apart():
    lines = part_lines(replace(BOARD, learnt=False, cut_offs=(cut_off(likely=False),)))
    assert any(line.startswith("Air:        may be cut off in") for line in lines)
    assert "Forecast:   from the plan alone, scaled to the front as seen" in lines
    closed = part_lines(replace(BOARD, cut_offs=(cut_off(closed=True),)))
    assert any(line.startswith("Air:        cut off already: 120 cm2") for line in closed)


def test_of_three_later_feeds_each_that_is_due_has_a_line_the_nearest_due_first():
    def feed(name, state, due_s):
        return NextFeed(name, state, 500.0, 0.0, 0.0, f"{name}: {state}", due_s)

    def told(*feeds):
        lines = part_lines(replace(BOARD, feeds=feeds))
        return [line.split(":  ")[1] for line in lines if line.startswith("Next feed")]

    three = feed("b", NOT_YET, 700.0), feed("c", NOT_YET, 800.0), feed("d", OPEN, 900.0)
    assert told(*three) == ["d: open it", "b: not yet"]
    assert told(*(replace(one, state=OPEN) for one in three)) == [
        "b: not yet",
        "c: not yet",
        "d: open it",
    ]
    # One whose time has come is told though the front is not past it.
    assert told(*(feed(name, NOT_YET, 500.0) for name in "bc")) == ["b: not yet", "c: not yet"]
    assert told(*(feed(name, NOT_YET, 700.0) for name in "bc")) == ["b: not yet"]


def test_a_note_that_what_was_seen_contradicts_has_a_line_and_one_that_nobody_noted_asks_for_it():
    odd = Opening("second line", 1, 1200.0, True, 500.0, LATE, 1500.0, 1400.0, 1600.0)
    seen = replace(odd, name="third line", noted=False, state=EARLY)
    learnt = Learnt(
        (), None, np.zeros(1), 2e3, 1e3, 3e3, None, None, (), 0.01, (), np.zeros(0),
        openings=(odd, seen),
    )  # fmt: skip
    board = PartBoard(name="cover", part=BOARD, learnt=learnt)
    told = [line for line in part_board_lines(board, 600.0) if line.startswith("Feed:")]
    assert len(told) == 1
    assert "second line was noted as open at 20 min, but resin seems to come from it" in told[0]
    learner = PartLearner(None)
    assert learner.at_work == frozenset()
    learner.learnt = learnt
    assert learner.at_work == {"third line"}


def test_nothing_to_see_is_one_line_and_before_resin_none():
    assert part_lines(PartNumbers(cannot="dark")) == ["Front:      cannot be made out: dark"]
    assert part_lines(PartNumbers()) == []


@pytest.mark.parametrize(
    ("before", "said"),
    [("yes", "after the part is full"), ("perhaps", "may come"), ("no", "BEFORE the part")],
)
def test_gel_against_the_end(before, said):
    assert said in gel_of(replace(LEFT, before_gel=before))
    assert gel_of(replace(LEFT, gel_s=None)) == "no gel time in part.toml"


def test_full_and_never():
    assert left_of(replace(LEFT, filled=True), 0.0) == "nothing: full at 20:00"
    assert "never reached" in left_of(replace(LEFT, end_s=float("inf")), 0.0)
