"""How late each cell is, and how sure that is."""

import numpy as np
import pytest

from analysis.infusion.beside.late import find_late
from tests.made_up.part_beside import filled, planned, seen_on


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    return planned(tmp_path_factory.mktemp("plain"))


def test_late_is_seen_less_planned_to_the_noise(plain):
    _, answer = plain
    time_s = answer.arrival_s[answer.filling.links.number >= 0]
    late = find_late(answer, seen_on(answer, time_s + 40.0)[1])
    assert late.late_s.mean() == pytest.approx(40.0, abs=0.5)
    assert not late.uneven.any()
    assert not late.beyond.any()


def test_the_plans_doubts_widen_with_the_time_and_hold_its_interval(plain):
    job, answer = plain
    late = find_late(answer, filled(job, answer)[1])
    last = int(np.argmax(late.planned_s))
    half = (answer.vented_time_high_s - answer.vented_time_low_s) / 2
    assert 1.96 * late.sd_s[last] == pytest.approx(half, rel=0.05)
    assert late.sd_s[np.argmin(late.planned_s)] < 0.1 * late.sd_s[last]


def test_dry_when_it_should_be_wet_is_late_by_at_least_that(plain):
    _, answer = plain
    time_s = answer.arrival_s[answer.filling.links.number >= 0]
    dry = time_s > 1000
    late = find_late(answer, seen_on(answer, np.where(dry, 1e6, time_s), last_s=2000.0)[1])
    due = dry & (time_s < 2000)
    assert late.at_least[due].all()
    assert late.late_s[due] == pytest.approx(2000.0 - time_s[due])
    assert np.isnan(late.late_s[time_s > 2000]).all()


def test_what_was_not_seen_is_not_compared(plain):
    job, answer = plain
    _, on = filled(job, answer, hidden=lambda x, y: x > 300)
    late = find_late(answer, on)
    centre = answer.filling.links.centre_mm[: on.links.cells]
    assert not late.compared[centre[:, 0] > 310].any()
    assert late.compared[centre[:, 0] < 290].all()


def test_too_little_seen_tells_no_pace(plain):
    job, answer = plain
    late = find_late(answer, filled(job, answer, factor=3.0, hidden=lambda x, y: x > 10)[1])
    assert not late.paced
    assert late.factor == 1.0
