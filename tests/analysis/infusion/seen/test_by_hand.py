"""What was noted of a part's feeds and vents: first words count, what is taken back does not."""

from dataclasses import replace
from pathlib import Path

import pytest

from analysis.infusion.seen.by_hand import about_same, as_opened, later_feeds, read_by_hand
from analysis.part.plan.part_toml import read_part
from vision.settings.event_log import (
    FEED_BACK,
    FEED_OPEN,
    NOTE,
    VENT_BACK,
    VENT_SHUT,
    Stamp,
    add_stamp,
)

COVER = Path(__file__).resolve().parents[4] / "sample_frames" / "part_cover"


@pytest.fixture(scope="module")
def job():
    return read_part(COVER)


def noted(folder, plan, *stamps):
    for clock_s, kind, name in stamps:
        add_stamp(folder, Stamp(clock_s, kind, name))
    return read_by_hand(folder, plan)


def test_nothing_noted_is_nothing(tmp_path, job):
    hand = read_by_hand(tmp_path, job.plan)
    assert (hand.opened, hand.shut, hand.last) == ((), (), None)
    assert hand.opened_s(job.plan, 0.0) is None
    assert all(hand.open_vents(job.plan))


def test_the_first_word_on_a_feed_counts_until_it_is_taken_back(tmp_path, job):
    name = later_feeds(job.plan)[0].name
    hand = noted(tmp_path, job.plan, (100.0, FEED_OPEN, name), (160.0, FEED_OPEN, name))
    assert hand.opened == ((name, 100.0),)
    assert hand.last == (FEED_OPEN, name)
    hand = noted(tmp_path, job.plan, (170.0, FEED_BACK, name))
    assert hand.opened == ()
    assert hand.last is None
    hand = noted(tmp_path, job.plan, (200.0, FEED_OPEN, name))
    assert hand.opened == ((name, 200.0),)


def test_times_count_from_resin_start_and_only_of_what_was_noted(tmp_path, job):
    name = later_feeds(job.plan)[0].name
    hand = noted(tmp_path, job.plan, (100.0, FEED_OPEN, name))
    assert hand.opened_s(job.plan, None) is None
    opened_s = hand.opened_s(job.plan, 40.0)
    assert opened_s == [60.0 if feed.name == name else None for feed in job.plan.feeds]
    feeds = as_opened(job, opened_s).plan.feeds
    for feed, before in zip(feeds, job.plan.feeds, strict=True):
        assert feed.opens_at_s == (60.0 if feed.name == name else before.opens_at_s)
    assert as_opened(job, None) is job


def test_vents_are_shut_and_open_again_and_a_note_of_their_name_is_none(tmp_path, job):
    name = job.plan.vents[0].name
    hand = noted(tmp_path, job.plan, (1.0, NOTE, name), (2.0, VENT_SHUT, name))
    assert hand.open_vents(job.plan) == [vent.name != name for vent in job.plan.vents]
    assert hand.last == (VENT_SHUT, name)
    assert all(noted(tmp_path, job.plan, (3.0, VENT_BACK, name)).open_vents(job.plan))


def test_a_name_that_a_cell_would_take_for_a_formula_is_known_again(tmp_path, job):
    vents = (replace(job.plan.vents[0], name="-x side"), *job.plan.vents[1:])
    plan = replace(job.plan, vents=vents)
    assert noted(tmp_path, plan, (1.0, VENT_SHUT, "-x side")).shut == ("-x side",)


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (None, None, True),
        ([None, 600.0], [None, 607.0], True),
        ([None, 600.0], [None, 640.0], False),
        ([None, 600.0], [None, None], False),
        (None, [None, 600.0], False),
    ],
)
def test_another_resin_start_by_seconds_is_no_other_opening(one, other, same):
    assert about_same(one, other) is same
    assert about_same(other, one) is same
