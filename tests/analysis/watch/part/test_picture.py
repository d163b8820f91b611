"""The picture of a part's board: what is drawn, and where."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.outlook.numbers import planned_forecast
from analysis.watch.part.picture import PartPicture, draw_part, hatching
from tests.made_up.part_board import cut_off
from tests.made_up.part_seen import part_seen
from tests.made_up.parts.cut_offs import flow_case, job_of

PX_PER_MM, EDGE_PX = 1.5, 60.0


@pytest.fixture(scope="module")
def job():
    return job_of(flow_case("good", "plain")[0])


@pytest.fixture(scope="module")
def planned(job):
    return planned_forecast(job)


def picture(job, planned, share=0.5, hidden=None, **more):
    """A grey photo that shows the part at 1.5 px per mm."""
    seen = part_seen(
        planned.links,
        planned.arrival_s,
        last_s=share * float(planned.arrival_s.max()),
        hidden=hidden,
    )
    plane = np.array([[PX_PER_MM, 0.0, EDGE_PX], [0.0, PX_PER_MM, EDGE_PX], [0.0, 0.0, 1.0]])
    seen = replace(seen, homographies=np.repeat(plane[None], len(seen.frames), axis=0))
    grey = np.full((600, 840, 3), 120, np.uint8)
    return PartPicture(seen.frames[-1], grey, job.plan, planned, seen, **more)


def changed(parts, **more):
    return (draw_part(parts, **more) != 120).any(axis=2)


def test_both_fronts_stand_where_they_are(job, planned):
    parts = picture(job, planned)
    drawn = changed(parts)
    front_mm = 480.0 * np.sqrt(0.5 * parts.seen.used.sum() / len(parts.seen.used))
    column = drawn[100:480, :].mean(axis=0)
    at = np.flatnonzero(column > 0.6)
    near = at[(at > EDGE_PX + 60) & (at < EDGE_PX + 480 * PX_PER_MM - 60)]
    assert abs((near.mean() - EDGE_PX) / PX_PER_MM - front_mm) < 25.0


def test_what_was_not_seen_is_hatched_and_nothing_else(job, planned):
    parts = picture(job, planned, hidden=lambda x, y: (x > 300) & (y > 200))
    points = np.vstack(hatching(parts.seen))
    assert points[:, 0].min() > 290.0
    assert points[:, 1].min() > 190.0
    assert len(points) > 100
    assert hatching(picture(job, planned).seen) == []


def test_a_cut_off_is_marked_at_its_place(job, planned):
    plain = draw_part(picture(job, planned))
    marked = draw_part(picture(job, planned, cut_offs=(cut_off(),)))
    rows, cols = np.nonzero((plain != marked).any(axis=2))
    assert abs(np.median(cols) - (EDGE_PX + 400 * PX_PER_MM)) < 60
    assert abs(np.median(rows) - (EDGE_PX + 250 * PX_PER_MM)) < 60
    hidden = draw_part(picture(job, planned, cut_offs=(cut_off(hidden=True),)))
    assert np.array_equal(plain, hidden)


def test_a_photo_in_which_the_part_was_not_found_is_shown_alone(job, planned):
    parts = picture(job, planned)
    lost = np.full_like(parts.seen.homographies, np.nan)
    assert not changed(replace(parts, seen=replace(parts.seen, homographies=lost))).any()
    assert not changed(replace(parts, seen=None)).any()
    assert not changed(replace(parts, name="another.jpg")).any()


def test_it_is_no_wider_than_asked(job, planned):
    assert draw_part(picture(job, planned), 640, large=True).shape == (457, 640, 3)
