import numpy as np
import pytest

from vision.records import FrontCurve

THREE = np.array([1.0, 2.0, 3.0])


def curve(**numbers):
    return FrontCurve.of("edge", ["a", "b", "c"], THREE, THREE > 1, ["", "", ""], **numbers)


def test_what_is_left_out_of_a_curve_is_not_a_number():
    made = curve(front_mean_mm=THREE)
    assert np.array_equal(made.front_mean_mm, THREE)
    assert np.isnan(made.front_sd_mm).all()
    assert np.isnan(made.angle_deg).all()
    assert made.used.tolist() == [False, True, True]


def test_a_curve_with_a_column_too_short_is_refused():
    with pytest.raises(ValueError, match="front_max_mm: must have one entry per frame"):
        curve(front_max_mm=THREE[:2])


def test_a_curve_with_an_unknown_column_is_refused():
    with pytest.raises(ValueError, match="front_mena_mm"):
        curve(front_mena_mm=THREE)
