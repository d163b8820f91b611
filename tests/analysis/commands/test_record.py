"""`wetline record` as it is typed: from stage photos to a sealed report of a sample run."""

import base64
import json
import shutil
import time
from datetime import datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from analysis.record.day.day_toml import read_day
from tests.made_up.pages import Page
from wetline import main

SAMPLES = Path(__file__).resolve().parents[3] / "sample_frames"
MOST_BYTES = 3_000_000
MOST_RUNS = 8.0
"""A few seconds on a quiet computer; judged by what the run of the same photos takes on this one,
in processor time."""


def wetline(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


def _watch_on(frames, count):
    """Go on photographing the filled panel until there are so many photos: other noise, later."""
    last = sorted(frames.iterdir())[-1]
    rng = np.random.default_rng(5)
    for number in range(1, count - len(list(frames.iterdir())) + 1):
        with Image.open(last) as image:
            exif, pixels = image.getexif(), np.asarray(image, float)
        taken = datetime(2024, 5, 14, 9, 30) + timedelta(seconds=23 * number)
        exif.get_ifd(0x8769)[0x9003] = exif[0x0132] = taken.strftime("%Y:%m:%d %H:%M:%S")
        noisy = np.clip(pixels + rng.normal(0, 1.5, pixels.shape), 0, 255).astype(np.uint8)
        Image.fromarray(noisy).save(frames / f"photo_{300 + number:04d}.jpg", exif=exif, quality=82)


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """A sample run that was tracked, with the drawdown, plan and forecast of its day; its time."""
    place = tmp_path_factory.mktemp("day") / "cover"
    shutil.copytree(SAMPLES / "glass_edge", place, ignore=shutil.ignore_patterns("truth"))
    _watch_on(place / "frames", 60)
    rows = [f"{t},{22 + 0.3 * t:.1f}" for t in range(21)]
    (place / "gauge_before.csv").write_text("time_min,bag_mbar\n" + "\n".join(rows) + "\n")
    (place / "stamps.csv").write_text(
        "clock,kind,text,photo\n"
        "2024-05-14T09:12:37+02:00,resin open,,\n"
        "2024-05-14T09:20:00+02:00,note,foam in the feed line,\n"
        "2024-05-14T09:30:00+02:00,clamp,,\n"
    )
    (place / "gauge.csv").write_text("clock_s,bag_mbar\n1715670700,60\n1715671000,62\n")
    started = time.process_time()
    assert wetline("run", place).exit_code == 0
    run_s = time.process_time() - started
    assert wetline("drawdown", place / "gauge_before.csv").exit_code == 0
    assert wetline("resin", place).exit_code == 0
    assert wetline("forecast", place).exit_code == 0
    return place, run_s


@pytest.fixture(scope="module")
def folder(run):
    return run[0]


@pytest.fixture(scope="module")
def filed(folder):
    """The same with stage photos and findings filed."""
    frames = sorted((folder / "frames").iterdir())
    words = ("--stage", "bag", "--note", "pleat at the vent", "--by", "K. N.", "--batch", "R-22")
    assert wetline("record", folder, frames[0], *words).exit_code == 0
    done = wetline("record", folder, frames[-1], "--stage", "End-of-fill", "--at", "09:31")
    assert done.exit_code == 0, done.output
    assert "Filed: stages/end_of_fill.jpg (end of fill, 2024-05-14 09:31:00)" in done.output
    started = time.process_time()
    words = ("--surface", "good", "--weight", "850 g", "--thickness", "2.1 2.0 2.1 2.2 2.1",
             "--mark", "pit 210 45 by the tape", "--mark", "bubble 300 120")  # fmt: skip
    done = wetline("record", folder, *words)
    assert done.exit_code == 0, done.output
    return done.output, time.process_time() - started


def test_what_was_filed_is_said_with_the_front_beside_each_mark(folder, filed):
    output, _ = filed
    assert 'Understood: [findings] weight_kg = "850 g": 0.85 kg' in output
    assert "Mark 1: pit at x 210, y 45 mm: wetted at " in output
    assert "the front moved" in output
    day = read_day(folder)
    assert (day.done_by, day.batch) == ("K. N.", "R-22")
    assert [photo.stage for photo in day.photos] == ["bag", "end of fill"]
    assert day.findings.thickness_mm == (2.1, 2.0, 2.1, 2.2, 2.1)


def test_the_report_holds_the_day_in_its_order(folder, filed):
    text = (folder / "results" / "report.html").read_text(encoding="utf-8")
    html5lib = pytest.importorskip("html5lib", reason="the optional extra `check`")
    html5lib.HTMLParser(strict=True).parse(text)
    words = Page(text).words
    heads = [
        "Verdict: fills",
        "Key numbers",
        "Set-up",
        "Drawdown",
        "Mixing plan",
        "The run",
        "How fair was the test?",
        "Forecast",
        "After demoulding",
        "Warnings",
        "Cautions",
        "Settings (panel.toml)",
        "Files it rests on (SHA-256)",
    ]
    places = [words.index(head) for head in heads]
    assert places == sorted(places)
    whole = " ".join(words)
    for told in (
        "K. N.", "R-22", "Pleat at the vent.", "Scale bar by the cards", "Front lines by the cards",
        "The bag: go.", "foam in the feed line", "clamp", "To mix in all", "Room to spare",
        "1. pit (by the tape)", "x 210, y 45 mm", "Thickness, mean", "0.850 kg",
        "End of fill, 2024-05-14 09:31 (as said).",
    ):  # fmt: skip
        assert told in whole, told
    assert "frames/photo_0212.jpg" in whole
    assert "gauge_before.csv" in whole
    assert "stages/bag.jpg" in whole


def test_from_sixty_photos_it_is_quick_and_small_enough_to_mail(run, folder, filed):
    assert len(list((folder / "frames").iterdir())) == 60
    assert filed[1] < MOST_RUNS * run[1]
    for name in ("report.html", "report.pdf"):
        assert (folder / "results" / name).stat().st_size < MOST_BYTES


def test_the_pdf_tells_the_same(folder, filed):
    pypdf = pytest.importorskip("pypdf", reason="the optional extra `check`")
    read = pypdf.PdfReader(folder / "results" / "report.pdf")
    whole = " ".join(" ".join(page.extract_text() for page in read.pages).split())
    for told in (
        "Verdict: fills",
        "The bag: go.",
        "foam in the feed line",
        "1. pit (by the tape)",
        "K. N.",
        "Room to spare",
        "Mixing plan",
        f"page 2 of {len(read.pages)}",
    ):
        assert told in whole, told


def test_verify_names_what_has_changed(folder, filed, tmp_path):
    place = tmp_path / "cover"
    shutil.copytree(folder, place)
    good = wetline("record", place, "--verify")
    assert (good.exit_code, good.output.strip()) == (
        0,
        "Nothing has changed since the report was written.",
    )
    (place / "frames" / "photo_0220.jpg").unlink()
    with (place / "day.toml").open("a", encoding="utf-8") as file:
        file.write("\n")
    (place / "late.csv").write_text("a\n1\n")
    with (place / "results" / "front.csv").open("a", encoding="utf-8") as file:
        file.write("\n")
    bad = wetline("record", place, "--verify")
    assert bad.exit_code == 1
    assert bad.output.split("\n")[:4] == [
        "changed: day.toml",
        "missing: frames/photo_0220.jpg",
        "new: late.csv",
        "changed: results/front.csv",
    ]
    told = json.loads(wetline("record", place, "--verify", "--json").output)
    assert {"file": "late.csv", "how": "new"} in told


def test_inches_and_letter(folder, filed, tmp_path):
    place = tmp_path / "cover"
    shutil.copytree(folder, place)
    done = wetline("record", place, "--inch", "--paper", "letter", "--quiet")
    assert (done.exit_code, done.output) == (0, "")
    text = (place / "results" / "report.html").read_text(encoding="utf-8")
    assert "x 210, y 45 mm (x 8.27, y 1.77 in)" in text
    assert "940 mbar (27.76 inHg)" in text
    assert "Front, in" in text
    assert "size: letter" in text
    levers = base64.b64encode((place / "results" / "levers.png").read_bytes()).decode("ascii")
    assert levers not in text  # drawn again, with inches on its axes
    metric = (folder / "results" / "report.html").read_text(encoding="utf-8")
    assert text.count("<img") == metric.count("<img")
    assert levers in metric
    pypdf = pytest.importorskip("pypdf", reason="the optional extra `check`")
    page = pypdf.PdfReader(place / "results" / "report.pdf").pages[0]
    assert float(page.mediabox.height) == pytest.approx(792, abs=0.5)


def test_a_plan_that_no_longer_holds_is_left_out_and_said(folder, filed, tmp_path):
    place = tmp_path / "cover"
    shutil.copytree(folder, place)
    settings = (place / "panel.toml").read_text(encoding="utf-8")
    (place / "panel.toml").write_text(
        settings.replace("gel_time_min = 100", "gel_time_min = 20"), encoding="utf-8"
    )
    assert wetline("record", place).exit_code == 0
    whole = " ".join(Page((place / "results" / "report.html").read_text(encoding="utf-8")).words)
    assert "The plan was worked out before panel.toml or the front changed" in whole
    assert "The forecast was worked out before panel.toml or the front changed" in whole
    assert "Room to spare" not in whole
    assert "To mix in all" not in whole


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["PHOTO"], "--stage is needed"),
        (["PHOTO", "--stage", "bagg"], "did you mean bag?"),
        (["PHOTO", "--stage", "bag", "--at", "noon"], "must be a time"),
        (["PHOTO", "--stage", "bag", "--corners", "1,2 3,4"], "must be four points"),
        (["PHOTO", "--stage", "bag", "--corners", "0,0 0,9 9,9 9,0"], "run clockwise"),
        (["--stage", "bag"], "goes with a photo"),
        (["--mark", "pit 900 10"], "off the panel"),
        (["--mark", "pit here"], "such as"),
        (["--surface", "nice"], "must be one of very good"),
        (["--weight", "850"], 'write "850 g"'),
        (["--thickness", "2 3 x"], "--thickness 3 x: has the unit x"),
        (["--thickness", "1 2"], "2 places are told: five are needed"),
        (["--thickness", "1,2"], "1 place is told: five are needed"),
        (["--thickness", "2 2 2 2 2 2"], "6 places are told"),
        (["--thickness", "2 mm 2 2 2 2"], "some have a unit and some have none"),
        (["--thickness", "x 2 2 2 2"], "must be a length"),
        (["PHOTO", "--surface", "good"], "--stage is needed"),
        (["PHOTO", "nosuch.jpg", "--stage", "bag", "--by", "K. N."], "nosuch.jpg: cannot be read"),
        (["--surface", "good", "--mark", "pit 90 10", "--mark", "pit 900 10"], "off the panel"),
    ],
)
def test_what_is_typed_wrong_is_told_in_one_line_and_nothing_filed(tmp_path, words, told):
    place = tmp_path / "cover"
    place.mkdir()
    (place / "panel.toml").write_text("[panel]\nlength_mm = 400\nwidth_mm = 200\n")
    photo = tmp_path / "a.jpg"
    photo.write_bytes(cv2.imencode(".jpg", np.zeros((40, 60, 3), np.uint8))[1].tobytes())
    done = wetline("record", place, *(photo if word == "PHOTO" else word for word in words))
    assert done.exit_code == 1
    assert told in done.output
    assert done.output.startswith("Error: ")
    assert done.output.count("\n") == 1
    assert not (place / "day.toml").exists()
    assert not list((place / "stages").glob("*")) if (place / "stages").exists() else True


