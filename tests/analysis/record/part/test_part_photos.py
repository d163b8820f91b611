"""Planned and seen front on the photos of a part's day, where the part is found in them."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from analysis.infusion.kept.kept_run import read_kept
from analysis.part.answer.job import answer_job
from analysis.record.day.day_records import Day, StagePhoto
from analysis.record.day.day_toml import read_day
from analysis.record.part.part_photos import MIRRORED, part_pictures
from tests.made_up.infusion_answers import grey_photo, write_even_run
from wetline import main

TYPED = "60,60 540,60 540,300 60,300"
"""Corners as the made-up camera straight above has them, in the plan's order."""


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    folder = tmp_path_factory.mktemp("shop") / "cover"
    write_even_run(folder)
    assert cv2.imwrite(str(folder / "IMG_7.png"), grey_photo())
    done = CliRunner().invoke(
        main,
        ["record", str(folder), str(folder / "IMG_7.png"), "--stage", "end of fill",
         "--corners", TYPED, "-q"],
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    return read_kept(folder)


def drawn(kept, photo):
    (picture,) = part_pictures(
        kept, answer_job(kept.job, kept.results, print), Day(photos=(photo,))
    )
    image = cv2.imdecode(np.frombuffer(picture.jpeg, np.uint8), cv2.IMREAD_COLOR)
    return np.abs(image.astype(float) - 128).max(axis=2), picture.words


def test_corners_typed_in_the_plan_s_order_are_filed_and_place_the_fronts(kept):
    (filed,) = read_day(kept.job.path.parent).photos
    assert filed.points_mm == ((0, 0), (600, 0), (600, 300), (0, 300))
    on, words = drawn(kept, filed)
    assert words == "planned and seen front by the corners tapped in it"
    middle = on[100:260]  # below the title and above the lower rim
    assert (middle[:, 59:62] > 60).any(axis=1).mean() > 0.9  # the outline's left side at x = 60
    assert (middle[:, :50] > 60).mean() < 0.01  # nothing beside the part
    inner = (middle[:, 80:520] > 60).any(axis=0)
    assert 0.05 < inner.mean() < 0.9  # lines across it


def test_before_the_run_only_the_plan_is_drawn_and_the_back_is_left_alone(kept):
    (filed,) = read_day(kept.job.path.parent).photos
    on, words = drawn(kept, replace(filed, stage="bag"))
    assert words == "planned front by the corners tapped in it"
    assert (on > 60).any()
    on, words = drawn(kept, replace(filed, stage="demoulded back"))
    assert words == MIRRORED
    assert on.max() < 20


def test_a_photo_that_cannot_be_placed_says_so(kept):
    (filed,) = read_day(kept.job.path.parent).photos
    on, words = drawn(kept, StagePhoto(filed.file, "demoulded face"))
    assert words == "no lines: the part could not be found in it: it needs its corners tapped"
    assert on.max() < 20


def test_corners_in_another_order_are_refused(kept):
    folder = kept.job.path.parent
    before = (folder / "day.toml").read_bytes()
    assert cv2.imwrite(str(folder / "IMG_8.png"), grey_photo() + 3)
    typed = "540,60 60,60 540,300 60,300"
    words = ["record", str(folder), str(folder / "IMG_8.png"), "--stage", "bag", "--corners", typed]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 1
    assert "exchanged" in done.output
    assert (folder / "day.toml").read_bytes() == before
