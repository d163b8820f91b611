"""Alarms of a part: what is cut off, in how many minutes, and the next feed."""

from dataclasses import replace

import pytest

from analysis.infusion.ahead.next_feed import AT_WORK, NOT_YET, OPEN, NextFeed
from analysis.infusion.learn.learnt import LATE, SHUT, Opening
from analysis.infusion.outlook.numbers import PartNumbers
from analysis.infusion.outlook.standstill import Standstill
from analysis.watch.alarms import ACT, LOOK
from analysis.watch.part.alarms import (
    alarm_texts,
    area_numbers,
    no_resin_alarms,
    part_alarms,
    unnoted_feeds,
    with_areas,
)
from tests.made_up.part_board import LEFT, cut_off


def numbers(*cuts, feeds=(), left=LEFT):
    return PartNumbers(0.6, 0.01, 1.2, left=left, cut_offs=cuts, feeds=feeds, last_s=600.0)


def test_what_will_be_cut_off_is_for_now_with_its_minutes_place_and_size():
    (alarm,) = part_alarms(numbers(cut_off()))
    assert alarm.level == ACT
    assert alarm.text == "An area will be cut off from every vent in 5.0 min (4.0 to 6.5)"
    assert alarm.todo.startswith("120 cm2, its air ends at x 400, y 250 mm. Slow the resin")


def test_what_may_be_is_to_be_looked_at_and_what_is_closed_says_so():
    may, closed = cut_off(likely=False), cut_off(6, closed=True, minutes_left=0.0)
    alarms = part_alarms(numbers(may, closed))
    assert [alarm.level for alarm in alarms] == [ACT, LOOK]
    assert alarms[0].text == "An area is cut off from every vent"
    assert "may be cut off" in alarms[1].text


def test_one_that_is_closed_and_was_not_seen_is_to_be_looked_at():
    (alarm,) = part_alarms(numbers(cut_off(closed=True, likely=False)))
    assert alarm.level == LOOK
    assert alarm.text == "An area may be cut off from every vent already"
    assert "not seen: look at the part itself" in alarm.todo


def test_an_area_keeps_its_key_as_it_moves_and_another_has_its_own():
    first, moved, other = cut_off(), cut_off(first=2), cut_off(first=6)
    known = with_areas((), (first,))
    assert [area.number for area in known] == [1]
    assert area_numbers(known, (other, moved)) == [2, 1]
    known = with_areas(known, (other, moved))
    keys = [alarm.key for alarm in part_alarms(numbers(other, moved), known=known)]
    assert keys == ["cut off 2", "cut off 1"]
    # Once an area falls apart, the larger piece keeps the number and the other has one of its own.
    assert area_numbers(with_areas((), (first,)), (cut_off(first=2), cut_off(first=1))) == [2, 1]
    closed = cut_off(first=2, closed=True)
    assert part_alarms(numbers(closed), known=known)[0].key == "closed 1"


def test_a_hidden_area_says_look():
    (alarm,) = part_alarms(numbers(cut_off(hidden=True)))
    assert "look at the part itself" in alarm.todo


def test_two_looks_must_have_it():
    other = cut_off(first=6)
    assert part_alarms(numbers(cut_off()), numbers()) == []
    assert part_alarms(numbers(cut_off()), numbers(other)) == []
    assert len(part_alarms(numbers(cut_off()), numbers(cut_off()))) == 1


@pytest.mark.parametrize(("state", "count"), [(OPEN, 1), (NOT_YET, 0)])
def test_a_feed_that_is_passed_is_told_of(state, count):
    feed = NextFeed("second line", state, 500.0, 0.0, 0.0, "")
    alarms = part_alarms(numbers(feeds=(feed,)))
    assert len(alarms) == count
    assert all(a.text == "The front is past all of second line" for a in alarms)


def test_every_feed_that_is_passed_is_told_of_once_the_nearest_due_first():
    feeds = [
        NextFeed(name, state, 500.0, 0.0, 0.0, "", due_s)
        for name, state, due_s in (("b", OPEN, 300.0), ("c", NOT_YET, 400.0), ("d", OPEN, 600.0))
    ]
    alarms = part_alarms(numbers(feeds=tuple(feeds)))
    assert [a.key for a in alarms] == ["feed b", "feed d"]


def test_resin_from_a_feed_that_nobody_noted_asks_for_the_note():
    feed = NextFeed("second line", AT_WORK, 500.0, 0.0, 0.0, "")
    (alarm,) = part_alarms(numbers(feeds=(feed,)))
    assert alarm.text == "Resin seems to come from second line, which is not noted as open"
    assert "note it (f)" in alarm.todo


@pytest.mark.parametrize(
    ("said_s", "noted", "state", "count"),
    [(6e2, True, SHUT, 1), (6e2, False, SHUT, 0), (0.0, False, SHUT, 1), (6e2, True, LATE, 0)],
)
def test_a_feed_that_should_be_open_and_gives_no_resin_is_told_of(said_s, noted, state, count):
    one = Opening("second line", 1, said_s, noted, 500.0, state, 900.0, 800.0, 1000.0)
    alarms = no_resin_alarms([one])
    assert len(alarms) == count
    assert all(a.text == "No resin seems to come from second line" for a in alarms)


def test_a_full_part_and_one_that_shows_nothing_raise_none():
    assert part_alarms(numbers(cut_off(), left=replace(LEFT, filled=True))) == []
    assert part_alarms(PartNumbers(cannot="dark")) == []


def test_muted_ones_are_left_out():
    (alarm,) = part_alarms(numbers(cut_off()))
    assert alarm_texts([alarm], (alarm.key,)) == []
    assert alarm_texts([alarm])[0].startswith("!! ACT NOW: An area will be cut off")


def test_a_front_that_stands_still_is_for_now():
    still = replace(numbers(), standstill=Standstill(0.42, 900.0, 0.11))
    (alarm,) = part_alarms(still)
    assert (alarm.key, alarm.level) == ("stall", ACT)
    assert alarm.text == "The front stands still at 42 % wet since 15 min"
    assert "By the plan 11 % more should be wet" in alarm.todo


def test_a_feed_that_the_plan_has_open_and_nobody_noted_is_asked_about():
    due = {"second": 600.0, "third": 1200.0}
    assert unnoted_feeds(due, (), 500.0) == []
    (alarm,) = unnoted_feeds(due, (), 700.0)
    assert alarm.text == "A feed is not noted as open: by the plan second opens at 10 min"
    assert unnoted_feeds(due, ("second",), 700.0) == []
