"""Feeds as seen, and resin that no feed can have sent."""

import numpy as np
import pytest

from analysis.infusion.beside.compare_plan import compare
from tests.made_up.part_beside import LINE, filled, planned, seen_on

LATER = LINE + '\n\n[[feed]]\nname = "right line"\nline_mm = [[400, 0], [400, 300]]\n'


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    return planned(tmp_path_factory.mktemp("plain"))


def states(found):
    return [feed.state for feed in found.feeds]


@pytest.mark.parametrize(
    ("seen", "state"),
    [
        ({}, "as planned"),
        ({"last_s": 300.0}, "not yet due"),
        ({"hidden": lambda x, y: np.abs(x - 400) < 12}, "as planned"),  # the cloth beside it tells
        ({"hidden": lambda x, y: np.abs(x - 400) < 60}, "not seen"),
    ],
)
def test_a_later_feed_is_told_as_far_as_it_is_known(tmp_path, seen, state):
    job, answer = planned(tmp_path, feed=LATER + 'opens_when = "wet"')
    assert states(compare(job, answer, filled(job, answer, **seen)[1])) == ["as planned", state]


def test_a_later_feed_that_opens_as_planned_is_no_stray(tmp_path):
    job, answer = planned(tmp_path, feed=LATER + "opens_at_s = 200")
    found = compare(job, answer, filled(job, answer)[1])
    assert states(found) == ["as planned", "as planned"]
    assert found.strays == ()


def test_a_brief_or_tiny_island_is_no_stray(plain):
    job, answer = plain
    links = answer.filling.links
    time_s, centre = answer.arrival_s[links.number >= 0], links.centre_mm[: links.cells]
    tiny = np.hypot(*(centre - (450.0, 150.0)).T) < 9
    brief = np.where(np.abs(centre[:, 0] - 450) < 30, time_s - 60.0, time_s)
    for arrival_s in (np.where(tiny, 200.0, time_s), brief):
        assert compare(job, answer, seen_on(answer, arrival_s)[1]).strays == ()


def test_resin_that_comes_out_of_a_hidden_place_is_no_stray(plain):
    job, answer = plain
    _, on = filled(job, answer, hidden=lambda x, y: (x > 250) & (x < 350))
    assert compare(job, answer, on).strays == ()
