"""Cards, tapped corners and front lines of a part, as a user asks for them."""

import shutil
import tomllib

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

import wetline
from analysis.infusion.answer import run_job
from analysis.infusion.seen.part_setup import part_camera
from analysis.infusion.seen.tap_outline import begin
from analysis.part.plan.part_toml import read_part
from sample_frames._part_make import part_px
from tests.made_up.parts.cases import CASES
from tests.made_up.parts.made_part import made_part
from vision.drawing.pictures import read_photo
from vision.frames.source import open_frames
from vision.parts.fit_outline import find_part_scale


def run(*words, **how):
    return CliRunner().invoke(wetline.main, [*map(str, words)], **how)


@pytest.fixture
def part(tmp_path):
    """A part with photos and no scale yet, with comments about it."""
    folder = tmp_path / "cover"
    shutil.copytree(made_part("tapped"), folder, ignore=shutil.ignore_patterns("truth*", "results"))
    file = folder / "part.toml"
    text = file.read_text(encoding="utf-8")
    head, _, _ = text.partition("[scale]")
    file.write_text(head + "# measured on Monday\n", encoding="utf-8")
    return folder


def typed(folder, **other):
    """The asked corners as somebody would read them off, to a pixel; `other` by their number."""
    asked = begin(folder).asked
    px = np.round(part_px(CASES["tapped"], np.array([point.mm for point in asked])))
    words = [f"{x:g},{y:g}" for x, y in px]
    for number, text in other.items():
        words[int(number[1:])] = text
    return " ".join(words)


def test_corners_are_written_and_the_rest_of_the_file_stays(part):
    before = (part / "part.toml").read_text(encoding="utf-8")
    done = run("corners", part, "--points", typed(part, _5="-"), "--yes")
    assert done.exit_code == 0, done.output
    after = (part / "part.toml").read_text(encoding="utf-8")
    assert after.startswith(before.rstrip("\n"))
    scale = tomllib.loads(after)["scale"]
    assert scale["method"] == "outline"
    assert len(scale["points_px"]) == len(scale["points_mm"]) == 7
    camera = part_camera(read_part(part))
    with open_frames(camera.setup()) as frames:
        image, focal = frames.read(0).image, frames.focal_35mm
    plane = find_part_scale(image, camera.setup(), focal)
    places = np.array([[100.0, 100], [260, 160], [450, 250]])
    off = plane.to_px(places) - part_px(CASES["tapped"], places)
    assert np.hypot(*off.T).max() < 1.5
    assert read_photo(part / "results" / "tap_drawn_back.jpg").shape == image.shape


def test_nothing_is_written_unless_the_user_says_so(part):
    before = (part / "part.toml").read_bytes()
    done = run("corners", part, "--points", typed(part), input="n\n")
    assert done.exit_code == 0
    assert "stays as it was" in done.output
    assert (part / "part.toml").read_bytes() == before


def test_a_symmetric_part_asks_for_a_look_at_the_feeds(part):
    four = " ".join(typed(part).split()[:4])
    done = run("corners", part, "--points", four, input="n\n")
    assert "see that the feeds are drawn where they are" in done.output


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ("10,10 20,20", "2 points are tapped"),
        ("10;10", "must be the pixels x,y"),
        ("1,2 " * 12, "12 points, but 8 corners are asked for"),
    ],
)
def test_points_that_cannot_be_are_refused_in_one_line(part, points, words):
    done = run("corners", part, "--points", points)
    assert done.exit_code == 1
    assert words in done.output
    assert len(done.output.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ("10,10 20,20", "2 points are tapped"),
        ("1,1 2,2 3,3 4,4", "no camera can see them so"),
        ("120,80 400,90 390,400 1e9,490", "point 4 lies outside the picture"),
        ("120,80 120,80 590,400 110,390", "the points and the plan do not match"),
    ],
)
def test_wrong_points_of_a_part_are_blamed_on_the_option(part, points, words):
    photo = sorted((part / "frames").iterdir())[0]
    told = {
        "--points": run("corners", part, "--points", points, "--yes"),
        "--corners": run("record", part, photo, "--stage", "bag", "--corners", points),
    }
    for option, done in told.items():
        assert done.exit_code == 1
        assert done.output.count("\n") == 1
        assert done.output.startswith(f"Error: {option}"), done.output
        assert "part.toml" not in done.output
        if option == "--points" or "10,10" not in points:
            assert words in done.output
    assert not (part / "day.toml").exists()


