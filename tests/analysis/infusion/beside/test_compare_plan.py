"""What a comparison holds and what it refuses."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.beside.compare_plan import compare
from tests.made_up.part_beside import filled, planned, seen_on
from vision.errors import WetlineError


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    return planned(tmp_path_factory.mktemp("plain"))


def test_a_place_is_found_with_its_size_and_time(plain):
    job, answer = plain
    links = answer.filling.links
    time_s, centre = answer.arrival_s[links.number >= 0], links.centre_mm[: links.cells]
    box = (np.abs(centre[:, 0] - 450) < 60) & (centre[:, 1] < 120)
    (patch,) = compare(job, answer, seen_on(answer, time_s + 300.0 * box)[1]).patches
    assert patch.late_s == pytest.approx(300.0, abs=10.0)
    assert patch.area_mm2 == pytest.approx(120 * 120, rel=0.1)
    assert (patch.x_mm, patch.y_mm) == pytest.approx((450.0, 60.0), abs=20.0)
    assert patch.where == "at the top right"
    assert not patch.beyond_plan


def test_the_share_compared_and_not_seen(plain):
    job, answer = plain
    found = compare(job, answer, filled(job, answer, hidden=lambda x, y: x > 300)[1])
    assert found.compared_share == pytest.approx(0.5, abs=0.02)
    assert found.unseen_share == pytest.approx(0.5, abs=0.02)


def test_nothing_seen_is_refused_with_the_mend(plain):
    job, answer = plain
    _, on = filled(job, answer)
    with pytest.raises(WetlineError, match=r"nothing of the part was seen: check \[scale\]"):
        compare(job, answer, replace(on, seen=np.zeros_like(on.seen)))


def test_noise_alone_makes_no_place(plain):
    job, answer = plain
    _, on = filled(job, answer, noise_s=20.0, sd_s=20.0)
    assert compare(job, answer, on).patches == ()
