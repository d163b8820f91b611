"""Pictures that lie elsewhere than panel.toml says: named, with the line to write."""

import zipfile

import pytest
from click.testing import CliRunner

import wetline
from vision.common.outside.folder_contents import pictures_there

SCALE = '[scale]\nmethod = "corners"\ncorners_px = [[0, 0], [9, 0], [9, 9], [0, 9]]\n'
PANEL = '[panel]\nlength_mm = 400\nwidth_mm = 200\n[frames]\nsource = "frames"\n' + SCALE


def put(folder, *names):
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(b"x")


@pytest.mark.parametrize(
    ("names", "says"),
    [
        (["run.MP4"], 'there is a film run.MP4: write source = "run.MP4" under [frames]'),
        (["a.jpg", "b.JPG"], '2 photos lie in the folder itself: write source = "."'),
        (["DCIM/1/a.jpg", "DCIM/1/b.png"], '2 photos lie in DCIM/1/: write source = "DCIM/1"'),
        (["frames/x/a.jpg", "frames/x/b.jpg"], 'write source = "frames/x" under [frames]'),
        (["phone.zip"], "phone.zip is packed: unpack it and put its photos into frames/"),
    ],
)
def test_run_says_what_lies_there_and_what_to_write(tmp_path, names, says):
    (tmp_path / "panel.toml").write_text(PANEL)
    put(tmp_path, *names)
    before = sorted(tmp_path.rglob("*"))
    shown = CliRunner().invoke(wetline.main, ["run", str(tmp_path)])
    assert shown.exit_code == 1
    assert says in shown.output
    assert shown.output.count("Error") == 1
    assert [p for p in sorted(tmp_path.rglob("*")) if "results" not in p.parts] == before


def test_our_own_pictures_and_single_ones_are_not_the_run(tmp_path):
    put(tmp_path, "results/a.png", "results/b.png", "stages/a.jpg", "stages/b.jpg", "logo.png")
    assert pictures_there(tmp_path) == ""


def test_the_line_that_is_named_is_taken(tmp_path):
    (tmp_path / "panel.toml").write_text(PANEL.replace('"frames"', '"."'))
    put(tmp_path, "a.jpg", "b.jpg")
    shown = CliRunner().invoke(wetline.main, ["run", str(tmp_path)])
    assert "not found" not in shown.output  # it now looks at the photos, which are none


def test_a_packed_file_is_never_opened(tmp_path):
    with zipfile.ZipFile(tmp_path / "p.zip", "w") as packed:
        packed.writestr("a.jpg", b"x")
    assert "unpack it" in pictures_there(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["p.zip"]


def test_a_photo_or_film_in_place_of_the_folder_is_answered(tmp_path):
    put(tmp_path, "one.jpg", "run.mp4")
    for name in ("one.jpg", "run.mp4"):
        shown = CliRunner().invoke(wetline.main, ["run", str(tmp_path / name)])
        assert shown.exit_code == 2
        assert f"{name} is a file" in shown.output
        assert "wetline new" in shown.output
