"""A run as a curve that rises."""

import numpy as np
import pytest

from analysis.runs.panels.good_run import read_reference, reference_from
from vision.errors import WetlineError


def test_before_the_start_and_standstill_are_left_out_but_the_end_is_known():
    run = reference_from(
        "a",
        np.array([-10.0, 0.0, 10.0, 20.0, 30.0, 40.0]),
        np.array([0.0, 0.0, 5.0, 12.0, 12.0, 11.0]),
    )
    np.testing.assert_array_equal(run.time_s, [0, 10, 20])
    np.testing.assert_array_equal(run.front_mm, [0, 5, 12])
    assert run.last_s == 40.0
    np.testing.assert_allclose(run.passed_s(np.array([2.5, 12.0, 12.1])), [5.0, 20.0, np.nan])


def test_a_run_that_never_moved_is_refused():
    with pytest.raises(WetlineError, match="no moving front"):
        reference_from("dry", np.arange(9.0), np.zeros(9))


def test_a_folder_that_was_not_tracked_is_named(tmp_path):
    with pytest.raises(WetlineError, match=r"front\.csv"):
        read_reference(tmp_path)