def test_before_the_run_it_files_and_says_when_the_report_comes(tmp_path):
    place = tmp_path / "cover"
    place.mkdir()
    (place / "panel.toml").write_text("[panel]\nlength_mm = 400\nwidth_mm = 200\n")
    done = wetline("record", place, "--by", "K. N.")
    assert done.exit_code == 0
    assert "The report comes with the result: `wetline run" in done.output
    assert wetline("record", place, "--verify").exit_code == 1


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("2.1 2.0 2.1 2,2 2.1", (2.1, 2.0, 2.1, 2.2, 2.1)),
        ("2.1; 2.0; 2.1; 2.2; 2.1", (2.1, 2.0, 2.1, 2.2, 2.1)),
        ("0.1, 0.1, 0.1, 0.1, 0.2 in", (2.54, 2.54, 2.54, 2.54, 5.08)),
        ("0.1in 0.1in 0.1in 0.1in 2mm", (2.54, 2.54, 2.54, 2.54, 2.0)),
    ],
)
def test_five_thicknesses_are_read_as_they_are_set_down(tmp_path, typed, kept):
    (tmp_path / "panel.toml").write_text("[panel]\nlength_mm = 400\nwidth_mm = 200\n")
    done = wetline("record", tmp_path, "--thickness", typed)
    assert done.exit_code == 0, done.output
    assert read_day(tmp_path).findings.thickness_mm == pytest.approx(kept)
    said = f"thickness_mm: {', '.join(f'{mm:.4g}' for mm in kept)} mm"
    assert (said in done.output) == ("in" in typed)


