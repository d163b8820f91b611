"""How far the live front was from the final one; the final result itself is in test_run.py."""

import numpy as np
import pytest

from analysis.watch.final import difference_lines, live_error_mm
from tests.made_up.curves import make_curve, make_tracked
from vision.tracking.live_tracker import Reading

TRACKED = make_tracked(make_curve(np.arange(4.0) * 60.0, [0.0, 50.0, 80.0, 100.0]))


def readings(*fronts_mm):
    return [
        Reading(name=f"frame {k}", clock_s=1000.0 + 60.0 * k, front_mm=front)
        for k, front in enumerate(fronts_mm)
    ]


def test_frames_that_both_know_are_compared():
    live = [*readings(0.5, 51.0, 79.0), *readings(7.0)[:0]]
    assert live_error_mm(live, TRACKED).tolist() == [0.5, 1.0, -1.0]
    (line,) = difference_lines(live, TRACKED, 1000.0)
    assert line == "Live front against the final result: 0.9 mm apart (rms), at most 1.0 mm."


def test_a_live_front_that_was_far_off_is_told_with_its_time():
    (line,) = difference_lines(readings(0.0, 50.0, 92.0), TRACKED, 1000.0)
    assert line.endswith("most at 2.0 min (+12.0 mm). The final result counts.")


def test_nothing_in_common_is_said():
    (line,) = difference_lines([], TRACKED, 1000.0)
    assert "share no picture" in line
    assert live_error_mm([], TRACKED).size == pytest.approx(0)
