"""A part slower or quicker as a whole, and one whose front falls behind more and more."""

import pytest

from analysis.infusion.beside.compare_plan import compare
from tests.made_up.part_beside import filled, planned, seen_on


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    return planned(tmp_path_factory.mktemp("plain"))


@pytest.mark.parametrize(
    ("factor", "causes"),
    [
        (1.0, []),
        (1.15, []),  # the plan's own doubts allow it
        (1.6, ["colder resin, or resin mixed earlier", "less vacuum"]),
        (0.6, ["warmer resin", "a looser stack than on the test panel"]),
    ],
)
def test_all_late_by_one_factor_is_cold_or_little_vacuum_and_no_place(plain, factor, causes):
    job, answer = plain
    found = compare(job, answer, filled(job, answer, factor=factor)[1])
    assert [cause.name for cause in found.whole] == causes
    assert found.patches == ()
    assert found.late.factor == pytest.approx(factor, rel=0.01)
    assert found.pace_beyond_plan == bool(causes)
    assert not found.slowing


def test_a_front_that_falls_behind_more_and_more_is_a_leak_or_thick_resin(plain):
    job, answer = plain
    links = answer.filling.links
    time_s = answer.arrival_s[links.number >= 0]
    found = compare(job, answer, seen_on(answer, time_s * (1 + 0.6 * time_s / time_s.max()))[1])
    assert found.slowing
    assert [cause.name for cause in found.whole][:2] == [
        "a leak, so that the vacuum falls",
        "resin that thickens sooner than planned",
    ]
