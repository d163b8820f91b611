"""A panel folder followed frame by frame while it fills."""

import cv2
import numpy as np
import pytest

from tests.made_up.live_run import front_mm, photo, picture, write_panel
from vision.cameras.camera import Shot
from vision.cameras.frame_store import FrameStore, StoredFrame
from vision.drawing.live_picture import PictureParts, draw_live, jpeg_bytes, load_frame
from vision.tracking.live_feed import TAP_CORNERS, LiveFeed, has_scale

START_S = 1_933_000_000.0


def feed_with(tmp_path, times, **more):
    """A panel folder whose frames were taken at `times` after resin start."""
    folder = write_panel(tmp_path)
    store = FrameStore(folder / "frames")
    for t in times:
        store.write(Shot(photo(t, **more), START_S + t))
    return folder, store


def test_feed_says_what_is_missing(tmp_path):
    folder = write_panel(tmp_path, scale=False)
    store = FrameStore(folder / "frames")
    feed = LiveFeed(folder)
    feed.resume()
    assert feed.todo == "Waiting for the first picture."
    for k in range(4):
        (frame,) = store.write(Shot(photo(-40.0 + 5 * k), START_S + k))
        feed.add(frame)
    assert feed.todo == TAP_CORNERS
    assert not has_scale(folder)
    write_panel(folder)
    feed.restart()
    assert feed.todo == ""
    assert feed.given_start_s(START_S) == START_S


def test_feed_takes_up_a_run_from_disk(tmp_path):
    folder, store = feed_with(tmp_path, np.arange(-40, 281, 20.0))
    feed = LiveFeed(folder)
    last = feed.resume()
    assert last == START_S + 280
    shown = feed.measure(START_S)
    (frame,) = store.write(Shot(photo(300.0), START_S + 300))
    feed.add(frame)
    assert feed.measure(START_S).tracked.curve.time_s[-1] == pytest.approx(300.0)
    k = int(np.flatnonzero(shown.tracked.curve.time_s == 240.0)[0])
    assert shown.tracked.curve.front_mean_mm[k] == pytest.approx(front_mm(240.0), abs=2.5)


def test_hand_in_one_frame_is_not_wetting(tmp_path):
    folder, store = feed_with(tmp_path, np.arange(-60, 121, 20.0))
    feed = LiveFeed(folder)
    feed.resume()
    for t in (140.0, 160.0, 180.0, 200.0):
        (frame,) = store.write(Shot(photo(t, hand=t == 140.0), START_S + t))
        feed.add(frame)
    curve = feed.measure(START_S).tracked.curve
    k = int(np.flatnonzero(curve.time_s == 140.0)[0])
    assert curve.front_mean_mm[k] == pytest.approx(front_mm(140.0), abs=4.0)


def test_feed_leaves_out_what_it_cannot_use(tmp_path):
    folder, store = feed_with(tmp_path, np.arange(-80, 61, 20.0))
    feed = LiveFeed(folder)
    feed.resume()
    broken = folder / "frames" / "broken.jpg"
    broken.write_bytes(b"\xff\xd8\xff nothing")
    feed.add(StoredFrame(broken, START_S + 80))
    turned = cv2.rotate(picture(90.0), cv2.ROTATE_90_CLOCKWISE)
    (frame,) = store.write(Shot(bytes(cv2.imencode(".jpg", turned)[1]), START_S + 90))
    feed.add(frame)
    assert "changed size" in feed.todo
    (frame,) = store.write(Shot(photo(100.0), START_S + 100))
    feed.add(frame)
    assert feed.todo == ""
    assert feed.measure(START_S) is not None


def test_bumped_camera_is_told_once(tmp_path):
    folder, store = feed_with(tmp_path, np.arange(-160, -20, 20.0))
    feed = LiveFeed(folder)
    feed.resume()
    notes = []
    for k in range(8):
        shift = np.float32([[1, 0, 8 if k >= 2 else 0], [0, 1, 5 if k >= 2 else 0]])
        moved = cv2.warpAffine(picture(-20.0 + k), shift, (600, 356), borderMode=cv2.BORDER_REFLECT)
        (frame,) = store.write(Shot(bytes(cv2.imencode(".jpg", moved)[1]), START_S + k))
        feed.add(frame)
        notes.append(feed.moved_note)
    # 8 px at 1.6 px/mm are 5 mm
    assert notes[1] == ""
    assert notes[2] == "by about 5 mm on the panel"
    assert notes[-1] == ""
    assert not feed.lost


def test_frozen_camera_is_told_and_does_no_harm(tmp_path):
    folder, store = feed_with(tmp_path, np.arange(-160, 1, 20.0))
    feed = LiveFeed(folder)
    feed.resume()
    same = photo(20.0)
    for k in range(6):
        (frame,) = store.write(Shot(same, START_S + 20.0 + k))
        feed.add(frame)
        assert feed.frozen == (k >= 3)
    assert feed.measure(START_S) is not None
    (frame,) = store.write(Shot(photo(40.0), START_S + 40.0))
    feed.add(frame)
    assert not feed.frozen


def test_late_frame_is_left_to_the_recorded_run(tmp_path):
    folder, store = feed_with(tmp_path, np.arange(-40, 61, 20.0))
    feed = LiveFeed(folder)
    feed.resume()
    before = feed.last_clock_s
    (frame,) = store.write(Shot(photo(30.0), START_S + 30))
    feed.add(frame)
    assert feed.last_clock_s == before


def test_picture_shows_the_front(tmp_path):
    folder, _ = feed_with(tmp_path, np.arange(-60, 201, 20.0))
    feed = LiveFeed(folder)
    feed.resume()
    feed.measure(START_S)
    parts = feed.picture(200.0)
    plain = draw_live(PictureParts(parts.image, None, None, 0.0, "edge"))
    drawn = draw_live(parts)
    assert drawn.shape == plain.shape == (356, 600, 3)
    changed = np.abs(drawn.astype(int) - plain).max(axis=2) > 60
    column = 60 + round(front_mm(200.0) * 1.6)
    assert changed[150:220, column - 6 : column + 7].any(axis=1).mean() > 0.8
    assert jpeg_bytes(drawn)[:2] == b"\xff\xd8"
    assert draw_live(parts, 300).shape == (178, 300, 3)
    assert load_frame(folder / "panel.toml") is None
