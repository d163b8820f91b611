import pytest

from analysis.panel.tables.part import read_part_table
from vision.common.toml_table import Table
from vision.errors import WetlineError


def part(folder, panel_mm=400.0, **values):
    table = Table(folder / "panel.toml", "part", values)
    return read_part_table(table, "edge", panel_mm), table


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"flow_length_mm": 0.7}, 'write "0.7 m"'),
        ({"flow_length_mm": 70}, 'write "70 cm"'),
        ({"flow_length_mm": 60}, "much shorter than the panel"),
        ({"area_m2": 12000}, 'write "12000 cm2"'),
        ({"thickness_mm": 0.003}, 'write "0.003 m"'),
        ({"flow_length_mm": 1200, "area_m2": 0.026}, "0.0217 m wide"),
        ({"flow_length_mm": 1200, "area_m2": 260}, "217 m wide"),
        ({"repeat_sd_percent": 0.08}, "write 8"),
    ],
)
def test_unlikely_values_are_questioned(tmp_path, values, says):
    _, table = part(tmp_path, **values)
    assert any(says in text for text in table.questions), table.questions


def test_units_and_what_cannot_be(tmp_path):
    read, table = part(tmp_path, flow_length_mm="70 cm", area_m2="16 ft2", fibre_fraction="52 %")
    assert read.flow_length_m == pytest.approx(0.7)
    # 1 ft = 0.3048 m exactly (international yard and pound agreement, 1959).
    assert read.area_m2 == pytest.approx(16 * 0.3048**2)
    assert read.fibre_fraction == pytest.approx(0.52)
    assert len(table.understood) == 3
    with pytest.raises(WetlineError, match=r"must be at most 0.85"):
        part(tmp_path, fibre_fraction=52)
    assert part(tmp_path, panel_mm=None)[0] is None
