"""What does not go with the plan: one line each with the mend, never a quiet guess."""

import itertools
import shutil
from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from analysis.infusion.seen.part_setup import part_camera
from analysis.part.plan.part_toml import read_part
from tests.made_up.parts.made_part import made_part
from vision.errors import WetlineError
from vision.frames.source import open_frames, resin_start_clock_s
from vision.part_records import FeedPlace
from vision.parts.live_part import LivePart
from vision.parts.part_settings import box_map
from vision.parts.part_words import beyond_doubts, stray_doubts
from vision.parts.track_part import track_part_folder

FAR_END = FeedPlace("far end", np.array([[0.97, 0.1], [0.97, 0.9]]), first=False)


@cache
def camera():
    return part_camera(read_part(made_part("hole")))


def at(shares):
    """Places on the part by shares of its outline's box."""
    outline = camera().shape.outline_mm
    return outline.min(axis=0) + shares * np.ptp(outline, axis=0)


def with_feeds(*feeds, only=False):
    placed = tuple(replace(feed, points_mm=at(feed.points_mm)) for feed in feeds)
    shape = camera().shape
    return replace(camera(), shape=replace(shape, feeds=placed if only else shape.feeds + placed))


def test_feed_that_was_never_seen_to_wet_is_named_with_the_mend():
    cam = with_feeds(FAR_END)
    half = replace(cam, frames=replace(cam.frames, skip_ranges=((15, 999),)))
    seen = track_part_folder(half).seen
    assert np.isinf(dict(seen.feeds_seen)["far end"])
    told = [text for text in seen.warnings if "'far end' opens later" in text]
    assert len(told) == 1
    assert "if it was open by then" in told[0]
    assert "take it out" not in told[0]
    assert "\n" not in told[0]


def test_much_that_no_feed_can_have_sent_puts_the_run_in_doubt_and_a_spill_does_not():
    shape = camera().shape
    outline, *holes = (
        cv2.contourArea(points.astype(np.float32)) for points in (shape.outline_mm, *shape.holes_mm)
    )
    area = outline - sum(holes)
    spill = SimpleNamespace(reason="", strays=((50.0, 50.0, 0.02 * area, 60.0),))
    assert stray_doubts(camera(), spill) == ()
    much = SimpleNamespace(reason="", strays=(*spill.strays, (90.0, 50.0, 0.08 * area, 90.0)))
    (doubt,) = stray_doubts(camera(), much)
    assert "10 % of the part" in doubt
    assert "see that the feeds of the plan lie where the real ones do" in doubt


def test_while_the_run_goes_on_nothing_is_said_of_a_feed_that_may_open_yet():
    cam = with_feeds(FAR_END)
    with open_frames(cam.setup()) as frames:
        live = LivePart.of(cam, frames)
        for frame in itertools.islice(frames, 14):
            live.add(frame)
        seen = live.read(resin_start_clock_s(cam.setup(), frames))
    assert seen is not None
    assert np.isinf(dict(seen.feeds_seen)["far end"])
    assert not any("far end" in text for text in seen.warnings)


def test_front_that_runs_towards_the_only_planned_feed_is_refused():
    run = track_part_folder(with_feeds(replace(FAR_END, first=True), only=True))
    assert not run.seen.usable
    assert not run.seen.used.any()
    assert "does not spread from any planned feed" in run.seen.reason


def test_run_without_doubt_has_no_picture_of_what_was_not_understood():
    assert track_part_folder(camera()).unexplained is None


def test_lasting_change_where_no_feed_can_have_sent_resin_is_told_and_not_counted(tmp_path):
    home = tmp_path / "hole"
    shutil.copytree(made_part("hole"), home)
    plain = track_part_folder(camera()).seen
    centre = at(np.array([[0.8, 0.3]]))
    for number, path in enumerate(sorted((home / "frames").iterdir())):
        if number < 6:
            continue
        image = cv2.imread(str(path))
        place = np.hstack([centre, [[1.0]]]) @ plain.homographies[number].T
        spot = np.zeros(image.shape[:2], np.uint8)
        x, y = (place[0, :2] / place[0, 2]).astype(int).tolist()
        cv2.circle(spot, (x, y), 14, 1, -1)
        image[spot > 0] = (0.62 * image[spot > 0]).astype(np.uint8)
        cv2.imwrite(str(path), image, [cv2.IMWRITE_JPEG_QUALITY, 95])
        shutil.copystat(made_part("hole") / "frames" / path.name, path)
    cam = part_camera(read_part(home))
    cam = replace(cam, frames=replace(cam.frames, resin_start=None, interval_s=60.0))
    seen = track_part_folder(cam).seen
    told = [text for text in seen.warnings if "no planned feed can have sent resin" in text]
    assert len(told) == 1
    assert "name it in part.toml" in told[0]
    col = int(np.argmin(np.abs(seen.x_mm - centre[0, 0])))
    row = int(np.argmin(np.abs(seen.y_mm - centre[0, 1])))
    assert seen.time_s[row, col] > plain.last_s / 2


def test_outline_that_is_not_the_part_in_the_photo_is_in_doubt():
    # The plan's upper right quarter is cut away; in the photo it wets as the rest.
    shape = camera().shape
    corners = at(np.array([[0, 0], [0.5, 0], [0.5, 0.5], [1, 0.5], [1, 1], [0, 1]]))
    run = track_part_folder(replace(camera(), shape=replace(shape, outline_mm=corners)))
    seen = run.seen
    assert any("wets outside the outline" in text for text in seen.doubts)
    assert not any("wets outside" in text for text in track_part_folder(camera()).seen.doubts)


def test_a_place_in_the_part_s_opening_is_said_to_be_there():
    (hole,) = camera().shape.holes_mm
    middle, off = hole.mean(axis=0), at(np.array([[1.1, 0.5]]))[0]
    on_canvas = [box_map(camera().shape) @ (*place, 1.0) for place in (middle, off)]
    inner, outer = ((place[0], place[1], 2000.0, 60.0) for place in on_canvas)
    (text,) = beyond_doubts(camera(), SimpleNamespace(beyond=(inner,), reason=""))
    assert text.startswith("about 20 cm2 wets in an opening, most of it about")
    assert f"({middle[0]:.0f}, {middle[1]:.0f}) mm" in text
    both = beyond_doubts(camera(), SimpleNamespace(beyond=(inner, outer), reason=""))
    assert [("outside the outline" in text, "in an opening" in text) for text in both] == [
        (True, False),
        (False, True),
    ]


def test_part_out_of_view_is_refused_in_words_of_a_part():
    # A plan three times as wide as what the photo shows between the cards.
    shape = camera().shape
    outline = shape.outline_mm * np.array([3.0, 1.0])
    with pytest.raises(WetlineError, match=r"\d\d % of the part lies outside the picture") as told:
        track_part_folder(replace(camera(), shape=replace(shape, outline_mm=outline)))
    assert "panel" not in str(told.value)
