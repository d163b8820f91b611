"""A gauge log as a shop keeps it: columns, units, and the step of the gauge."""

import numpy as np
import pytest

from analysis.shop.gauge_log import gauge_step, read_gauge
from vision.common.quantity import INHG_MBAR
from vision.errors import WetlineError

MINUTES = np.linspace(0.0, 20.0, 41)


@pytest.mark.parametrize(
    ("header", "row", "unit", "mbar"),
    [
        ("time_min,bag_mbar", "30", None, 30.0),
        ("time_min,bag_kpa", "3", None, 30.0),
        ("time_min,vacuum_inhg", "-29", None, 1013.25 - 29 * 33.86389),
        ("time_min,vacuum_percent", "97", None, 0.03 * 1013.25),
        ("time_min,vacuum_mbar", "-980", None, 33.25),
        ("time_min,reading", "29", "inhg", 1013.25 - 29 * 33.86389),
    ],
)
def test_gauges(tmp_path, header, row, unit, mbar):
    path = tmp_path / "log.csv"
    path.write_text(f"{header}\n0,{row}\n1,{row}\n")
    log = read_gauge(path, unit)
    assert log.bag_mbar[0] == pytest.approx(mbar, abs=1e-3)
    assert log.time_s[1] == 60.0


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("time_min,bag_mbar\n0,1200\n1,1200\n", "above the air pressure"),
        ("time_min,bag_mbar\n0,-20\n1,-20\n", "below nothing"),
        ("time_min,reading\n0,20\n1,20\n", "--unit"),
        ("minutes,bag_mbar\n0,20\n1,20\n", "time_s or time_min"),
        ("time_min,colour\n0,20\n1,20\n", "needs a pressure column"),
        ("time_min,bag_mbar\n0,20\n0,20\n", "one row for each time"),
    ],
)
def test_bad_logs_get_one_line(tmp_path, text, says):
    path = tmp_path / "log.csv"
    path.write_text(text)
    with pytest.raises(WetlineError) as caught:
        read_gauge(path)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_log_of_the_shop_s_temperature_is_read(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("time_min,bag_mbar,temperature_c\n1,20.1,21\n0,20.0,20\n")
    assert read_gauge(path).temperature_c.tolist() == [20.0, 21.0]


@pytest.mark.parametrize("ambient", [float("nan"), 29.9, 1100.0])
def test_an_air_pressure_that_cannot_be_is_refused(tmp_path, ambient):
    with pytest.raises(WetlineError, match="--ambient-mbar"):
        read_gauge(tmp_path / "log.csv", None, ambient)


def test_the_step_of_the_gauge_is_read_off_the_readings(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("time_min,vacuum_inhg\n0,28.90\n1,28.80\n2,28.72\n4,28.60\n")
    assert read_gauge(path).step_mbar == pytest.approx(0.02 * INHG_MBAR)
    path.write_text("time_min,bag_mbar\n0,5\n1,5\n2,7.5\n3,7.5\n4,12.5\n")
    assert read_gauge(path).step_mbar == pytest.approx(2.5)


@pytest.mark.parametrize(
    ("times", "readings"),
    [((0, 1, 2, 3), (5.0, 7.5, 10.0, 12.5)), ((0, 1, 2, 4), (5.0, 7.5, 10.0, 15.0))],
)
def test_the_step_of_the_gauge_is_not_that_of_a_steady_rise(times, readings):
    # 2.5 mbar/min read each minute: the readings differ by whole 2.5 whatever the gauge can show.
    assert gauge_step(np.array(times, float), np.array(readings)) == pytest.approx(0.1)


def test_a_step_that_may_be_chance_is_not_believed():
    assert gauge_step(np.arange(3.0), np.array([10.0, 10.2, 10.8])) == pytest.approx(0.1)
    assert gauge_step(np.arange(2.0), np.array([10.0, 10.0])) == pytest.approx(1.0)


def test_a_step_is_that_of_the_last_decimal_where_nothing_else_tells():
    assert gauge_step(np.arange(3.0), np.array([5.25, 5.25, 5.25])) == pytest.approx(0.01)
    assert gauge_step(np.arange(4.0), np.array([10.0, 10.5, 11.0, 11.5])) == pytest.approx(0.1)


def test_a_vacuum_gauge_with_another_air_pressure(tmp_path):
    (tmp_path / "log.csv").write_text("time_min,vacuum_mbar\n0,900\n20,899\n")
    log = read_gauge(tmp_path / "log.csv", None, 950.0)
    assert log.ambient_mbar == 950.0
    assert log.bag_mbar.tolist() == [50.0, 51.0]