@pytest.mark.parametrize("words", [(), ("--by", "K. N."), ("--json",)])
def test_a_folder_of_neither_panel_nor_part_has_no_record(tmp_path, words):
    done = wetline("record", tmp_path, *words)
    assert done.exit_code == 1
    assert "has no panel.toml and no part.toml" in done.output
    assert done.output.count("\n") == 1
    assert list(tmp_path.iterdir()) == []
    gone = wetline("record", tmp_path / "nosuch", *words)
    assert gone.exit_code == 1
    assert "nosuch: no such folder: make one with" in gone.output


def test_nothing_typed_is_nothing_filed(tmp_path):
    (tmp_path / "panel.toml").write_text("[panel]\nlength_mm = 400\nwidth_mm = 200\n")
    assert "Filed" not in wetline("record", tmp_path).output
    assert "Filed." in wetline("record", tmp_path, "--surface", "good").output


def test_a_photo_filed_by_mistake_is_taken_out_and_kept(tmp_path):
    (tmp_path / "panel.toml").write_text("[panel]\nlength_mm = 400\nwidth_mm = 200\n")
    for k in range(2):
        photo = tmp_path / f"{k}.jpg"
        grey = np.full((40, 60, 3), 90 * k, np.uint8)
        photo.write_bytes(cv2.imencode(".jpg", grey)[1].tobytes())
        assert wetline("record", tmp_path, photo, "--stage", "bag").exit_code == 0
    again = wetline("record", tmp_path, tmp_path / "0.jpg", "--stage", "bag")
    assert f"wetline record {tmp_path.name} --take-out stages/bag.jpg" in again.output
    wrong = wetline("record", tmp_path, "--take-out", "bg.jpg", "--surface", "good")
    assert wrong.exit_code == 1
    assert "is not filed; filed are: stages/bag.jpg (bag), stages/bag-2.jpg (bag)" in wrong.output
    assert read_day(tmp_path).findings.surface == ""  # all that was typed, or nothing
    done = wetline("record", tmp_path, "--take-out", "bag.jpg")
    assert done.exit_code == 0, done.output
    assert "Taken out: stages/bag.jpg (bag), kept as taken_out/bag.jpg" in done.output
    assert [one.file for one in read_day(tmp_path).photos] == ["stages/bag-2.jpg"]
    assert (tmp_path / "taken_out" / "bag.jpg").is_file()
    text = (tmp_path / "day.toml").read_text(encoding="utf-8")
    twice = text.replace("[[photo]]", '[[photo]]\nfile = "stages/bag-2.jpg"\nstage = "stack"\n\n'
                         "[[photo]]", 1)  # fmt: skip
    (tmp_path / "day.toml").write_text(twice, encoding="utf-8")
    assert "add its --stage" in wetline("record", tmp_path, "--take-out", "bag-2.jpg").output
    assert wetline("record", tmp_path, "--take-out", "bag-2.jpg", "--stage", "stack").exit_code == 0
    assert [one.stage for one in read_day(tmp_path).photos] == ["bag"]
