"""A new part folder: what is asked, what stays open, and that a filled one is read."""

import re
import tomllib

import pytest
from click.testing import CliRunner

import wetline
from analysis.part.new_part import PART_ASKS, TEMPLATE, new_part
from analysis.part.plan.part_toml import FIELDS, read_part
from vision.errors import WetlineError


def call(*args, **more):
    return CliRunner().invoke(wetline.main, ["new", *map(str, args)], **more)


def test_a_part_without_answers_holds_its_name_and_no_value(tmp_path):
    assert new_part(tmp_path / "cover", name=None, answers={}) == []
    document = tomllib.loads((tmp_path / "cover" / "part.toml").read_text(encoding="utf-8"))
    assert document == {"name": "cover", "outline": {}, "stack": {}}
    with pytest.raises(WetlineError, match="outline"):
        read_part(tmp_path / "cover")


def test_every_field_that_is_left_open_is_one_that_is_read():
    known = {field for fields in FIELDS.values() for field in fields}
    open_fields = set(re.findall(r"^# (\w+) =", TEMPLATE, re.M))
    assert len(open_fields) > 10
    assert open_fields <= known


def test_what_was_said_stands_in_the_file_and_is_understood(tmp_path):
    shown = call(
        tmp_path / "cover", "--part", "--length", "1.8 m", "--width", "900", "--gel-time", "80",
        "--viscosity", "0.22 Pa s", "--vacuum", "27 inHg", "--no-ask",
    )  # fmt: skip
    assert shown.exit_code == 0
    assert f"wetline part {tmp_path / 'cover'}" in shown.output
    document = tomllib.loads((tmp_path / "cover" / "part.toml").read_text(encoding="utf-8"))
    assert document["outline"] == {"rectangle_mm": [1800, 900]}
    assert document["resin"] == {"viscosity_mpas": 220, "gel_time_min": 80}
    assert document["vacuum"] == {"vacuum_gauge": "27 inHg"}


def test_a_filled_template_is_read(tmp_path):
    call(tmp_path, "--part", "--length", "800", "--width", "400", "--viscosity", "200",
         "--vacuum", "900", "--no-ask")  # fmt: skip
    file = tmp_path / "part.toml"
    text = file.read_text(encoding="utf-8")
    for said in ("k_m2 = 2e-10", "porosity = 0.5", "thickness_mm = 3"):
        field = said.split(" = ")[0]
        text = re.sub(rf"^# {field} =.*$", said, text, count=1, flags=re.M)
    text += "\n[[feed]]\nline_mm = [[0, 0], [0, 400]]\n[[vent]]\nline_mm = [[800, 0], [800, 400]]\n"
    file.write_text(text, encoding="utf-8")
    job = read_part(tmp_path)
    assert job.plan.outline_mm.max(axis=0).tolist() == [800, 400]
    assert (len(job.plan.feeds), len(job.plan.vents)) == (1, 1)
    assert job.resin.viscosity_pa_s == pytest.approx(0.2)


def test_it_asks_as_for_a_panel_and_enter_leaves_a_value_open(tmp_path):
    shown = call(tmp_path / "c", "--part", "--ask", input="800\n\n200\n" + "\n" * 5)
    assert shown.exit_code == 0
    assert shown.output.count("(Enter: later)") == len(PART_ASKS)
    text = (tmp_path / "c" / "part.toml").read_text(encoding="utf-8")
    assert "\n# rectangle_mm =" in text  # one side alone is no rectangle
    assert "\nviscosity_mpas = 200" in text


def test_what_cannot_be_is_refused_and_nothing_is_written(tmp_path):
    for option, value in (("--length", "-5"), ("--viscosity", "-1"), ("--flow-length", "600")):
        shown = call(tmp_path / "c", "--part", "--width", "9", option, value, "--no-ask")
        assert shown.exit_code in (1, 2), option
    assert list(tmp_path.iterdir()) == []


def test_a_part_that_is_there_stays(tmp_path):
    (tmp_path / "part.toml").write_text("name = 'old'\n")
    assert call(tmp_path, "--part", "--no-ask").exit_code == 1
    assert (tmp_path / "part.toml").read_text() == "name = 'old'\n"
