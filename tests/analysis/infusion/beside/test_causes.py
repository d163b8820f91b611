"""Each pattern of early and late gets the cause that usually makes it, first or among the first.

The fields are fillings of a plan that differs from the one compared with in one thing, so the cause
is known. That such a pattern usually has such a cause is common practice, no source.
"""

from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.beside.compare_plan import compare
from analysis.part.answer.job import fill_part
from analysis.part.plan.plan import Gap
from tests.made_up.part_beside import LINE, POINT, ZONE, filled, planned, seen_on
from tests.made_up.parts.cases import CASES
from tests.made_up.parts.cut_offs import job_of
from tests.made_up.parts.made_part import true_filling
from tests.made_up.parts.scored import at_places
from tests.made_up.parts.troubles import ALIKE, GOOD, TROUBLES, seen_of

TWO = LINE + '\n\n[[feed]]\nname = "right line"\nline_mm = [[400, 0], [400, 300]]'
RACE = Gap(np.array([[0.0, 300.0], [600.0, 300.0]]), 4.0, 1.6e-7, 3.0)


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    return planned(tmp_path_factory.mktemp("plain"))


def cells_of(answer):
    """Return planned seconds and centres of the cells."""
    links = answer.filling.links
    return answer.arrival_s[links.number >= 0], links.centre_mm[: links.cells]


def names(patch):
    return [cause.name for cause in patch.causes]


def test_an_edge_where_resin_races_is_early_and_called_a_gap(plain):
    job, answer = plain
    _, on = filled(job, answer, replace(job.plan, gaps=(RACE,)))
    (patch,) = compare(job, answer, on).patches
    assert patch.late_s < 0
    assert patch.beyond_plan
    assert names(patch)[0] == "a gap that races along the edge"


def test_a_planned_gap_that_races_more_is_named(tmp_path):
    gap = "[[gap]]\nline_mm = [[0, 300], [600, 300]]\nwidth_mm = 0.4\n"
    job, answer = planned(tmp_path, more=gap)
    wider = replace(job.plan, gaps=(replace(job.plan.gaps[0], k_m2=30 * job.plan.gaps[0].k_m2),))
    found = compare(job, answer, filled(job, answer, wider)[1])
    early = [patch for patch in found.patches if patch.late_s < 0]
    assert names(early[0])[0] == "a planned gap that races more than planned"


def test_a_planned_gap_that_carries_nothing_is_called_closed(tmp_path):
    gap = "[[gap]]\nline_mm = [[0, 300], [600, 300]]\nwidth_mm = 2\n"
    job, answer = planned(tmp_path, more=gap)
    found = compare(job, answer, filled(job, answer, replace(job.plan, gaps=()))[1])
    late = [patch for patch in found.patches if patch.late_s > 0]
    assert "a planned gap that is closed" in names(late[0])


def test_a_denser_zone_is_named_with_what_lies_behind_it(tmp_path):
    job, answer = planned(tmp_path, more=ZONE)
    found = compare(job, answer, filled(job, answer, factors=(1.0, 0.5))[1])
    (patch,) = found.patches
    assert names(patch)[0] == "zone rib is denser than planned"
    assert found.whole == ()  # a place tells why: no leak is guessed at


def test_cloth_turned_by_a_quarter_is_called_turned(tmp_path):
    job, answer = planned(tmp_path, feed=POINT, k1=2e-10, k2=0.7e-10)
    turned = replace(job.plan, stack=replace(job.plan.stack, angle_deg=90.0))
    found = compare(job, answer, filled(job, answer, turned)[1])
    assert len(found.patches) == 4
    for patch in found.patches:
        assert names(patch)[0] == "cloth turned the wrong way"


def test_cloth_that_lies_as_planned_is_not_called_turned(tmp_path):
    job, answer = planned(tmp_path, feed=POINT, k1=2e-10, k2=0.7e-10)
    _, on = filled(job, answer, replace(job.plan, gaps=(RACE,)), factor=1.2)
    for patch in compare(job, answer, on).patches:
        assert "cloth turned the wrong way" not in names(patch)


@pytest.mark.parametrize("watched", [1.2, 100.0])
def test_a_shut_feed_is_named_whether_resin_came_round_or_not(tmp_path, watched):
    job, answer = planned(tmp_path, feed=TWO)
    alone = replace(job.plan, feeds=job.plan.feeds[:1])
    _, on = filled(job, answer, alone, last_s=answer.vented_time_s * watched)
    found = compare(job, answer, on)
    assert found.feeds[1].state == ("never wet" if watched < 2 else "late")
    late = max(found.patches, key=lambda patch: patch.late_s)
    assert names(late)[0] == "a feed that is shut or blocked"
    assert "right line" in late.causes[0].why
    assert late.at_least == (watched < 2)


def test_a_dry_island_that_resin_went_past_is_called_a_leak_or_cut_off(plain):
    job, answer = plain
    time_s, centre = cells_of(answer)
    island = np.hypot(*(centre - (540.0, 270.0)).T) < 40
    _, on = seen_on(answer, np.where(island, 1e6, time_s), last_s=time_s.max() * 1.1)
    (patch,) = compare(job, answer, on).patches
    assert patch.at_least
    assert names(patch)[:2] == ["a leak", "air that is cut off"]


def test_what_lies_ahead_of_the_front_is_no_dry_island(plain):
    job, answer = plain
    _, on = filled(job, answer, last_s=answer.vented_time_s / 2)
    assert compare(job, answer, on).patches == ()


