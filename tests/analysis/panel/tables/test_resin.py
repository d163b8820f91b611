import pytest

from analysis.panel.tables.resin import read_resin_table
from vision.common.toml_table import Table
from vision.errors import WetlineError


def resin(folder, **values):
    table = Table(folder / "panel.toml", "resin", values)
    return read_resin_table(table)[0], table


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"viscosity_mpas": 0.2}, 'write "0.2 Pa s"'),
        ({"viscosity_mpas": 2}, "20 mPa s to 3000 mPa s is usual"),
        ({"gel_time_min": 1.5}, 'write "1.5 h"'),
        ({"gel_time_min": 3600}, 'write "3600 s"'),
        ({"temperature_c": 72}, 'write "72 F"'),
        ({"viscosity_temperature_c": 77}, 'write "77 F"'),
        ({"viscosity_doubling_min": 1800}, 'write "1800 s"'),
        ({"mixed_before_start_min": 300}, 'write "300 s"'),
        ({"working_share_percent": 0.7}, "write 70"),
        ({"viscosity_sd_percent": 0.05}, "write 5"),
        ({"gel_sd_percent": 0.1}, "write 10"),
        ({"hardener_parts": 0.3}, "understood as 0.3"),
        ({"pot_limit_kg": 5000}, 'write "5000 g"'),
        ({"density_kg_m3": 2200}, "850 kg/m3 to 1600 kg/m3 is usual"),
    ],
)
def test_unlikely_values_are_questioned(tmp_path, values, says):
    _, table = resin(tmp_path, **values)
    assert any(says in text for text in table.questions), table.questions


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"density_kg_m3": 1.1}, 'write "1.1 g/cm3"'),
        ({"temperature_c": 295}, 'write "295 K"'),
        ({"viscosity_mpas": "thin"}, "must be a viscosity in mPa s, Pa s or P"),
        ({"viscosity_mpas": "100-300"}, "has the unit -300"),
        ({"viscosity_mpas": "1,200"}, "may be 1200 or 1.200"),
        ({"gel_time_min": "40 m"}, "must be a time in s, min or h"),
        ({"gel_time_min": float("inf")}, "must be a finite number"),
        ({"gel_time_min": 30, "mixed_before_start_min": 40}, "is over before the resin starts"),
        ({"class": "vinylester"}, "did you mean vinyl ester"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path, values, says):
    with pytest.raises(WetlineError) as caught:
        resin(tmp_path, **values)
    assert says in str(caught.value)


def test_a_log_in_pascal_seconds_is_noticed(tmp_path):
    (tmp_path / "v.csv").write_text("time_min,viscosity_mpas\n0,0.2\n30,0.4\n", encoding="utf-8")
    _, table = resin(tmp_path, viscosity_log="v.csv")
    assert "was Pa s meant?" in table.questions[0]
    with pytest.raises(WetlineError, match=r"begins at 0.2 mPa s"):
        resin(tmp_path, viscosity_log="v.csv", viscosity_mpas=200)


def test_data_sheet_values_in_a_cold_shop_are_pointed_out(tmp_path):
    table = Table(
        tmp_path / "panel.toml",
        "resin",
        {"viscosity_mpas": 200, "gel_time_min": 60, "temperature_c": 14},
    )
    (note,) = read_resin_table(table)[1]
    assert "viscosity and gel taken as measured at the shop's 14 C" in note
    assert "give viscosity_temperature_c and gel_temperature_c" in note
    warm = {"viscosity_mpas": 200, "gel_time_min": 60, "temperature_c": 22}
    assert read_resin_table(Table(tmp_path / "panel.toml", "resin", warm))[1] == []


def test_gel_time_and_gel_log_are_one_too_many(tmp_path):
    (tmp_path / "g.csv").write_text("time_min,gelled\n0,0\n30,1\n", encoding="utf-8")
    with pytest.raises(WetlineError, match="says the same as gel_log"):
        resin(tmp_path, gel_log="g.csv", gel_time_min=20)
