"""What lies ahead, in words."""

from dataclasses import replace

import pytest

from analysis.infusion.ahead.next_feed import AT_WORK, NOT_YET, NextFeed
from analysis.infusion.outlook.numbers import PartNumbers
from analysis.infusion.outlook.words import ahead_rows, cut_off_text, left_text, where_text
from tests.made_up.part_board import LEFT, cut_off

WHERE = "120 cm2, its air ends at x 400, y 250 mm"


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, f"will be cut off in 5.0 min (4.0 to 6.5): {WHERE}"),
        ({"likely": False}, f"may be cut off in 5.0 min (4.0 to 6.5): {WHERE}"),
        ({"closed": True}, f"cut off already: {WHERE}"),
        ({"closed": True, "likely": False}, f"may be cut off already: {WHERE}"),
        ({"hidden": True}, f"will be cut off in 5.0 min (4.0 to 6.5): {WHERE}; most of it hidden"),
    ],
)
def test_a_cut_off(more, said):
    assert cut_off_text(cut_off(**more)) == said


def test_minutes_are_rounded_to_the_early_side():
    assert left_text(cut_off(minutes_left=4.99)) == "4.9 min (4.0 to 6.5)"
    assert where_text(cut_off()) == WHERE


def test_what_is_still_to_come_row_by_row():
    feed = NextFeed("second", NOT_YET, 500.0, 60.0, 0.0, "second: not yet: 60 mm of it still dry")
    numbers = PartNumbers(0.6, left=LEFT, feeds=(feed,), cut_offs=(cut_off(),), learnt=True)
    rows = ahead_rows(numbers)
    assert [row.name for row in rows] == ["Next feed", "Shut-in air"]
    assert rows[1].text.endswith(", counted from the last photo")


def test_feeds_that_may_be_open_stand_before_the_next_to_open():
    feeds = [
        NextFeed(name, state, 500.0, 0.0, 0.0, f"{name} is {state}")
        for name, state in (("second", AT_WORK), ("third", NOT_YET), ("fourth", NOT_YET))
    ]
    rows = ahead_rows(PartNumbers(0.6, left=LEFT, feeds=tuple(feeds), learnt=True))
    assert [(row.name, row.text) for row in rows] == [
        ("Feed", "second is seems open"),
        ("Next feed", "third is not yet"),
    ]


def test_when_it_is_full_is_told_where_the_plan_was_not_corrected():
    (row,) = ahead_rows(PartNumbers(0.6, left=LEFT))
    assert row.name == "Full"
    assert row.text == "by the plan alone, at the pace so far, full at 20 min (18 min to 24 min)"
    (never,) = ahead_rows(PartNumbers(0.6, left=replace(LEFT, end_s=float("inf"))))
    assert "never reached" in never.text


def test_a_full_part_has_nothing_to_come():
    assert ahead_rows(PartNumbers(1.0, left=replace(LEFT, filled=True))) == []
    assert ahead_rows(PartNumbers(cannot="dark")) == []
