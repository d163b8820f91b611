import pytest
from numpy.testing import assert_allclose

from analysis.panel.panel_toml import read_panel
from vision.errors import WetlineError

GOOD = """
[panel]
name = "roof cover A"
length_mm = "40 in"
width_mm = 200
flow = "edge"
[frames]
source = "frames"
[stack]
porosity = 0.5
[resin]
viscosity_mpas = 200
gel_time_min = 60
[vacuum]
pressure_difference_mbar = 950
[part]
flow_length_mm = 900
"""


def read(tmp_path, text):
    (tmp_path / "panel.toml").write_text(text, encoding="utf-8")
    return read_panel(tmp_path)


def test_everything_becomes_si(tmp_path):
    panel = read(tmp_path, GOOD)
    assert panel.name == "roof cover A"
    assert panel.length_m == pytest.approx(1.016)
    assert panel.resin.viscosity_pa_s == pytest.approx(0.2)
    assert panel.resin.gel_time_s == 3600
    assert panel.vacuum.pressure_pa == 95_000
    assert panel.part.flow_length_m == pytest.approx(0.9)
    assert panel.notes == ()


def test_porosity_from_layers_and_thickness(tmp_path):
    # h = n Aw / (rho Vf): 6 x 600 g/m2 of glass at Vf 0.50 is 2.8125 mm (textbook relation).
    stack = "layers = 6\nareal_weight_g_m2 = 600\nfibre_density_kg_m3 = 2560\nthickness_mm = 2.8125"
    panel = read(tmp_path, GOOD.replace("porosity = 0.5", stack))
    assert panel.stack.porosity == pytest.approx(0.5)


def test_a_part_as_long_as_the_panel_when_none_is_given(tmp_path):
    panel = read(tmp_path, GOOD.replace("[part]\nflow_length_mm = 900", ""))
    assert panel.part.flow_length_m == pytest.approx(1.016)
    assert not panel.part.length_stated
    assert read(tmp_path, GOOD).part.length_stated


def test_missing_tables_are_none_not_faults(tmp_path):
    panel = read(tmp_path, "[panel]\nflow = 'edge'\n")
    assert panel.part is None
    assert panel.resin.viscosity_pa_s is None
    assert panel.vacuum.pressure_pa is None


def test_ambient_and_bag_pressure(tmp_path):
    text = GOOD.replace("pressure_difference_mbar = 950", "ambient_mbar = 1000\nbag_mbar = 30")
    assert read(tmp_path, text).vacuum.pressure_pa == pytest.approx(97_000)


def test_gauge_and_viscosity_logs(tmp_path):
    (tmp_path / "vacuum.csv").write_text("time_s;bag_mbar\n0;50\n600;70,5\n", encoding="utf-8")
    (tmp_path / "viscosity.csv").write_text("time_s,viscosity_mpas\n600,300\n0,200\n")
    text = GOOD.replace("pressure_difference_mbar = 950", 'log = "vacuum.csv"\nambient_mbar = 1010')
    text = text.replace("viscosity_mpas = 200", 'viscosity_log = "viscosity.csv"')
    panel = read(tmp_path, text)
    assert_allclose(panel.vacuum.log.value, [96_000.0, 93_950.0])
    assert_allclose(panel.resin.viscosity_log.value, [0.2, 0.3])


def test_a_slip_of_the_pen_is_an_error(tmp_path):
    with pytest.raises(WetlineError, match=r"gel_tme_min = 60.*did you mean gel_time_min\?"):
        read(tmp_path, GOOD.replace("gel_time_min", "gel_tme_min"))


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("[resin]", "[resn]", "did you mean resin"),
        ("[panel]", "porosity = 0.5\n[panel]", "put it under [stack]"),
        ("porosity = 0.5", "viscosity_mpas = 3", "belongs under [resin]"),
        ("width_mm = 200", "widht_mm = 200", "did you mean width_mm"),
        ('source = "frames"', 'sorce = "frames"', "did you mean source"),
        ("[stack]", '[scale]\nmetod = "sheet"\n[stack]', "did you mean method"),
        ("flow_length_mm", "flow_lenght_mm", "did you mean flow_length_mm"),
        ("pressure_difference_mbar", "pressure_diference_mbar", "did you mean pressure_difference"),
    ],
)
def test_a_slip_in_any_table_is_an_error(tmp_path, old, new, says):
    with pytest.raises(WetlineError) as caught:
        read(tmp_path, GOOD.replace(old, new))
    assert says in str(caught.value)


