"""What the board works out: alarms, bands of good runs, the drawdown."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.panel.gauge_readings import add_reading, read_readings
from analysis.watch.alarms import Situation, alarms_for
from analysis.watch.board import (
    Board,
    Front,
    Gel,
    Numbers,
    clock_text,
    end_text,
    gel_text,
    margin_s,
    overdue,
)
from analysis.watch.end_forecast import EndForecast, speed_mm_min
from analysis.watch.gauge import drawdown_text, vacuum_lost
from analysis.watch.reference import band_mm, compare, reference_from
from analysis.watch.terminal import board_lines
from vision.errors import WetlineError

START_S = 1_933_000_000.0


def test_alarms_say_what_and_what_to_do():
    calm = Situation(running=True, elapsed_s=100.0, reached_mm=150.0, gel_s=900.0, working_s=600.0)
    assert alarms_for(calm) == []
    cases = {
        "lost": {"lost": True},
        "frozen": {"frozen": True},
        "moved": {"camera_note": "camera moved by about 3.0 mm"},
        "glare": {"hidden": 0.8},
        "vacuum": {"vacuum_lost": 0.3},
        "stall": {"stalled_at_mm": 120.0},
        "race": {"racing_mm": 60.0},
        "gel": {"end_s": 1000.0},
        "tight": {"end_s": 500.0, "end_high_s": 700.0},
        "silent": {"silence_s": 60.0},
        "disk": {"store_fault": "no room"},
        "space": {"space": "100 MB left"},
        "beside": {"beside": "40 mm behind"},
        "filled": {"filled": True},
        "overdue": {"overdue": True},
    }
    for key, values in cases.items():
        (alarm,) = alarms_for(replace(calm, **values))
        assert alarm.key == key
        assert len(alarm.text) > 8
        assert len(alarm.todo) > 5
    assert alarms_for(replace(calm, ended=True, lost=True)) == []


def test_gel_passed_is_the_first_alarm():
    now = Situation(running=True, elapsed_s=950.0, gel_s=900.0, racing_mm=60.0, reached_mm=100.0)
    assert [a.key for a in alarms_for(now)] == ["gel", "race"]


def forecast_board(reached_s=None):
    """A board whose front should be at the end at 10:00, from 9:30 to 11:00 of the clock."""
    none = np.zeros(0)
    end = EndForecast(300.0, 600.0, 570.0, 660.0, none, none, none, none)
    front = Front(200.0, 190.0, 210.0, 1.0, True, 5.0, 300.0, reached_s is not None)
    numbers = Numbers(front, np.array([60.0]), np.array([100.0]), end, reached_s)
    return Board("strip", numbers=numbers, gel=Gel(900.0, 630.0))


@pytest.mark.parametrize(
    ("elapsed_s", "end", "gel"),
    [
        (300.0, "in 5:00 (at 10:00; 95 %: 9:30 to 11:00)", "in 10:00, 5:00 after the end"),
        (585.0, "in 0:15 (95 %: by 11:00)", "in 5:15, 5:00 after the end"),
        (630.0, "due now (95 %: by 11:00)", "in 4:30, 4:30 after the end"),
        (661.0, "OVERDUE: was to be there by 11:00 at the latest (95 %)", "in 3:59"),
        (930.0, "OVERDUE: was to be there by 11:00 at the latest (95 %)", "PASSED 0:30 ago"),
    ],
)
def test_no_time_that_has_passed_is_shown_as_one_to_come(elapsed_s, end, gel):
    board = forecast_board()
    assert end_text(board, elapsed_s) == end
    assert gel_text(board, elapsed_s) == gel
    assert overdue(board, elapsed_s) == end.startswith("OVERDUE")
    assert "-" not in "".join(board_lines(board, elapsed_s)[1:])


def test_a_front_at_the_end_is_never_overdue():
    board = forecast_board(reached_s=640.0)
    assert not overdue(board, 5000.0)
    assert end_text(board, 5000.0) == "reached at 10:40"
    assert margin_s(board, 5000.0) == 260.0


def test_speed_needs_three_readings():
    assert speed_mm_min(np.array([0.0, 1.0]), np.array([0.0, 1.0])) is None


def test_band_of_few_runs_follows_from_the_spread_of_permeability():
    # x goes as the root of K, so 8 % in K is 4 % in x; 1.96 sd of one more run after one run.
    t = np.linspace(1.0, 900.0, 200)
    one = reference_from("a", t, np.sqrt(100.0 * t))
    mean, low, high = band_mm([one], np.array([400.0]), 0.08)
    assert mean[0] == pytest.approx(200.0, abs=0.5)
    assert high[0] - mean[0] == pytest.approx(1.96 * 0.04 * 200.0 * np.sqrt(2.0), rel=0.01)
    assert mean[0] - low[0] == pytest.approx(high[0] - mean[0])


def test_band_of_many_runs_is_a_prediction_interval():
    # Student's t for 4 degrees of freedom at 97.5 %: 2.776 (handbook table, from memory).
    t = np.linspace(1.0, 900.0, 200)
    runs = [reference_from(str(k), t, np.sqrt(k * t)) for k in (90.0, 95.0, 100.0, 105.0, 110.0)]
    fronts = np.sqrt(np.array([90.0, 95.0, 100.0, 105.0, 110.0]) * 400.0)
    mean, _, high = band_mm(runs, np.array([400.0]), 0.08)
    half = 2.776 * fronts.std(ddof=1) * np.sqrt(1.2)
    assert high[0] - mean[0] == pytest.approx(half, rel=0.01)


def test_run_beside_a_good_one():
    t = np.linspace(1.0, 900.0, 400)
    good = reference_from("good", t, np.sqrt(100.0 * t))
    beside = compare([good], 400.0, 180.0, 0.08)
    # The good run was at 180 mm at 324 s: 76 s, 1.3 min behind.
    assert beside.ahead_mm == pytest.approx(-20.0, abs=0.3)
    assert beside.ahead_min == pytest.approx(-76 / 60, abs=0.03)
    assert beside.inside
    assert "behind the good run" in beside.text
    assert not compare([good], 400.0, 150.0, 0.08).inside
    assert compare([good], 2000.0, 150.0, 0.08) is None
    with pytest.raises(WetlineError, match="no moving front"):
        reference_from("dry", t, np.zeros_like(t))


def test_gauge_readings_make_a_drawdown(tmp_path):
    for k in range(8):
        add_reading(tmp_path, START_S + 180.0 * k, 5.0 + 0.5 * k)
    readings = read_readings(tmp_path)
    verdict, text = drawdown_text(readings, None)
    # 0.5 mbar each 3 min is 3.3 mbar in 20 min, within 10.
    assert verdict == "go"
    assert "3.3 mbar in 20 min" in text
    assert drawdown_text(readings[:2], None)[0] == ""
    with pytest.raises(WetlineError, match="mbar absolute"):
        add_reading(tmp_path, START_S, -5.0)


def test_vacuum_lost_is_a_share_of_the_pull():
    readings = [(0.0, 10.0), (100.0, 20.0), (200.0, 111.0)]
    # From 10 to 111 mbar of 1013: 101 of 1003.
    assert vacuum_lost(readings, 50.0, 1013.0) == pytest.approx(101 / 1003)
    assert vacuum_lost(readings, None, 1013.0) == 0.0
    assert vacuum_lost(readings[:1], 50.0, 1013.0) == 0.0


def test_clock_text_of_never():
    assert clock_text(float("inf")) == "never"
