"""A watched folder across a crash: no picture is lost, none of another run is taken."""

import cv2
import numpy as np
import pytest
from PIL import Image

from tests.made_up.live_camera import jpeg
from vision.cameras.clock import SteadyClock
from vision.cameras.open_camera import JOURNAL, open_camera
from vision.cameras.phone_upload import check_jpeg
from vision.cameras.watched_folder import FolderCamera


def put(folder, name, shade=100):
    image = np.full((160, 240, 3), shade, np.uint8)
    (folder / name).write_bytes(bytes(cv2.imencode(".jpg", image)[1]))


def taken(camera, looks=6):
    shots = [camera.next(0.0) for _ in range(looks)]
    return [shot.data for shot in shots if shot is not None]


def data_of(folder, *names):
    return [(folder / name).read_bytes() for name in names]


def test_pictures_that_came_between_a_crash_and_the_restart_are_taken_in(tmp_path):
    put(tmp_path, "other_run.jpg", 10)
    journal = tmp_path / "panel" / "frames" / JOURNAL
    first = FolderCamera(tmp_path, journal)
    put(tmp_path, "a.jpg", 40)
    put(tmp_path, "b.jpg", 50)
    assert taken(first) == data_of(tmp_path, "a.jpg", "b.jpg")
    put(tmp_path, "c.jpg", 60)  # nobody is looking now
    again = FolderCamera(tmp_path, journal)
    put(tmp_path, "d.jpg", 70)
    assert taken(again) == data_of(tmp_path, "c.jpg", "d.jpg")
    assert taken(FolderCamera(tmp_path, journal)) == []


def test_picture_handed_on_when_the_crash_came_is_taken_again(tmp_path):
    journal = tmp_path / "panel" / JOURNAL
    camera = FolderCamera(tmp_path, journal)
    put(tmp_path, "a.jpg")
    camera.next(0.0)
    assert camera.next(0.0) is not None  # handed on; whether it reached the disk is not known
    assert taken(FolderCamera(tmp_path, journal)) == data_of(tmp_path, "a.jpg")


def test_half_a_line_in_the_journal_is_no_name(tmp_path):
    journal = tmp_path / "panel" / JOURNAL
    camera = FolderCamera(tmp_path, journal)
    put(tmp_path, "a.jpg", 30)
    put(tmp_path, "ab.jpg", 90)
    assert len(taken(camera)) == 2
    text = journal.read_bytes()
    journal.write_bytes(text[: text.index(b"ab.jpg") + 1])
    assert taken(FolderCamera(tmp_path, journal)) == data_of(tmp_path, "ab.jpg")


def test_journal_of_another_folder_does_not_count(tmp_path):
    here, there = tmp_path / "here", tmp_path / "there"
    here.mkdir(), there.mkdir()
    journal = tmp_path / JOURNAL
    FolderCamera(here, journal)
    put(there, "before.jpg", 20)
    camera = FolderCamera(there, journal)
    put(there, "after.jpg", 80)
    assert taken(camera) == data_of(there, "after.jpg")


def test_folder_camera_keeps_its_journal_beside_the_frames(tmp_path):
    inbox, panel = tmp_path / "inbox", tmp_path / "panel"
    inbox.mkdir(), panel.mkdir()
    with open_camera(str(inbox), panel, 10.0, SteadyClock()):
        assert (panel / "frames" / JOURNAL).is_file()


def test_folder_gives_new_pictures_once_they_are_whole(tmp_path):
    (tmp_path / "old.jpg").write_bytes(jpeg(5))
    camera = FolderCamera(tmp_path)
    data = jpeg(70)
    (tmp_path / "a.jpg").write_bytes(data[: len(data) // 2])
    assert camera.next(0.0) is None
    assert camera.next(0.0) is None  # the same size twice, but its end is missing
    (tmp_path / "a.jpg").write_bytes(data)
    assert camera.next(0.0) is None
    shot = camera.next(0.0)
    assert shot.data == data
    assert shot.clock_s == pytest.approx((tmp_path / "a.jpg").stat().st_mtime)
    assert camera.next(0.0) is None


def test_folder_takes_png_too(tmp_path):
    camera = FolderCamera(tmp_path)
    Image.new("RGB", (200, 150), (90, 80, 70)).save(tmp_path / "b.png")
    camera.next(0.0)
    assert check_jpeg(camera.next(0.0).data) == 1
