import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.panel.tables.vacuum import read_vacuum_table
from vision.common.toml_table import Table
from vision.errors import WetlineError


def vacuum(folder, **values):
    table = Table(folder / "panel.toml", "vacuum", values)
    read, notes = read_vacuum_table(table)
    return read, notes, table


@pytest.mark.parametrize(
    ("values", "mbar"),
    [
        ({"pressure_difference_mbar": 930}, 930.0),
        ({"pressure_difference_mbar": "0.93 bar"}, 930.0),
        ({"ambient_mbar": 1000, "bag_mbar": 70}, 930.0),
        ({"ambient_mbar": "100 kPa", "bag_mbar": "7 kPa"}, 930.0),
        # 1 inHg = 33.86389 mbar, 1 mmHg = 1.333224 mbar (NIST SP 811, appendix B.8, from memory).
        ({"vacuum_gauge": "27 inHg"}, 27 * 33.86389),
        ({"vacuum_gauge": "700 mmHg"}, 700 * 1.333224),
        ({"vacuum_gauge": "-0.93 bar"}, 930.0),
        ({"vacuum_gauge": "0,93 bar"}, 930.0),
        ({"vacuum_gauge": "930 mbar"}, 930.0),
        ({"vacuum_gauge": "93 %", "ambient_mbar": 1000}, 930.0),
        ({"vacuum_gauge": "930 mbar", "bag_mbar": 75, "ambient_mbar": 1000}, 930.0),
    ],
)
def test_readings_as_shops_have_them(tmp_path, values, mbar):
    read, notes, table = vacuum(tmp_path, **values)
    assert read.pressure_pa == pytest.approx(mbar * 100, rel=1e-6)
    assert table.questions == []
    assert notes == []


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"pressure_difference_mbar": 80}, "bag_mbar = 80 for an absolute pressure"),
        ({"pressure_difference_mbar": 27}, 'vacuum_gauge = "27 inHg"'),
        ({"pressure_difference_mbar": 0.93}, 'vacuum_gauge = "0.93 bar"'),
        ({"pressure_difference_mbar": 93}, 'vacuum_gauge = "93 %"'),
        ({"pressure_difference_mbar": 93}, 'vacuum_gauge = "93 kPa"'),
        ({"bag_mbar": 930}, 'vacuum_gauge = "930 mbar" for a gauge that counts down'),
        ({"vacuum_gauge": "80 mbar"}, "understood as 80 mbar of drive"),
        ({"vacuum_gauge": "8 %"}, "understood as 81 mbar of drive"),
        ({"bag_mbar": 0}, "no shop pump holds"),
        ({"bag_mbar": 0.07}, "write 0.07 bar"),
        ({"ambient_mbar": 760, "bag_mbar": 30}, '"760 mmHg"'),
    ],
)
def test_a_reading_of_another_kind_is_questioned(tmp_path, values, says):
    _, _, table = vacuum(tmp_path, **values)
    (asked,) = table.questions
    assert says in asked
    assert "if it is true, write confirmed = [" in asked


def test_a_weak_vacuum_that_is_true_can_be_confirmed(tmp_path):
    read, _, table = vacuum(
        tmp_path, pressure_difference_mbar=300, confirmed=["pressure_difference_mbar"]
    )
    assert read.pressure_pa == 30_000
    assert table.questions == []
    assert "confirmed by the user" in table.confirmed[0]


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"pressure_difference_mbar": -930}, 'write vacuum_gauge = "-930 mbar"'),
        ({"pressure_difference_mbar": 0}, "must be above 0"),
        ({"pressure_difference_mbar": 1200}, "all the air pressure can give"),
        ({"bag_mbar": -930}, 'write vacuum_gauge = "-930 mbar"'),
        ({"bag_mbar": 1013.25}, "must be below the air pressure"),
        ({"vacuum_gauge": 27}, "needs its unit"),
        ({"vacuum_gauge": "27"}, "needs its unit"),
        ({"vacuum_gauge": "27 psi"}, "of which there is 1013 mbar"),
        ({"vacuum_gauge": "110 %"}, "of which there is 1013 mbar"),
        ({"vacuum_gauge": "full"}, "must be what the gauge shows"),
        ({"vacuum_gauge": "27 inches"}, "must be what the gauge shows"),
        ({"ambient_mbar": 30}, "must be at least 500"),
        ({"ambient_mbar": 101.3}, 'write "101.3 kPa"'),
        ({"ambient_mbar": 29.9}, 'write "29.9 inHg"'),
        ({"pressure_difference_mbar": 950, "bag_mbar": 500}, "keep the one that is right"),
        ({"vacuum_gauge": "930 mbar", "pressure_difference_mbar": 800}, "keep the one"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path, values, says):
    with pytest.raises(WetlineError) as caught:
        vacuum(tmp_path, **values)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_what_was_taken_as_given_is_said(tmp_path):
    assert "taken as 1013 mbar" in vacuum(tmp_path, bag_mbar=30)[1][0]
    assert "taken as 1013 mbar" in vacuum(tmp_path, vacuum_gauge="92 %")[1][0]
    assert vacuum(tmp_path, vacuum_gauge="27 inHg")[1] == []
    assert "the vacuum is weak" in vacuum(tmp_path, pressure_difference_mbar=700)[1][0]
    assert vacuum(tmp_path)[0].pressure_pa is None


@pytest.mark.parametrize(
    ("head", "rows", "drive_mbar"),
    [
        ("time_s,bag_mbar", "0,50\n600,70\n", [950, 930]),
        ("time_min;vacuum_inhg", "0;27\n10;26,5\n", [914.325, 897.393]),
        ("time_min,vacuum_percent", "0,95\n10,93\n", [950, 930]),
        ("time_min,vacuum_bar", "0,-0.95\n10,-0.93\n", [950, 930]),
    ],
)
def test_logs_in_the_gauge_s_own_unit(tmp_path, head, rows, drive_mbar):
    (tmp_path / "v.csv").write_text(f"{head}\n{rows}", encoding="utf-8")
    read, _, table = vacuum(tmp_path, log="v.csv", ambient_mbar=1000)
    assert_allclose(read.log.value, 100.0 * np.array(drive_mbar), rtol=1e-5)
    assert_allclose(read.log.time_s, [0, 600])
    assert table.questions == []


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("time_s,bag_mbar\n0,930\n60,930\n", "vacuum_inhg"),
        ("time_s,bag_mbar\n0,930\n60,930\n", "understood as 83 mbar of drive"),
        ("time_s,bag_mbar\n50400,30\n52000,30\n", "must count from resin start"),
    ],
)
def test_a_log_of_another_kind_of_gauge_is_questioned(tmp_path, text, says):
    (tmp_path / "v.csv").write_text(text, encoding="utf-8")
    _, _, table = vacuum(tmp_path, log="v.csv")
    assert says in table.questions[0]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("time_s,bag_mbar\n0,1013.25\n60,1013.25\n", "shows no vacuum at all"),
        ("time_s,bag_mba\n0,10\n60,10\n", "did you mean bag_mbar"),
        ("tme_s,bag_mbar\n0,10\n60,10\n", "did you mean time_s"),
        ("time_s,bag_mbar\n0,10\n60,nan\n", "must be a number"),
        ("time_s,vacuum_mbar\n0,1400\n60,1400\n", "check the unit of the gauge"),
    ],
)
def test_a_log_that_cannot_be(tmp_path, text, says):
    (tmp_path / "v.csv").write_text(text, encoding="utf-8")
    with pytest.raises(WetlineError) as caught:
        vacuum(tmp_path, log="v.csv")
    assert says in str(caught.value)
