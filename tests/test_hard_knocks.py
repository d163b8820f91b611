"""What lies in a folder may be anything: each hurt ends in one plain line, or in the answer."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.made_up.cad import reader
from tests.made_up.knocks import (
    DXF_BODY,
    SVG,
    assert_borne,
    call,
    count_unpacked,
    digests,
    dxf_text,
    film_panel,
    halves,
    make_pipe,
    marks_panel,
    part_folder,
    photo_panel,
    rich_marks_panel,
)
from vision.common.outside.toml_file import read_toml

needs_pipes = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
ROOT = Path(__file__).resolve().parents[1]


def with_line(folder, table, line, file="panel.toml"):
    path = folder / file
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace(f"[{table}]\n", f"[{table}]\n{line}\n"), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def tracked(tmp_path_factory):
    folder = photo_panel(tmp_path_factory.mktemp("tracked") / "panel")
    assert call("run", folder, "--quiet").exit_code == 0
    return folder


@pytest.fixture
def run_once(tracked, tmp_path):
    shutil.copytree(tracked, tmp_path / "panel")
    return tmp_path / "panel"


@pytest.mark.parametrize(
    ("table", "line", "said"),
    [
        ("resin", f"density_kg_m3 = 1{'0' * 400}", "resin density_kg_m3: is a whole number"),
        ("resin", f"density_kg_m3 = 1{'0' * 5000}", "whole number of too many digits"),
        ("resin", f"density_kg_m3 = 0x{'f' * 5000}", "whole number of too many digits"),
        ("frames", f"interval_s = -1{'0' * 400}", "whole number of too many digits"),
        ("frames", f"skip = {'[' * 60_000}{']' * 60_000}", "stand in each other far too often"),
        ("frames", f"skip = {'[' * 30}{']' * 30}", "stand in each other far too often"),
        ("frames", f'source = "{"a" * 5000}"', "not found beside panel.toml"),
        ("frames", 'source = "a\\u0000b"', "not found beside panel.toml"),
        ("frames", 'skip = ["99-999999999999"]', "no such frame"),
        ("frames", 'skip = ["99-999999999"]', "there are 7 frames only"),
    ],
    ids=lambda value: str(value)[:24],
)
def test_values_past_all_measure(tmp_path, table, line, said):
    folder = with_line(photo_panel(tmp_path / "panel"), table, line)
    assert_borne(call("run", folder), said)
    assert not (folder / "results").exists()


def test_a_skip_range_that_ends_far_behind_the_last_frame_leaves_the_first_ones(tmp_path):
    folder = with_line(photo_panel(tmp_path / "panel"), "frames", 'skip = ["6-999999999"]')
    assert_borne(call("track", folder, "--quiet"))
    assert json.loads((folder / "results/results.json").read_text("utf-8"))["front"]["frames"] == 5


@pytest.mark.parametrize(
    "clock",
    ["speed_up = 1e15", "duration = 1e18", "speed_up = 1e-9", "interval_s = 1e300",
     "speed_up = 30\nsample_every_s = 1e-300"],
)  # fmt: skip
def test_a_film_that_no_panel_takes(tmp_path, clock):
    folder = film_panel(tmp_path / "panel")
    path = folder / "panel.toml"
    path.write_text(path.read_text("utf-8").replace("speed_up = 30", clock), encoding="utf-8")
    assert_borne(call("run", folder), "must be at")


@pytest.mark.parametrize(
    "durations",
    [(40, 40, 5000, 40, 40, 40, 40), (1, 1, 1, 1, 1, 1, 60_000), (60_000, 1, 1, 1, 1, 1, 1),
     (0, 0, 0, 0, 0, 0, 0), (400, 0, 0, 0, 400, 400, 400)],
)  # fmt: skip
def test_a_film_with_uneven_frame_times(tmp_path, durations):
    folder = film_panel(tmp_path / "panel", durations)
    assert_borne(call("run", folder))
    assert not halves(folder)


@needs_pipes
@pytest.mark.parametrize(
    ("make", "name", "said"),
    [
        (marks_panel, "panel.toml", "is a pipe, not a file"),
        (marks_panel, "marks.csv", "is a pipe, not a file"),
        (photo_panel, "fix.csv", "is a pipe, not a file"),
        (photo_panel, "stamps.csv", "is a pipe, not a file"),
        (film_panel, "run.mov", "is a pipe, not a file"),
        (part_folder, "part.toml", "is a pipe, not a file"),
    ],
)
def test_a_pipe_in_place_of_a_file(tmp_path, make, name, said):
    folder = make(tmp_path / "panel")
    make_pipe(folder / name)
    assert_borne(call("part" if make is part_folder else "run", folder), said)


@needs_pipes
def test_a_pipe_among_the_photos_is_left_out(tmp_path):
    folder = photo_panel(tmp_path / "panel")
    make_pipe(folder / "frames" / "bench.jpg")
    assert_borne(call("track", folder, "--quiet"))
    notes = json.loads((folder / "results/results.json").read_text("utf-8"))["frame_notes"]
    assert any("bench.jpg: skipped, not readable as a picture" in note for note in notes)


@needs_pipes
@pytest.mark.parametrize("name", ["results.json", "front.csv", "arrival.npz"])
def test_a_pipe_among_the_results(run_once, name):
    make_pipe(run_once / "results" / name)
    for command in ("fit", "lines"):
        if (command, name) != ("lines", "front.csv"):  # which only a time-lapse asks for
            assert_borne(call(command, run_once), "is a pipe")


@needs_pipes
def test_a_pipe_as_a_log(tmp_path):
    make_pipe(tmp_path / "gauge.csv")
    assert_borne(call("drawdown", tmp_path / "gauge.csv"), "is a pipe")


def test_a_folder_in_place_of_a_file(tmp_path):
    folder = marks_panel(tmp_path / "panel")
    (folder / "marks.csv").unlink()
    (folder / "marks.csv").mkdir()
    assert_borne(call("run", folder))


def test_ignored_the_whole_panel_over(tmp_path):
    everywhere = "ignore_mm = [[[0, 0], [300, 160]]]"
    folder = with_line(photo_panel(tmp_path / "panel"), "panel", everywhere)
    assert_borne(call("run", folder), "ignore_mm leaves 0 % of the panel to look at")


DAMAGED = {
    "empty": lambda data: b"",
    "cut": lambda data: data[: len(data) // 2],
    "zeros": lambda data: bytes(len(data)),
    "list": lambda data: b"[1, 2]",
    "deep": lambda data: b"[" * 60_000,
    "latin": lambda data: b"\xff\xfe\x00" + data,
    "text": lambda data: b"time_s\nfar\n",
    "long": lambda data: b'{"front": 1' + b"0" * 5000 + b"}",
}


@pytest.mark.parametrize("damage", DAMAGED)
@pytest.mark.parametrize("name", ["results.json", "front.csv", "arrival.npz"])
def test_damaged_results_are_refused_or_made_anew(run_once, name, damage):
    path = run_once / "results" / name
    path.write_bytes(DAMAGED[damage](path.read_bytes()))
    for command in ("fit", "forecast", "lines", "resin"):
        result = call(command, run_once)
        assert_borne(result)
        if command != "lines":
            assert result.exit_code == 1
    assert_borne(call("run", run_once, "--quiet"))
    assert call("fit", run_once).exit_code == 0


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (("front", "frames"), "many"),
        (("front", "usable"), "yes"),
        (("front", "dry_spots"), 5),
        (("front", "dry_spots"), [{"x_mm": "far", "y_mm": 1, "area_mm2": 2}]),
        (("front", "clean_lanes_mm"), [[1]]),
        (("front", "clean_lanes_mm"), [[10**400, 2]]),
        (("front", "length_reached_mm"), 1e999),
        (("front", "reason"), None),
        (("scale", "relative_sd"), [1]),
        (("scale", "length_mm"), "long"),
        (("scale",), 7),
        (("front",), "wet"),
    ],
)
def test_a_value_of_another_kind_in_results_json(run_once, place, value):
    path = run_once / "results" / "results.json"
    document = json.loads(path.read_text("utf-8"))
    inside = document
    for key in place[:-1]:
        inside = inside[key]
    inside[place[-1]] = value
    path.write_text(json.dumps(document), encoding="utf-8")
    assert_borne(call("fit", run_once), "lacks what the tracker writes")


@pytest.mark.parametrize(
    ("name", "array"),
    [
        ("time_s", np.zeros(3)),
        ("seen", np.zeros((2, 2), bool)),
        ("homographies", np.zeros((1, 3, 3))),
        ("mm_per_px", np.float64(-1)),
        ("mm_per_px", np.float64(1e300)),
        ("last_s", np.float64(-1e300)),
        ("start_clock_s", np.float64(1e300)),
        ("last_s", np.array(["late"])),
        ("frames", np.array([], dtype="U1")),
    ],
)
def test_arrays_that_do_not_belong_together(run_once, name, array):
    path = run_once / "results" / "arrival.npz"
    with np.load(path) as stored:
        arrays = dict(stored) | {name: array}
    np.savez(path, **arrays)
    assert_borne(call("lines", run_once), "cannot be read: run `wetline track` again")


@pytest.mark.skipif(sys.platform == "win32", reason="names are always text there")
def test_names_that_are_no_utf8(tmp_path):
    folder = photo_panel(tmp_path / os.fsdecode(b"K\xfchne \xff"))
    photos = sorted((folder / "frames").iterdir())
    photos[2].rename(folder / "frames" / os.fsdecode(b"k\xfchl.jpg"))
    (folder / "frames" / os.fsdecode(b"tr\xfcb.jpg")).write_bytes(b"no picture")
    (folder / "frames" / "z\nbreak.jpg").write_bytes(b"no picture")
    assert_borne(call("run", folder, "--pdf"))
    notes = json.loads((folder / "results/results.json").read_text("utf-8"))["frame_notes"]
    assert any("tr\ufffdb.jpg: skipped" in note for note in notes)
    assert "k\ufffdhl.jpg" in (folder / "results/front.csv").read_text("utf-8")
    assert_borne(call("lines", folder, "first"))


def test_a_huge_photo_is_not_unpacked(tmp_path, monkeypatch):
    Image.MAX_IMAGE_PIXELS = None
    folder = photo_panel(tmp_path / "panel")
    Image.new("1", (13_000, 13_000)).save(folder / "frames" / "plan.png")
    unpacked = count_unpacked(monkeypatch)
    assert_borne(call("track", folder, "--quiet"))
    assert 0 < max(unpacked) < 1e6
    notes = json.loads((folder / "results/results.json").read_text("utf-8"))["frame_notes"]
    assert any("plan.png: skipped, more than 64 million pixels" in note for note in notes)
    assert_borne(call("lines", folder, folder / "frames" / "plan.png"), "million pixels")


@pytest.mark.parametrize(
    ("unit", "body", "said"),
    [
        ("99", DXF_BODY, "says no physical size"),
        ("-4", DXF_BODY, "says no physical size"),
        ("4", "", "holds no closed line"),
        (
            "4",
            "0\nSPLINE\n8\n0\n71\n3\n72\n0\n73\n0\n" + DXF_BODY,
            "is not a DXF that can be read",
        ),
        ("4", "0\nCIRCLE\n8\n0\n10\n0\n20\n0\n40\n1e300\n", "cannot be read"),
        ("4", "0\nCIRCLE\n8\n0\n10\n0\n20\n0\n40\nnan\n", "cannot be read"),
        ("4", "0\nARC\n8\n0\n10\n0\n20\n0\n40\n5\n50\ninf\n51\n5\n", "cannot be read"),
        ("words", DXF_BODY, ""),
    ],
)
def test_odd_dxf(tmp_path, unit, body, said):
    reader("ezdxf")
    folder = part_folder(tmp_path / "part", 'file = "cover.dxf"')
    (folder / "cover.dxf").write_text(dxf_text(unit, body), encoding="ascii")
    assert_borne(call("part", folder, "--no-search", "--no-animation"), said or None)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('viewBox="0 0 600 300"', 'viewBox="wide by high"'), "says no physical size"),
        (('viewBox="0 0 600 300"', 'viewBox="0 0 inf 300"'), "says no physical size"),
        (("L 600 0", "L 1e300 0"), "cannot be read"),
        (("L 600 0", "L nan 0"), "is not an SVG that can be read"),
        (("L 600 0", "A 0 1e300 0 0 0 600 0"), ""),
        (("M 0 0 L 600 0 L 600 300 L 0 300 Z", ""), "holds no closed line"),
        (("M 0 0", "M"), "is not an SVG that can be read"),
        (("</svg>", ""), "is not an SVG that can be read"),
        (("<path", "<path " * 500), "is not an SVG that can be read"),
    ],
)
def test_odd_svg(tmp_path, change, said):
    pytest.importorskip("svgpathtools")
    folder = part_folder(tmp_path / "part", 'file = "cover.svg"')
    (folder / "cover.svg").write_text(SVG.replace(*change), encoding="utf-8")
    assert_borne(call("part", folder, "--no-search", "--no-animation"), said or None)


def in_a_process(*arguments, **more):
    environment = {**os.environ, **more.pop("env", {}), "PYTHONPATH": str(ROOT)}
    environment.pop("WETLINE_TRACEBACK", None)
    return subprocess.run(
        [sys.executable, "-m", "wetline", *map(str, arguments)],
        env=environment, capture_output=True, check=False, timeout=120, **more,
    )  # fmt: skip


@pytest.mark.parametrize(("letters", "written"), [("latin-1", "latin-1"), ("ascii", "utf-8")])
def test_a_screen_that_lacks_letters(tmp_path, letters, written):
    folder = marks_panel(tmp_path / "pr\u00fcf \u4e2d")
    done = in_a_process("run", folder, env={"PYTHONIOENCODING": letters})
    assert done.returncode == 0, done.stderr
    assert b"Traceback" not in done.stderr
    assert "Permeability" in done.stdout.decode(written)


@pytest.mark.skipif(sys.platform == "win32", reason="no such pipes there")
def test_a_reader_that_stops_reading(tmp_path):
    folder = marks_panel(tmp_path / "panel")
    reading, writing = os.pipe()
    os.close(reading)
    try:
        done = subprocess.run(
            [sys.executable, "-m", "wetline", "run", str(folder)], stdout=writing,
            stderr=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(ROOT)}, check=False,
            timeout=120,
        )  # fmt: skip
    finally:
        os.close(writing)
    assert done.stderr == b""
    assert done.returncode == 1
    assert (folder / "results" / "report.html").exists()
    assert not halves(folder)


def test_no_library_speaks_to_the_user(tmp_path):
    folder = photo_panel(tmp_path / "panel")
    photos = sorted((folder / "frames").iterdir())
    data = bytearray(photos[3].read_bytes())
    data[len(data) // 2 : len(data) // 2 + 40] = bytes(range(40))  # libjpeg complains of this
    photos[3].write_bytes(data)
    photos[4].write_bytes(photos[4].read_bytes()[:-3000] + b"\xff\xd9")
    Image.new("RGB", (600, 356)).save(folder / "frames" / "x.png", icc_profile=b"no profile")
    done = in_a_process("run", folder, "--quiet")
    assert done.stderr == b"", done.stderr
    assert done.returncode == 0


def test_inputs_stay_as_they_were(tmp_path):
    folder = photo_panel(tmp_path / "panel")
    before = digests(folder)
    for command in ("run", "fit", "lines", "forecast", "resin"):
        assert_borne(call(command, folder))
    assert digests(folder) == before
    assert not halves(folder)


def test_an_outline_drawn_twice_is_no_hole_as_large_as_the_part(tmp_path):
    pytest.importorskip("svgpathtools")
    folder = part_folder(tmp_path / "part", 'file = "cover.svg"')
    path = SVG[SVG.index("<path") : SVG.index("</svg>")]
    (folder / "cover.svg").write_text(SVG.replace(path, path + path), encoding="utf-8")
    assert_borne(call("part", folder), "leave nothing of the part: is it drawn twice?")


@pytest.mark.parametrize(
    ("name", "row", "said"),
    [
        ("vacuum.csv", "1e9,31", "row 10, time_s = 1e9: is more than ten days away"),
        ("viscosity.csv", "100,1e-300", "viscosity_mpas = 1e-300: must be at least 0.1"),
    ],
)
def test_logs_that_no_infusion_keeps(tmp_path, name, row, said):
    folder = rich_marks_panel(tmp_path / "panel")
    with (folder / name).open("a", encoding="utf-8") as file:
        file.write(f"\n{row}\n")
    assert_borne(call("run", folder), said)


@pytest.mark.parametrize("name", ["a" * 300, "two\rlines", "b\\c", 'say "so"', "\u202e"])
def test_a_new_panel_of_any_name(tmp_path, name):
    result = call("new", tmp_path / name, "--no-ask")
    assert_borne(result)
    assert result.exit_code == (1 if len(name) > 255 else 0)
    if result.exit_code == 0:
        read_toml(tmp_path / name / "panel.toml")
