"""The verdict on a part, and what would make it fill."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.fit.impulse import constant_impulse
from analysis.panel.records import Resin, Vacuum
from analysis.part.answer.clock import Clock
from analysis.part.answer.verdict import PartTimes, changes, judge_part
from analysis.part.flow.trapped import TrappedAir

AIR = (TrappedAir(300.0, 40.0, ((300.0, 40.0), (120.0, 60.0)), 2.0e4, 1e8),)
RESIN = Resin(viscosity_pa_s=0.3, gel_time_s=3000.0)
NEVER = PartTimes(np.inf, 3000.0, np.inf)


def clock(gel_s=6000.0, gel_sd=0.0):
    working = None if gel_s is None else 0.7 * gel_s
    return Clock(constant_impulse(95_000.0, 0.3), gel_s, working, 1150.0, 0.02, gel_sd)


CASES = [
    (PartTimes(2000.0, 1500.0, 4000.0), 0.0, (), "fills", False),
    (PartTimes(2000.0, 1500.0, 4300.0), 0.0, (), "tight", False),
    (PartTimes(4000.0, 3000.0, 6100.0), 0.0, (), "tight", True),
    # ln(6000/4000) = 0.405 is more than ln(5300/4000) = 0.28 alone, and less than it and the gel
    # time's 1.96 * 0.2 together.
    (PartTimes(4000.0, 3000.0, 5300.0), 0.2, (), "tight", True),
    (PartTimes(6100.0, 5000.0, 7000.0), 0.0, (), "gels first", False),
    (NEVER, 0.0, (), "gels first", False),
    (PartTimes(2000.0, 1500.0, 4000.0), 0.0, AIR, "traps air", False),
    (PartTimes(4000.0, 3000.0, 6100.0), 0.0, AIR, "traps air", True),
    (PartTimes(6100.0, 5000.0, 7000.0), 0.0, AIR, "gels first", False),
    (NEVER, 0.0, AIR, "gels first", False),
]


@pytest.mark.parametrize(("times", "gel_sd", "trapped", "word", "may"), CASES)
def test_the_word_follows_from_times_gel_and_air(times, gel_sd, trapped, word, may):
    found = judge_part(clock(gel_sd=gel_sd), times, trapped, 2.0e5)
    assert (found.word, found.may_gel_first) == (word, may)


def test_trapped_air_is_told_with_share_and_places_whatever_the_word():
    for times in (PartTimes(2000.0, 1500.0, 4000.0), PartTimes(6100.0, 5000.0, 7000.0), NEVER):
        reason = judge_part(clock(), times, AIR, 2.0e5).reason
        assert "10 % of the part" in reason
        assert "(x 300, y 40), (x 120, y 60)" in reason


def test_without_a_gel_time_nothing_is_decided_but_trapped_air_is():
    times = PartTimes(2000.0, 1500.0, 4000.0)
    assert judge_part(clock(None), times, (), 2.0e5).word == "cannot decide"
    assert judge_part(clock(None), times, AIR, 2.0e5).word == "traps air"


def test_bounds_are_rounded_away_from_the_estimate():
    # 50.4 min at most, 46.67 min of working time.
    reason = judge_part(clock(4000.0), PartTimes(2000.0, 1500.0, 3024.0), (), 1e5).reason
    assert "up to 51 min" in reason
    assert "working time is 46 min" in reason


def by_name(found):
    return {change.name: change for change in found}


def test_changes_name_how_far_to_go_and_only_what_can_be_had():
    vacuum, base = Vacuum(80_000.0), Clock(constant_impulse(80_000.0, 0.3), 3000.0, 2100.0, 1150.0)
    had = 2100.0 * 80_000.0 / 0.3
    assert changes(base, had, vacuum, RESIN) == ()
    near = by_name(changes(base, 1.1 * had, vacuum, RESIN))
    assert near["vacuum"].enough
    assert "880 mbar" in near["vacuum"].say
    assert "55 min" in near["slower hardener"].say  # 1.1 x 50 min
    assert "272 mPa s" in near["thinner resin"].say  # 300 / 1.1, rounded down
    far = by_name(changes(base, 9.0 * had, vacuum, RESIN))
    assert not any(change.enough for change in far.values())
    assert "none" not in far["vacuum"].say
    assert "gains 25 %" in far["vacuum"].say  # 1003 over 800 mbar
    assert "no hardener that is sold" in far["slower hardener"].say
    assert "no infusion resin" in far["thinner resin"].say
