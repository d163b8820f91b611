"""Resin from a later feed that nobody noted: told where it shows, and not where a front passed."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.ahead.feeds_at_work import feeds_at_work, fill_without, seen_at_work
from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.part.flow.filling import fill_plan
from tests.made_up.part_beside import planned
from tests.made_up.part_seen import part_seen

LATER = """
[[feed]]
name = "second line"
line_mm = [[300, 20], [300, 280]]
opens_when = "wet"
"""
PHOTOS = 40


@pytest.fixture(scope="module")
def part(tmp_path_factory):
    """Job, grid, and the part filled by its first feed alone."""
    job, answer = planned(tmp_path_factory.mktemp("part"), LATER)
    return job, answer.filling.links, fill_without(job)


def truth_s(job, links, opens_s=None, factor=1.0):
    """Arrival in a part whose second line is opened at a time, or stays shut."""
    opens = {"second line": opens_s, "left line": 0.0}
    feeds = tuple(
        replace(feed, opens_when_wet=False)
        for feed in job.plan.feeds
        if opens[feed.name] is not None
    )
    plan = replace(job.plan, feeds=feeds)
    at = [float(job.impulse.at(opens[feed.name])) for feed in feeds]
    theta = fill_plan(plan, at, 24, factors=(factor,)).arrival
    return np.asarray(job.impulse.time_of(theta[: links.cells]))


def told(part, truth, photo, gap_s, opened=()):
    """What is told at a photo of the run."""
    job, links, shut_s = part
    photo_s = gap_s * (np.arange(photo) + 1.0)
    seen = part_seen(links, truth, last_s=float(photo_s[-1]), noise_s=1.0)
    return feeds_at_work(job.plan, bring_on_plan(seen, links), shut_s, photo_s, opened)


def passed_s(part, x_mm):
    """When the front of the first feed is at a distance."""
    _, links, shut_s = part
    return float(np.median(shut_s[np.abs(links.centre_mm[: links.cells, 0] - x_mm) < 10]))


@pytest.mark.parametrize("x_mm", [315.0, 340.0, 360.0])
def test_a_feed_opened_after_the_front_had_passed_it_is_told(part, x_mm):
    job, links, shut_s = part
    opens_s, gap_s = passed_s(part, x_mm), float(shut_s.max()) / PHOTOS
    truth = truth_s(job, links, opens_s)
    first = int(opens_s / gap_s)
    found = {photo: told(part, truth, photo, gap_s) for photo in range(first - 8, first + 6)}
    names = [photo for photo, works in found.items() if works]
    assert names, "not told"
    assert first < min(names) <= first + 5
    assert {one.name for photo in names for one in found[photo]} == {"second line"}
    assert told(part, truth, names[0], gap_s, opened=("second line",)) == ()


@pytest.mark.parametrize("factor", [1.0, 1.6, 0.6])
def test_a_feed_that_stays_shut_as_the_front_passes_is_not_told(part, factor):
    job, links, _ = part
    truth = truth_s(job, links, factor=factor)
    gap_s = float(truth.max()) / PHOTOS
    assert [p for p in range(5, PHOTOS) if told(part, truth, p, gap_s)] == []


def whole(part, truth, photo, opened_s=None):
    """What is told of a run that ends at a photo."""
    job, links, shut_s = part
    photo_s = float(shut_s.max()) / PHOTOS * (np.arange(photo) + 1.0)
    seen = part_seen(links, truth, last_s=float(photo_s[-1]), noise_s=1.0)
    return seen_at_work(job, bring_on_plan(seen, links), photo_s, opened_s)


def test_a_run_is_looked_at_to_its_beginning(part):
    job, links, shut_s = part
    opens_s = passed_s(part, 340.0)
    truth, gap_s = truth_s(job, links, opens_s), float(shut_s.max()) / PHOTOS
    last = int(opens_s / gap_s) + 7
    assert told(part, truth, last, gap_s) == ()  # by then the last photos alone do not show it
    assert whole(part, truth, last) == {"second line"}
    opened = [opens_s if feed.name == "second line" else None for feed in job.plan.feeds]
    assert whole(part, truth, last, opened) == frozenset()


@pytest.mark.parametrize("factor", [1.0, 0.6])
def test_a_run_whose_later_feed_stays_shut_is_told_of_none(part, factor):
    job, links, _ = part
    assert whole(part, truth_s(job, links, factor=factor), PHOTOS - 4) == frozenset()


def test_with_no_later_feed_there_is_nothing_to_look_at(part):
    job = part[0]
    assert fill_without(job, ("second line",)) is None
