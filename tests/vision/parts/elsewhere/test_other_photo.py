"""The part found in a photo that is not of its run, against the made-up camera's own map."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.infusion.seen.part_setup import part_camera
from analysis.part.plan.part_toml import read_part
from sample_frames._part_make import part_px
from sample_frames._part_recipes import PART_RECIPES
from tests.made_up.parts.cases import CASES
from tests.made_up.parts.made_part import made_part
from vision.drawing.pictures import read_photo
from vision.errors import WetlineError
from vision.frames.source import open_frames
from vision.parts.elsewhere.other_photo import BY_TAPS, part_in_photo
from vision.parts.part_settings import box_map
from vision.parts.track_part import part_rectifier
from vision.scale.plane_map import apply_homography

SAMPLE = Path(__file__).parents[4] / "sample_frames" / "part_run"


@pytest.fixture(scope="module")
def tapped():
    """A part whose scale is tapped points, and its first and last photo."""
    folder = made_part("tapped")
    camera = part_camera(read_part(folder))
    photos = sorted((folder / "frames").iterdir())
    return camera, read_photo(photos[0]), read_photo(photos[-1])


def off_px(plane, camera, recipe):
    """How far places of the part stand from where the made-up camera has them, in pixels."""
    places = np.asarray(camera.shape.outline_mm)
    here = plane.to_px(apply_homography(box_map(camera.shape), places))
    return np.hypot(*(here - part_px(recipe, places)).T).max()


def test_by_the_runs_own_camera(tapped):
    camera, _, last = tapped
    with open_frames(camera.setup()) as frames:
        run, _ = part_rectifier(camera, frames)
    plane, by = part_in_photo(last, camera, run)
    assert by == "by the run's own camera: right if neither it nor the part has moved since"
    assert off_px(plane, camera, CASES["tapped"]) < 2.0


def test_by_points_of_its_own_from_anywhere(tapped):
    camera, first, _ = tapped
    away = np.ascontiguousarray(np.rot90(first))  # a phone held the other way up
    mm = tuple(map(tuple, np.asarray(camera.shape.outline_mm)[::2].tolist()))
    px = part_px(CASES["tapped"], np.array(mm))
    turned = np.column_stack([px[:, 1], first.shape[1] - 1 - px[:, 0]])
    plane, by = part_in_photo(away, camera, None, (tuple(map(tuple, turned.tolist())), mm))
    assert by == BY_TAPS
    places = np.asarray(camera.shape.outline_mm)
    here = plane.to_px(apply_homography(box_map(camera.shape), places))
    true = part_px(CASES["tapped"], places)
    true = np.column_stack([true[:, 1], first.shape[1] - 1 - true[:, 0]])
    assert np.hypot(*(here - true).T).max() < 1.0


def test_by_the_cards():
    camera = part_camera(read_part(SAMPLE))
    image = read_photo(sorted((SAMPLE / "frames").iterdir())[0])
    plane, by = part_in_photo(image, camera)
    assert by == "by the cards: right if the part lies between them as it did in the run"
    assert off_px(plane, camera, PART_RECIPES["part_run"]) < 2.0


def test_a_photo_from_elsewhere_is_not_placed(tapped):
    camera, first, last = tapped
    with open_frames(camera.setup()) as frames:
        run, _ = part_rectifier(camera, frames)
    for image in (np.rot90(first).copy(), np.full_like(first, 90)):
        with pytest.raises(WetlineError, match="could not be found in it: it needs its corners"):
            part_in_photo(image, camera, run)
    with pytest.raises(WetlineError, match="could not be found"):
        part_in_photo(last, camera)  # nothing to find it by
    sheet = replace(camera, scale=part_camera(read_part(SAMPLE)).scale)
    with pytest.raises(WetlineError, match="three of the four cards in view, or its corners"):
        part_in_photo(first, sheet)
