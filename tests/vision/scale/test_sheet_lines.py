import tomllib

import pytest
from click.testing import CliRunner

from analysis.commands.camera import sheet
from vision.errors import WetlineError
from vision.scale.sheet_lines import replace_scale, with_scale_lines

NEW = (
    '# my panel\n[panel]\nname = "a"\nlength_mm = 400\nwidth_mm = 200\n\n[scale]\n# cards\n'
    'method = "sheet"\n# check_bar_mm =\n\n[stack]\nporosity = 0.5\n'
)


def run(folder, text, *options):
    (folder / "panel.toml").write_text(text, encoding="utf-8")
    return CliRunner().invoke(sheet, [str(folder), *options], catch_exceptions=False)


def test_the_sheet_writes_the_places_it_shows(tmp_path):
    result = run(tmp_path, NEW)
    text = (tmp_path / "panel.toml").read_text(encoding="utf-8")
    document = tomllib.loads(text)
    assert document["scale"]["marker_mm"] == 40
    assert document["scale"]["marker_centres_mm"] == [[30, -70], [370, -70], [370, 270], [30, 270]]
    assert document["stack"] == {"porosity": 0.5}
    assert text.startswith("# my panel\n")
    assert "Written into panel.toml, [scale]: marker_mm = 40" in result.output
    assert (tmp_path / "results" / "scale_sheet.pdf").stat().st_size > 1000


def test_places_that_stand_in_panel_toml_stay(tmp_path):
    own = NEW.replace(
        'method = "sheet"',
        'method = "sheet"\nmarker_mm = 40\n'
        "marker_centres_mm = [[0, -50], [400, -50], [400, 250], [0, 250]]",
    )
    result = run(tmp_path, own)
    assert (tmp_path / "panel.toml").read_text(encoding="utf-8") == own
    assert "Written into" not in result.output
    assert b"/Font" in (tmp_path / "results" / "scale_sheet.pdf").read_bytes()


def test_another_paper_takes_another_marker(tmp_path):
    with pytest.raises(WetlineError, match="this paper takes markers of 60 mm"):
        run(tmp_path, NEW.replace('"sheet"', '"sheet"\nmarker_mm = 40'), "--paper", "A3")
    run(tmp_path, NEW, "--paper", "A3")
    scale = tomllib.loads((tmp_path / "panel.toml").read_text(encoding="utf-8"))["scale"]
    assert scale["marker_mm"] == 60


def test_another_method_and_a_missing_size_are_said(tmp_path):
    other = NEW.replace('"sheet"', '"corners"')
    assert 'method = "corners", not these cards' in run(tmp_path, other).output
    assert (tmp_path / "panel.toml").read_text(encoding="utf-8") == other
    small = NEW.replace("length_mm = 400\n", "")
    assert "Give [panel] length_mm and width_mm" in run(tmp_path, small).output


def test_a_size_that_panel_toml_contradicts_is_refused(tmp_path):
    with pytest.raises(WetlineError, match=r"panel.toml says length_mm = 400"):
        run(tmp_path, NEW, "--length", "500")
    with pytest.raises(WetlineError, match="must be a length"):
        run(tmp_path, NEW, "--width", "wide")


def test_a_table_is_made_where_there_is_none_and_odd_files_are_left_alone():
    assert tomllib.loads(with_scale_lines("a = 1\n", ['method = "sheet"']))["scale"] == {
        "method": "sheet"
    }
    with pytest.raises(WetlineError, match="cannot be changed safely"):
        with_scale_lines("scale = {method = 'sheet'}\n", ["marker_mm = 40"])


PANEL = (
    '# my panel\n[panel]\nname = "a"\n\n[scale]\n# by tape\nmethod = "tape"\ncorners_px = [\n'
    "  [1, 2], [3, 4], # two\n  [5, 6], [7, 8],\n]\n\n# mixed by hand\n[resin] # mixed\n"
    "gel_time_min = 3\n"
)


def test_scale_is_replaced_and_all_else_kept():
    new = replace_scale(PANEL, ['method = "sheet"'], "panel.toml")
    assert new == (
        '# my panel\n[panel]\nname = "a"\n\n[scale]\nmethod = "sheet"\n# by tape\n\n'
        "# mixed by hand\n[resin] # mixed\ngel_time_min = 3\n"
    )


def test_what_the_scale_said_may_stay_as_comments():
    new = replace_scale(PANEL, ['method = "sheet"'], "panel.toml", keep_old=True)
    assert '# method = "tape"\n# corners_px = [\n#   [1, 2]' in new
    assert tomllib.loads(new)["scale"] == {"method": "sheet"}
    assert tomllib.loads(new)["resin"] == {"gel_time_min": 3}


def test_a_scale_is_added_where_there_is_none():
    assert tomllib.loads(replace_scale("a = 1\n", ["b = 2"], "x"))["scale"] == {"b": 2}
    assert replace_scale("", ["b = 2"], "x") == "[scale]\nb = 2\n"


@pytest.mark.parametrize("text", ["scale = {a = 1}\n", "[scale]\na = 1\n[scale.b]\nc = 2\n"])
def test_a_scale_written_in_another_way_is_left_to_the_user(text):
    with pytest.raises(
        WetlineError, match=r"part.toml: \[scale\] cannot be replaced safely: write"
    ):
        replace_scale(text, ["b = 2"], "part.toml")