def test_a_place_late_from_a_corner_on_is_called_pressed_or_bridged(tmp_path):
    job, answer = planned(tmp_path, more=ZONE)
    time_s, centre = cells_of(answer)
    behind = (centre[:, 0] > 350) & (np.abs(centre[:, 1] - 150) < 60)
    _, on = seen_on(answer, time_s + 300.0 * behind)
    (patch,) = compare(job, answer, on).patches
    assert names(patch)[0].startswith("cloth pressed too tight")
    assert "zone's border" in patch.causes[0].why


def test_early_from_a_zone_border_on_is_called_bridging(tmp_path):
    job, answer = planned(tmp_path, more=ZONE)
    time_s, centre = cells_of(answer)
    step = np.exp(-(((centre[:, 0] - 350) / 30) ** 2)) * (np.abs(centre[:, 1] - 150) < 80)
    _, on = seen_on(answer, time_s - 350.0 * step)
    (patch,) = compare(job, answer, on).patches
    assert "bridging" in names(patch)


def test_resin_from_elsewhere_is_a_stray_and_named(plain):
    job, answer = plain
    time_s, centre = cells_of(answer)
    other = 300 + np.hypot(*(centre - (450.0, 150.0)).T) ** 2 / 10
    found = compare(job, answer, seen_on(answer, np.minimum(time_s, other))[1])
    (stray,) = found.strays
    assert np.hypot(stray.x_mm - 450, stray.y_mm - 150) < 30
    assert names(found.patches[0])[0] == "resin from somewhere else"


def test_a_feed_that_opens_early_is_named(tmp_path):
    job, answer = planned(tmp_path, feed=TWO + "\nopens_at_s = 500")
    early = replace(job.plan, feeds=(job.plan.feeds[0], replace(job.plan.feeds[1], opens_at_s=0.0)))
    found = compare(job, answer, filled(job, answer, early)[1])
    assert found.feeds[1].state == "early"
    assert any("a feed that opened early" in names(patch) for patch in found.patches)
    assert found.strays == ()  # a planned feed sent it


def test_nothing_in_the_plan_there_is_said_to_be_so(plain):
    job, answer = plain
    time_s, centre = cells_of(answer)
    spot = np.hypot(*(centre - (300.0, 150.0)).T) < 50
    (patch,) = compare(job, answer, seen_on(answer, time_s + 250.0 * spot)[1]).patches
    assert patch.causes[0].vague
    assert "nothing in the plan" in patch.causes[0].why


@pytest.mark.parametrize("name", ["hole", "later_shadow", "gap_drift"])
def test_against_another_solver_a_good_run_names_nothing_and_a_wider_gap_itself(name):
    # Truth by finite elements (sample_frames/_part_flow.py), with noise.
    case, filled_s = CASES[name], true_filling(name)
    job = job_of(case.planned)
    answer = fill_part(job)
    links = answer.filling.links
    x, y = links.centre_mm[: links.cells].T
    noise = 0.004 * filled_s.fill_s
    found = compare(
        job, answer, seen_on(answer, at_places(filled_s, x, y), sd_s=noise, noise_s=noise)[1]
    )
    assert found.whole == ()
    assert found.strays == ()
    if case.true is case.planned:
        assert found.patches == ()
    else:
        assert names(found.patches[0])[0] == "a planned gap that races more than planned"


FIRST_OR_SECOND = {
    "shut feed": "a feed that is shut or blocked",
    "cold resin": "colder resin, or resin mixed earlier",
    "falling vacuum": "a leak, so that the vacuum falls",
    "held dry": "a leak",
    "bridged corner": "bridging",
    "bridged hatch": "bridging",
    "bridged rib": "bridging",
    "turned cloth": "cloth turned the wrong way",
    "turned zone": "cloth turned the wrong way",
    "turned, one way": "cloth turned the wrong way",
}


@pytest.mark.parametrize("name", FIRST_OR_SECOND)
def test_against_another_solver_the_right_cause_is_among_the_first_two(name):
    job, answer, on = seen_of(TROUBLES[name])
    found = compare(job, answer, on)
    largest = [names(found.patches[0])[:2]] if found.patches else []
    assert any(FIRST_OR_SECOND[name] in said for said in [named(found.whole), *largest])
    assert found.slowing is (name == "falling vacuum")


@pytest.mark.parametrize("share", [0.5, 0.75])
def test_against_another_solver_a_falling_vacuum_is_told_from_half_time_on(share):
    job, answer, on = seen_of(replace(TROUBLES["falling vacuum"], share=share))
    found = compare(job, answer, on)
    assert found.slowing
    assert named(found.whole)[0] == "a leak, so that the vacuum falls"


@pytest.mark.parametrize("share", [0.3, 0.5, 0.75])
@pytest.mark.parametrize("name", ["angle", "hatch"])
def test_against_another_solver_cloth_that_is_uneven_is_no_falling_vacuum(name, share):
    good = GOOD[name]
    job, answer, on = seen_of(replace(good, true=replace(good.true, log_sd=0.1), share=share))
    assert not compare(job, answer, on).slowing


@pytest.mark.parametrize(
    ("name", "both"),
    [
        ("race from a corner", {"bridging", "a gap that races along the edge"}),
        (
            "turned zone, one way",
            {"zone doubler is denser than planned", "cloth turned the wrong way"},
        ),
    ],
)
def test_against_another_solver_causes_that_look_alike_are_named_both(name, both):
    job, answer, on = seen_of(ALIKE[name])
    assert both <= set(names(compare(job, answer, on).patches[0]))


def named(causes):
    return [cause.name for cause in causes][:2]


@pytest.mark.parametrize("name", GOOD)
def test_against_another_solver_a_run_as_planned_names_nothing(name):
    job, answer, on = seen_of(GOOD[name])
    found = compare(job, answer, on)
    assert (found.patches, found.whole, found.strays, found.slowing) == ((), (), (), False)