def test_units_in_quotes_work_in_every_table_and_are_said(tmp_path):
    text = GOOD
    for old, new in [
        ("width_mm = 200", 'width_mm = "20 cm"'),
        ("porosity = 0.5", 'porosity = "50 %"'),
        ("viscosity_mpas = 200", 'viscosity_mpas = "0,2 Pa s"\ntemperature_c = "72 F"'),
        ("gel_time_min = 60", 'gel_time_min = "1 h"'),
        ("pressure_difference_mbar = 950", 'pressure_difference_mbar = "0.95 bar"'),
        ("flow_length_mm = 900", 'flow_length_mm = "0.9 m"'),
    ]:
        assert old in text
        text = text.replace(old, new)
    panel, plain = read(tmp_path, text), read(tmp_path, GOOD)
    assert panel.width_m == pytest.approx(plain.width_m)
    assert panel.stack == plain.stack
    assert panel.resin.viscosity_pa_s == pytest.approx(plain.resin.viscosity_pa_s)
    # 72 F = (72 - 32) x 5/9 C, by definition of the scales.
    assert panel.resin.temperature_c == pytest.approx(40 * 5 / 9)
    assert panel.resin.gel_time_s == plain.resin.gel_time_s
    assert panel.vacuum.pressure_pa == pytest.approx(plain.vacuum.pressure_pa)
    assert panel.part == plain.part
    assert panel.questions == ()
    assert len(panel.understood) == 8
    assert '[resin] viscosity_mpas = "0,2 Pa s": 200 mPa s' in panel.understood


def test_an_unlikely_size_is_questioned_and_can_be_confirmed(tmp_path):
    text = GOOD.replace("width_mm = 200", "width_mm = 0.2")
    (asked,) = read(tmp_path, text).questions
    assert 'write "0.2 m"' in asked
    text = text.replace("width_mm = 0.2", 'width_mm = 0.2\nconfirmed = ["width_mm"]')
    panel = read(tmp_path, text)
    assert panel.questions == ()
    assert panel.notes == ("[panel] width_mm = 0.2: unusual, confirmed by the user",)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("porosity = 0.5", "porosity = 1.2", "between 0 and 1"),
        ("porosity = 0.5", "porosity = 50", "50 percent is written 0.5"),
        ("porosity = 0.5", "porosity = 0", "between 0 and 1"),
        ("= 950", "= 1200", "all the air pressure can give"),
        ("= 950", "= -950", "above 0"),
        ("pressure_difference_mbar = 950", "bag_mbar = 1100", "below the air pressure"),
        ("pressure_difference_mbar = 950", 'log = "no.csv"', "not found"),
        ("viscosity_mpas = 200", "viscosity_mpas = 0", "must be above 0"),
        ("viscosity_mpas = 200", 'viscosity_mpas = "thin"', "must be a viscosity"),
        ("gel_time_min = 60", "gel_time_min = 5\nmixed_before_start_min = 6", "before the resin"),
        ("gel_time_min = 60", "gel_time_min = -1", "must be above 0"),
        ("gel_time_min = 60", "gel_time_2_min = 30", "go together"),
        ('flow = "edge"', 'flow = "ring"', "must be one of edge, point"),
        ("flow_length_mm = 900", "flow_length_mm = -5", "must be above 0"),
        (
            "porosity = 0.5",
            "layers = 9\nareal_weight_g_m2 = 600\nfibre_density_kg_m3 = 2560\nthickness_mm = 1",
            "fibre alone is 2.11 mm",
        ),
    ],
)
def test_nonsense_gets_one_line_with_the_mend(tmp_path, old, new, says):
    with pytest.raises(WetlineError, match=r"panel\.toml|no\.csv") as caught:
        read(tmp_path, GOOD.replace(old, new))
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_bad_row_of_a_log_is_named(tmp_path):
    (tmp_path / "vacuum.csv").write_text("time_s,bag_mbar\n0,50\n60,wide\n")
    with pytest.raises(WetlineError, match="row 3, bag_mbar = wide"):
        read(tmp_path, GOOD.replace("pressure_difference_mbar = 950", 'log = "vacuum.csv"'))


def test_porosity_and_thickness_from_a_compaction_law(tmp_path):
    # Vf = 0.52 (95 kPa / 100 kPa)^0.05; thickness Aw / (rho Vf) (textbook relations).
    stack = (
        "layers = 6\nareal_weight_g_m2 = 600\nfibre_density_kg_m3 = 2560\n"
        "compaction_vf_1bar = 0.52\ncompaction_exponent = 0.05"
    )
    panel = read(tmp_path, GOOD.replace("porosity = 0.5", stack))
    vf = 0.52 * 0.95**0.05
    assert panel.stack.porosity == pytest.approx(1 - vf)
    assert panel.stack.thickness_m == pytest.approx(3.6 / (2560 * vf))
