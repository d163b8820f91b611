"""When the front of a run that goes on will be at its end."""

import numpy as np
import pytest

from analysis.fit.permeability import fit_permeability
from analysis.watch.end_forecast import forecast_end, speed_mm_min, without_last
from tests.made_up.curves import D_M2_S, edge_front_mm, make_curve, make_panel, make_tracked


def run_until(last_s, feed_length_m=0.0):
    times = np.linspace(20.0, last_s, 40)
    x = edge_front_mm(times, feed_length_m=feed_length_m)
    x = x + np.random.default_rng(2).normal(0, 0.3, len(times))
    return fit_permeability(make_panel(), make_tracked(make_curve(times, x, 0.3))), x[-1] / 1000.0


@pytest.mark.parametrize("feed_length_m", [0.0, 0.05])
def test_the_end_of_a_run_that_goes_on_follows_from_its_past(feed_length_m):
    # 0.6 m: (L^2 + 2 a L) / D, Darcy's law with a feed that resists.
    fit, now_m = run_until(900.0, feed_length_m)
    end = forecast_end(fit, 0.6, now_m)
    truth = (0.36 + 1.2 * feed_length_m) / D_M2_S
    assert end.end_s == pytest.approx(truth, rel=0.03)
    assert end.low_s < truth < end.high_s
    assert end.length_mm == 600.0
    assert end.front_mm[-1] == pytest.approx(600.0)
    assert np.all(end.early_s <= end.middle_s)
    assert np.all(end.middle_s <= end.late_s)


def test_the_band_narrows_as_the_run_goes_on():
    bands = [forecast_end(*run_until(t)[:1], 0.6, run_until(t)[1]) for t in (500.0, 1500.0)]
    early, late = ((b.high_s - b.low_s) / b.end_s for b in bands)
    assert late < 0.8 * early


def test_a_front_that_slows_without_need_marks_its_forecast():
    times = np.linspace(20.0, 1200.0, 60)
    driven = np.minimum(times, 700.0) + 80.0 * -np.expm1(-np.maximum(times - 700.0, 0.0) / 80.0)
    x = edge_front_mm(driven) + np.random.default_rng(6).normal(0, 0.3, len(times))
    fit = fit_permeability(make_panel(), make_tracked(make_curve(times, x, 0.3)))
    assert forecast_end(fit, 0.6, x[-1] / 1000.0).slowing
    assert not forecast_end(*run_until(900.0)[:1], 0.6, run_until(900.0)[1]).slowing


def test_the_last_frames_of_a_curve_can_be_left_out():
    curve = make_curve(np.arange(5.0), np.arange(5.0))
    short = without_last(curve, 2)
    assert short.time_s.tolist() == [0.0, 1.0, 2.0]
    assert len(short.frames) == len(short.notes) == len(short.used) == 3
    assert without_last(curve, 0) is curve
    assert len(without_last(curve, 9).time_s) == 0


def test_speed_needs_three_readings():
    assert speed_mm_min(np.array([0.0, 1.0]), np.array([0.0, 1.0])) is None
