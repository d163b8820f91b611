import numpy as np
import pytest

from vision.common.rounding import minutes, rounded, scientific


@pytest.mark.parametrize("decimals", [0, 1, 2])
def test_bounds_never_come_closer_by_rounding(decimals):
    rng = np.random.default_rng(0)
    for value in rng.uniform(-50, 50, 200):
        assert float(rounded(value, decimals, "down")) <= value + 1e-9
        assert float(rounded(value, decimals, "up")) >= value - 1e-9
        assert abs(float(rounded(value, decimals)) - value) <= 0.5 * 10.0**-decimals + 1e-9


def test_a_whole_number_stays_whatever_the_side():
    # 0.1 * 3 is 0.30000000000000004 in binary.
    assert rounded(0.1 * 3, 1, "up") == rounded(0.3, 1, "down") == "0.3"
    assert minutes(2400.0, "up") == minutes(2400.0, "down") == "40 min"
    assert scientific(1e-10, side="up") == scientific(1e-10, side="down") == "1.00e-10"


def test_zero_has_no_sign_and_infinity_is_never():
    assert rounded(-0.2, 0, "up") == "0"
    assert minutes(float("inf"), "up") == "never"
    assert rounded(float("nan")) == "not known"