def test_a_photo_that_is_not_there_is_refused(part):
    done = run("corners", part, "nosuch.jpg", "--points", "1,2")
    assert done.exit_code == 1
    assert "nosuch.jpg: not among the part's photos" in done.output


def test_without_a_window_the_way_by_hand_is_told(part):
    done = run("corners", part, "--no-window")
    assert done.exit_code == 0
    assert "corner 1 of 8: upper left, of two the further" in done.output
    for name in ("tap_photo.png", "tap_plan.png"):
        assert cv2.imread(str(part / "results" / name)) is not None


def test_a_window_is_used_where_there_is_one(part, monkeypatch):
    taps = [tuple(map(float, one.split(","))) for one in typed(part).split()]
    monkeypatch.setattr("vision.scale.corner_picker.has_display", lambda: True)
    monkeypatch.setattr("vision.parts.tapping.tap_window.tap", lambda *a: taps)
    monkeypatch.setattr("vision.parts.tapping.tap_window.confirm", lambda drawn: True)
    done = run("corners", part)
    assert done.exit_code == 0, done.output
    assert 'Written into part.toml, [scale]: method = "outline"' in done.output
    monkeypatch.setattr("vision.parts.tapping.tap_window.tap", lambda *a: None)
    assert run("corners", part).exit_code == 1


def test_cards_go_round_a_part_and_are_written_on_request(part):
    done = run("sheet", part, "--clear", "50")
    assert done.exit_code == 0, done.output
    assert "marker_centres_mm = [[52, -70], [468, -70], [468, 390], [52, 390]]" in done.output
    assert (part / "results" / "scale_sheet.pdf").read_bytes().startswith(b"%PDF")
    assert "scale" not in tomllib.loads((part / "part.toml").read_text(encoding="utf-8"))
    assert run("sheet", part, "--write").exit_code == 0
    text = (part / "part.toml").read_text(encoding="utf-8")
    assert "# measured on Monday" in text
    assert part_camera(read_part(part)).scale.marker_mm == 40
    assert "states the cards already" in run("sheet", part, "--write").output


def test_cards_of_a_part_need_its_outline_only(tmp_path):
    file = tmp_path / "part.toml"
    file.write_text("[outline]\nrectangle_mm = [2400, 900]\ny_runs = 'up'\n", encoding="utf-8")
    done = run("sheet", file)
    assert done.exit_code == 0, done.output
    assert "[[200, 980], [2200, 980], [2200, -80], [200, -80]]" in done.output
    assert "small beside this part" in done.output


def test_options_of_the_other_kind_are_wrong_usage(part):
    for words in (
        ("sheet", part, "--length", "400"),
        ("sheet", "--write"),
        ("lines", part, "--video"),
        ("corners", part.parent, "--yes"),
    ):
        assert run(*words).exit_code == 2


def test_lines_at_asked_times_are_drawn_on_a_photo_of_the_run(part, monkeypatch):
    assert run("corners", part, "--points", typed(part), "--yes").exit_code == 0
    done = run("lines", part)
    assert done.exit_code == 1
    assert "no run of this part" in done.output
    monkeypatch.setattr(run_job, "learnt_from", lambda answer, opened_s=None: answer)
    run_job.run_part(part)
    names = sorted(path.name for path in (part / "frames").iterdir())
    done = run("lines", part, names[20], "--minutes", "1,2.5")
    assert done.exit_code == 0, done.output
    picture = part / "results" / "part_lines" / f"{names[20][:-4]}_1_2.5_min.jpg"
    assert picture.as_posix() in done.output
    drawn, photo = (read_photo(p) for p in (picture, part / "frames" / names[20]))
    changed = np.abs(drawn.astype(int) - photo).sum(axis=2) > 60
    assert 0.01 < changed.mean() < 0.5
    for wrong in ("1,two", "0,5", "-1", "nan", "inf", "1,,2"):
        told = run("lines", part, "--minutes", wrong)
        assert told.exit_code == 1
        assert f"--minutes {wrong}: must be numbers above 0" in told.output
    assert "choose another" in lost_photo(part, names[20])


def lost_photo(part, name):
    """What is said of a photo in which the part was not found."""
    path = part / "results" / "arrival.npz"
    with np.load(path) as arrays:
        held = dict(arrays)
    held["homographies"][list(held["frames"]).index(name)] = np.nan
    np.savez_compressed(path, **held)
    return run("lines", part, name).output
