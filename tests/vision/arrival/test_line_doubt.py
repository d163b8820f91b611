"""How far off a line between photos may be, against runs drawn by chance."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from vision.arrival.line_doubt import LAW_SD, line_sd_mm
from vision.records import FrontDoubt

STEP_S, K = 30.0, 40.0
TIMES = np.arange(1, 9) * STEP_S


def doubt(start_sd_s=0.0, sd_mm=0.0):
    return FrontDoubt(start_sd_s, TIMES, np.sqrt(K * TIMES), np.full(len(TIMES), sd_mm))


def test_at_a_photo_only_the_photo_counts_where_the_start_is_known():
    assert_allclose(line_sd_mm(doubt(sd_mm=0.4), TIMES), 0.4)


def test_between_photos_the_front_may_advance_evenly_or_by_the_law():
    # Half-way to the first photo, x = X sqrt(1/2) by Darcy's law, X / 2 at an even pace.
    way = np.sqrt(K * STEP_S)
    wanted = LAW_SD * way * (np.sqrt(0.5) - 0.5)
    sd = line_sd_mm(doubt(), np.array([STEP_S / 2, 7.5 * STEP_S]))
    assert sd[0] == pytest.approx(wanted)
    assert sd[1] < 0.03 * sd[0]


@pytest.mark.parametrize("share", [0.5, 1.0, 2.0, 3.0])
def test_the_doubt_of_the_start_is_that_of_runs_begun_by_chance_about_it(share):
    # The photos show the front as it is, x = sqrt(K (clock - start)); the start is taken for 0.
    start_sd_s, rng = 3.0, np.random.default_rng(1)
    at = share * STEP_S
    errors = []
    for start_s in rng.normal(0.0, start_sd_s, 2000):
        seen = np.sqrt(K * (TIMES - start_s))
        drawn = np.sqrt(np.interp(at, np.r_[0.0, TIMES], np.r_[0.0, seen**2]))
        errors.append(drawn - np.sqrt(K * at))
    law = line_sd_mm(doubt(), np.array([at]))[0]
    told = np.sqrt(line_sd_mm(doubt(start_sd_s), np.array([at]))[0] ** 2 - law**2)
    assert told == pytest.approx(np.std(errors), rel=0.1)


def test_a_front_nobody_saw_has_no_line_to_doubt():
    still = FrontDoubt(1.0, TIMES - 500.0, np.zeros(len(TIMES)), np.full(len(TIMES), 0.1))
    assert np.isnan(line_sd_mm(still, np.array([10.0]))).all()


def test_a_front_that_falls_back_does_not_make_a_line_surer():
    back = FrontDoubt(2.0, TIMES, np.sqrt(K * TIMES) - 3.0 * (np.arange(8) == 4), np.ones(8))
    assert (line_sd_mm(back, np.linspace(1.0, 240.0, 50)) >= 0).all()
    assert line_sd_mm(back, TIMES[4:5])[0] >= 1.0
