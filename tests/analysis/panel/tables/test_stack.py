import pytest

from analysis.panel.tables.stack import read_stack_table
from vision.common.toml_table import Table
from vision.errors import WetlineError

GLASS = {"layers": 6, "areal_weight_g_m2": 600, "fibre_density_kg_m3": 2560, "thickness_mm": 2.8125}


def stack(folder, **values):
    table = Table(folder / "panel.toml", "stack", values)
    return read_stack_table(table, 95_000.0), table


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"porosity": 0.05}, "0.2 to 0.95 is usual"),
        ({"thickness_mm": 0.003}, 'write "0.003 m"'),
        ({"areal_weight_g_m2": 0.6}, 'write "0.6 kg/m2"'),
        ({"areal_weight_g_m2": 17.7}, 'write "17.7 oz/yd2"'),
        ({"layers": 600}, "understood as 600"),
        ({"porosity_sd_percent": 0.02}, "write 2"),
        ({**GLASS, "thickness_mm": 40}, "leaves a porosity of 0.96"),
    ],
)
def test_unlikely_values_are_questioned(tmp_path, values, says):
    _, table = stack(tmp_path, **values)
    assert any(says in text for text in table.questions), table.questions


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"porosity": 48}, "48 percent is written 0.48"),
        ({"porosity": "48"}, "48 percent is written 0.48"),
        ({"fibre_density_kg_m3": 2.56}, 'write "2.56 g/cm3"'),
        # h = n Aw / (rho Vf) (textbook relation): these six layers at 2.65 mm leave 0.47.
        ({**GLASS, "thickness_mm": 2.65, "porosity": 0.53}, "leave 0.47: was the fibre's share"),
        ({**GLASS, "porosity": 0.7}, "leave 0.50"),
        ({"media_k_m2": 1e-9}, "media_thickness_mm = (missing): is needed"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path, values, says):
    with pytest.raises(WetlineError) as caught:
        stack(tmp_path, **values)
    assert says in str(caught.value)


def test_a_stated_porosity_that_agrees_is_taken(tmp_path):
    read, table = stack(tmp_path, **GLASS, porosity=0.52)
    assert read.porosity == 0.52
    assert table.questions == []


def test_percent_and_ounces(tmp_path):
    read, _ = stack(tmp_path, porosity="48 %", areal_weight_g_m2="18 oz/yd2")
    assert read.porosity == pytest.approx(0.48)
    # 1 oz/yd2 = 33.90575 g/m2 (NIST SP 811, appendix B.8, from memory).
    assert read.areal_weight_kg_m2 == pytest.approx(18 * 33.90575e-3, rel=1e-6)
