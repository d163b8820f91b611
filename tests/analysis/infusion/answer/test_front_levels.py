"""Front lines of parts of any outline."""

import numpy as np
import pytest

from analysis.infusion.answer.front_levels import front_levels

X, Y = np.arange(5.0, 400, 10), np.arange(195.0, 0, -10)  # y runs up


def test_a_line_lies_where_the_front_was(tmp_path):
    time_s = np.repeat((X**2 / 100)[None], len(Y), axis=0)
    (line,) = front_levels(time_s, X, Y, [400.0])
    assert line.points_mm[:, 0] == pytest.approx(200.0, abs=0.5)
    assert sorted(line.points_mm[[0, -1], 1]) == [5.0, 195.0]
    assert line.seen.all()


def test_a_line_ends_at_a_hole_and_at_the_outline():
    time_s = np.repeat((X**2 / 100)[None], len(Y), axis=0)
    time_s[8:12, 15:25] = np.nan
    lines = front_levels(time_s, X, Y, [400.0])
    assert len(lines) == 2
    for line in lines:
        assert (np.abs(line.points_mm[:, 1] - 100) > 15).all()


def test_no_line_where_all_is_dry_or_before_the_start():
    dry = np.full((20, 40), np.inf)
    assert front_levels(dry, X, Y, [100.0]) == []
    wet = np.repeat((X**2 / 100)[None], len(Y), axis=0)
    assert front_levels(wet, X, Y, [0.0, -5.0, 1e9]) == []
    assert front_levels(np.full((20, 40), np.nan), X, Y, [100.0]) == []


def test_a_line_keeps_off_what_is_dry_and_tells_what_was_not_seen():
    time_s = np.repeat((X**2 / 100)[None], len(Y), axis=0)
    time_s[:, X > 250] = np.inf
    seen = np.ones(time_s.shape, bool)
    seen[:10] = False
    (line,) = front_levels(time_s, X, Y, [500.0], seen)
    assert line.points_mm[:, 0].max() < 250
    assert not line.seen[line.points_mm[:, 1] > 110].any()
    assert line.seen[line.points_mm[:, 1] < 90].all()
