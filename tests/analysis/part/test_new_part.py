"""A new part folder: what is asked, what stays open, and that a filled one is read."""

import re
import tomllib

import pytest
from click.testing import CliRunner

import wetline
from analysis.infusion.seen.part_setup import part_camera
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


PLAN = "\n[[feed]]\nline_mm = [[0, 0], [0, 400]]\n[[vent]]\nline_mm = [[800, 0], [800, 400]]\n"


def filled(folder, *options):
    """The folder of a new part whose plan was filled in, and what was shown."""
    shown = call(folder, "--part", "--length", "800", "--width", "400", "--viscosity", "200",
                 "--vacuum", "900", "--no-ask", *options)  # fmt: skip
    assert shown.exit_code == 0, shown.output
    file = folder / "part.toml"
    text = file.read_text(encoding="utf-8")
    for said in ("k_m2 = 2e-10", "porosity = 0.5", "thickness_mm = 3"):
        field = said.split(" = ")[0]
        text = re.sub(rf"^# {field} =.*$", said, text, count=1, flags=re.M)
    file.write_text(text + PLAN, encoding="utf-8")
    return shown.output


def test_a_watched_part_needs_nothing_more_said_of_its_camera(tmp_path):
    text = filled(tmp_path, "--photos", "frames", "--height", "1.5 cm")
    assert f"wetline sheet {tmp_path} --write" in text
    assert (tmp_path / "frames").is_dir()
    camera = part_camera(read_part(tmp_path))
    assert camera.scale.marker_centres_mm == ((80, -80), (720, -80), (720, 480), (80, 480))
    assert (camera.scale.marker_mm, camera.shape.height_mm) == (40, 15)
    assert "states the cards already" in CliRunner().invoke(
        wetline.main, ["sheet", str(tmp_path), "--write"]
    ).output  # fmt: skip


def test_a_part_whose_corners_are_to_be_tapped_says_so_until_they_are(tmp_path):
    text = filled(tmp_path, "--photos", "run.mp4", "--scale", "outline")
    assert f"wetline corners {tmp_path}" in text
    assert not (tmp_path / "run.mp4").exists()
    (tmp_path / "run.mp4").write_bytes(b"film")
    file = tmp_path / "part.toml"
    plan = file.read_text(encoding="utf-8")
    file.write_text(plan.replace("# speed_up =  ", "speed_up = 30"), encoding="utf-8")
    with pytest.raises(WetlineError, match=r"points_px.*`wetline corners"):
        part_camera(read_part(tmp_path))


def test_a_large_part_gets_large_cards(tmp_path):
    shown = call(tmp_path, "--part", "--length", "2000", "--width", "900", "--photos", "frames",
                 "--no-ask")  # fmt: skip
    assert "--paper A3" in shown.output
    document = tomllib.loads((tmp_path / "part.toml").read_text(encoding="utf-8"))
    assert document["scale"]["marker_mm"] == 60


def test_it_asks_for_the_camera_and_enter_means_none(tmp_path):
    answers = "800\n400\n\n\n\n\n" + "pictures\n" + "sheet\n" + "20\n"
    assert call(tmp_path / "a", "--part", "--ask", input=answers).exit_code == 0
    document = tomllib.loads((tmp_path / "a" / "part.toml").read_text(encoding="utf-8"))
    assert document["frames"] == {"source": "pictures"}
    assert document["surface"] == {"height_mm": 20}
    assert call(tmp_path / "b", "--part", "--ask", input="\n" * 7).exit_code == 0
    document = tomllib.loads((tmp_path / "b" / "part.toml").read_text(encoding="utf-8"))
    assert "frames" not in document


@pytest.mark.parametrize(
    "options",
    [
        ("--part", "--scale", "tape", "--photos", "frames"),
        ("--part", "--scale", "outline"),
        ("--part", "--height", "12"),
        ("--part", "--photos", "frames", "--scale", "outline", "--height", "12"),
        ("--photos", "frames"),
        ("--scale", "outline"),
    ],
)
def test_options_that_do_not_go_together_are_wrong_usage(tmp_path, options):
    assert call(tmp_path / "c", *options, "--no-ask").exit_code == 2
    assert not (tmp_path / "c").exists()


def test_a_height_that_is_none_is_refused(tmp_path):
    shown = call(tmp_path / "c", "--part", "--photos", "frames", "--height", "high", "--no-ask")
    assert shown.exit_code == 1
    assert "--height high" in shown.output
