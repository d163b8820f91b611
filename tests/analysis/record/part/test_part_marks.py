"""What the front did at a mark on a part."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from analysis.infusion.kept.kept_run import KeptArrival
from analysis.record.day.day_records import Mark
from analysis.record.day.mark_flow import NOT_MEASURED
from analysis.record.part.part_marks import flow_on_part, part_marks_figure
from tests.made_up.part_beside import planned

SPEED_MM_S = 0.25


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    return planned(tmp_path_factory.mktemp("plan"))


def arrival(last_s=2000.0):
    """A front that runs along x at 15 mm/min over a part of 600 by 300 mm, seen at 4 mm."""
    x, y = np.arange(2.0, 600.0, 4.0), np.arange(2.0, 300.0, 4.0)
    time_s = np.repeat((x / SPEED_MM_S)[None], len(y), axis=0)
    inside = np.ones(time_s.shape, bool)
    time_s = np.where(time_s > last_s, np.inf, time_s)
    return KeptArrival(x, y, inside, time_s, np.full_like(time_s, 6.0), inside.copy(), last_s, 1.0)


def test_when_it_wetted_when_it_was_planned_and_how_fast(plan):
    found = flow_on_part(Mark("pit", 300.0, 150.0), arrival(), plan[1])
    assert found.time_s == pytest.approx(300.0 / SPEED_MM_S, rel=0.02)
    assert found.speed_mm_min == pytest.approx(15.0, rel=0.01)
    assert found.words.startswith("wetted at 20.")
    # The plan: x^2 = 2 K dp t / (porosity viscosity), 1e-10 m2, 0.9 bar, 0.5, 0.3 Pa s.
    due_min = 0.3**2 * 0.5 * 0.3 / (2 * 1e-10 * 90000.0) / 60
    told = float(found.words.split("planned ")[1].split(" min")[0])
    assert told == pytest.approx(due_min, rel=0.05)


def test_dry_hidden_and_unmeasured_places_say_so(plan):
    seen = arrival(last_s=1000.0)
    dry = flow_on_part(Mark("dry area", 500.0, 150.0), seen, plan[1])
    assert dry.time_s is None
    assert "still dry when last seen, at 16.7 min" in dry.words
    hidden = replace(seen, seen=np.zeros_like(seen.seen))
    told = flow_on_part(Mark("pit", 100.0, 150.0), hidden, plan[1])
    assert told.time_s is None
    assert "hidden from the camera" in told.words
    assert "about 7 min" in told.words
    nothing = flow_on_part(Mark("pit", 500.0, 150.0), hidden, plan[1])
    assert "about" not in nothing.words
    assert flow_on_part(Mark("pit", 1.0, 1.0), None, plan[1]).words == NOT_MEASURED


def test_the_picture_shows_marks_with_and_without_a_measured_front(plan):
    job, answer = plan
    marks = [flow_on_part(Mark("pit", 300.0, 150.0), arrival(), answer)]

    def pixels(png):
        return cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_COLOR).astype(int)

    seen = arrival(last_s=1200.0)
    with_mark = pixels(part_marks_figure(job.plan, seen, marks))
    without = pixels(part_marks_figure(job.plan, seen, []))
    changed = np.abs(with_mark - without).max(axis=2) > 60
    assert 20 < changed.sum() < 0.01 * changed.size
    blank = pixels(part_marks_figure(job.plan, None, marks))
    assert (blank.min(axis=2) > 250).mean() > (with_mark.min(axis=2) > 250).mean() + 0.2
