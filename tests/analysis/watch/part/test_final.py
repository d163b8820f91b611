"""How far the board was from the final result, in one line."""

import numpy as np
import pytest

from analysis.part.flow.filling import fill_plan
from analysis.watch.part.final import Told, difference_line
from tests.made_up.part_seen import part_seen
from tests.made_up.parts.cut_offs import flow_case, job_of
from tests.made_up.parts.scored import at_places


@pytest.fixture(scope="module")
def seen():
    world, filled, _ = flow_case("good", "plain")
    links = fill_plan(job_of(world).plan).links
    centre = links.centre_mm[: links.cells]
    return part_seen(links, at_places(filled, centre[:, 0], centre[:, 1]))


def told(seen, off, **more):
    values = {"end_s": 3000.0, "low_s": 2500.0, "high_s": 4000.0} | more
    return [
        Told(name, float(share) + off, **values)
        for name, share in zip(seen.frames, seen.wetted_share, strict=True)
    ]


def test_a_board_that_was_right_says_how_right(seen):
    line = difference_line(told(seen, 0.01), seen)
    assert "wet share 1.0 % of the part apart (rms), at most 1.0 %" in line
    assert "The final result counts" not in line


def test_one_that_was_off_says_that_the_final_result_counts(seen):
    assert difference_line(told(seen, 0.03), seen).endswith("The final result counts.")


def test_the_end_is_held_against_what_was_said_when_half_was_wet(seen):
    line = difference_line(told(seen, 0.0), seen)
    full = float(seen.time_s[seen.inside].max())
    minutes, seconds = divmod(int(full), 60)
    assert (
        f"; full at {minutes}:{seconds:02d}, said when half was wet: 50:00 (41:40 to 1:06:40)"
        in line
    )
    assert "full at" not in difference_line(told(seen, 0.0, high_s=np.inf), seen)


def test_no_picture_in_common_is_said(seen):
    assert "cannot be compared" in difference_line([Told("x.jpg", 0.5, 1.0, 1.0, 1.0)], seen)
    assert "cannot be compared" in difference_line([], seen)
