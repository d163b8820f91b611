"""Stage photos as the record shows them: with lines only where their place can be told."""

import io
import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

import wetline
from analysis.record.day.day_toml import read_day
from analysis.record.day.filing import file_photo
from analysis.record.day.stage_pictures import (
    NEEDS_CORNERS,
    last_photo_in_inches,
    stage_pictures,
)

SAMPLE = Path(__file__).resolve().parents[4] / "sample_frames" / "carbon_corners"
FACE = ((328.9, 200.8), (967.9, 179.2), (1014.6, 566.1), (268.5, 569.9))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("stage") / "hood"
    shutil.copytree(SAMPLE, place, ignore=shutil.ignore_patterns("truth"))
    wetline.track(place, write=True)
    return place


def shown(folder, photo, stage, **more):
    """File one photo in a folder of its own day and give its picture."""
    (folder / "day.toml").unlink(missing_ok=True)
    file_photo(folder, photo, stage, **more)
    (picture,) = stage_pictures(folder, read_day(folder), usable=True)
    return picture


def changed_pixels(picture, photo):
    drawn = np.asarray(Image.open(io.BytesIO(picture.jpeg)).convert("RGB"), int)
    plain = cv2.imread(str(photo))[..., ::-1]
    size = (drawn.shape[1], drawn.shape[0])
    plain = cv2.resize(plain, size, interpolation=cv2.INTER_AREA).astype(int)
    return float(np.mean(np.abs(drawn - plain).max(axis=2) > 60))


def test_a_photo_is_small_and_gets_the_lines(folder):
    last = sorted((folder / "frames").iterdir())[-1]
    picture = shown(folder, last, "end of fill")
    assert max(Image.open(io.BytesIO(picture.jpeg)).size) == 1000
    assert picture.words.startswith("front lines by the run's own camera")
    assert changed_pixels(picture, last) > 0.01


def test_a_demoulded_panel_needs_its_corners(folder):
    last = sorted((folder / "frames").iterdir())[-1]
    face = shown(folder, last, "face")
    assert face.words.startswith("no front lines: the panel could not be found")
    assert changed_pixels(face, last) < 0.001
    tapped = shown(folder, last, "face", corners_px=FACE)
    assert tapped.words == "front lines by the four corners"
    assert changed_pixels(tapped, last) > 0.01
    assert shown(folder, last, "back").words == NEEDS_CORNERS


def test_before_the_run_there_is_a_scale_bar_and_no_front(folder):
    first = sorted((folder / "frames").iterdir())[0]
    bag = shown(folder, first, "bag")
    assert bag.words.startswith("scale bar by the run's own camera")
    end = shown(folder, first, "end of fill")
    assert changed_pixels(end, first) > 1.3 * changed_pixels(bag, first) > 0


def test_lengths_on_photos_are_in_inches_where_the_record_is(folder):
    last = sorted((folder / "frames").iterdir())[-1]
    metric = shown(folder, last, "end of fill")
    (inch,) = stage_pictures(folder, read_day(folder), usable=True, inch=True)
    pixels = [np.asarray(Image.open(io.BytesIO(p.jpeg)), int) for p in (metric, inch)]
    share = np.mean(np.abs(pixels[0] - pixels[1]).max(axis=2) > 40)
    assert 0 < share < 0.02  # the bar and its number, and no more
    tracked = wetline.load(folder)
    again = cv2.imdecode(np.frombuffer(last_photo_in_inches(folder, tracked), np.uint8), 1)
    assert again.shape == cv2.imread(str(last)).shape
    (folder / "frames").rename(folder / "away")
    try:
        assert last_photo_in_inches(folder, tracked) is None
    finally:
        (folder / "away").rename(folder / "frames")


def test_a_photo_that_has_gone_is_said(folder):
    last = sorted((folder / "frames").iterdir())[-1]
    (folder / "day.toml").unlink(missing_ok=True)
    filed = file_photo(folder, last, "end of fill")
    (folder / filed.file).unlink()
    (picture,) = stage_pictures(folder, read_day(folder), usable=True)
    assert (picture.jpeg, picture.words) == (b"", "the photo is missing or cannot be read")
