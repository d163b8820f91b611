import re
import tomllib

import pytest
from click.testing import CliRunner

from analysis.panel.panel_toml import read_panel
from wetline import main


def new(folder, *options, given=None):
    return CliRunner().invoke(main, ["new", str(folder), *options], input=given)


@pytest.mark.parametrize("scale", ["sheet", "corners", "tape", "checkerboard"])
@pytest.mark.parametrize("flow", ["edge", "point"])
def test_a_new_panel_holds_no_value_that_was_not_given(tmp_path, scale, flow):
    assert new(tmp_path / "p", "--scale", scale, "--flow", flow).exit_code == 0
    text = (tmp_path / "p" / "panel.toml").read_text(encoding="utf-8")
    document = tomllib.loads(text)
    assert document["panel"] == {"name": "p", "flow": flow}
    assert document["scale"] == {"method": scale}
    assert [document[name] for name in ("stack", "resin", "vacuum", "part")] == [{}] * 4
    # An open field has no value behind it that taking the # away would make count as measured.
    for line in re.findall(r"^# (\w+_?\w*) =(.*)$", text, re.MULTILINE):
        assert line[1].split("#")[0].strip() == ""
    panel = read_panel(tmp_path / "p")
    assert panel.stack.porosity is None
    assert panel.resin.viscosity_pa_s is None


def test_every_open_field_is_one_that_is_read(tmp_path):
    from analysis.panel.tables.fields import FIELDS

    known = {field for fields in FIELDS.values() for field in fields}
    for scale in ("sheet", "corners", "tape", "checkerboard"):
        new(tmp_path / scale, "--scale", scale, "--flow", "point")
        text = (tmp_path / scale / "panel.toml").read_text(encoding="utf-8")
        assert set(re.findall(r"^# (\w+) =", text, re.MULTILINE)) <= known


def test_an_open_field_without_its_value_is_told_with_its_line(tmp_path):
    new(tmp_path / "p")
    file = tmp_path / "p" / "panel.toml"
    text = file.read_text(encoding="utf-8").replace("# viscosity_mpas =", "viscosity_mpas =")
    file.write_text(text, encoding="utf-8")
    result = CliRunner().invoke(main, ["run", str(tmp_path / "p")])
    assert result.exit_code == 1
    assert "write the value behind the =" in result.output
    assert "viscosity_mpas" in result.output


def test_options_with_units_are_written_and_said(tmp_path):
    result = new(
        tmp_path / "p", "--length", "40 in", "--width", "20 cm", "--porosity", "48 %",
        "--viscosity", "0,3 Pa s", "--gel-time", "1 h", "--temperature", "72 F",
        "--vacuum", "27 inHg", "--flow-length", "0.9 m",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    panel = read_panel(tmp_path / "p")
    assert panel.questions == ()
    assert panel.length_m == pytest.approx(1.016)
    assert panel.stack.porosity == pytest.approx(0.48)
    assert panel.resin.viscosity_pa_s == pytest.approx(0.3)
    assert panel.resin.gel_time_s == 3600
    # 1 inHg = 3386.389 Pa (NIST SP 811, appendix B.8, from memory).
    assert panel.vacuum.pressure_pa == pytest.approx(27 * 3386.389, rel=1e-6)
    assert panel.part.flow_length_m == pytest.approx(0.9)
    assert 'Understood: vacuum_gauge = "27 inHg"' in result.output


def test_it_asks_and_asks_again(tmp_path):
    answers = "40 in\nwide\n200\n\n300\n60\n\n950\n0.9\n"
    result = new(tmp_path / "p", "--ask", given=answers)
    assert result.exit_code == 0, result.output
    assert "wide: must be a length" in result.output
    panel = read_panel(tmp_path / "p")
    assert panel.width_m == pytest.approx(0.2)
    assert panel.stack.porosity is None
    assert panel.vacuum.pressure_pa == 95_000
    # A length in metres: written as given, and questioned at once.
    assert "Look at: [part] flow_length_mm = 0.9" in result.output
    assert 'write "0.9 m"' in result.output


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--length", "wide"), "--length wide: must be a length"),
        (("--porosity", "48"), "48 percent is written 0.48"),
        (("--vacuum", "-930"), "must be above 0"),
        (("--vacuum", "27 inches"), "must be what the gauge shows"),
        (("--viscosity", "1,200"), "may be 1200 or 1.200"),
        (("--length", "-3"), "must be above 0"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(tmp_path, options, says):
    result = new(tmp_path / "p", *options)
    assert result.exit_code == 1
    assert says in result.output
    assert not (tmp_path / "p").exists()
