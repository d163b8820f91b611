"""Every picture on disk with its time, and what happens when the disk is full."""

import io

import cv2
import numpy as np
from PIL import Image

from tests.made_up.live_camera import START_S, jpeg
from vision.cameras.camera import Shot
from vision.cameras.frame_store import LOW_BYTES, FrameStore, with_time
from vision.errors import WetlineError
from vision.frames.exif import read_header
from vision.frames.photos import open_photos
from vision.settings.frame_settings import FrameSource


def test_stored_picture_keeps_its_time_and_its_pixels(tmp_path):
    data = jpeg()
    (frame,) = FrameStore(tmp_path).write(Shot(data, START_S, orientation=6))
    header = read_header(frame.path)
    assert header.wall_s - header.offset_s == START_S
    assert header.fine
    assert header.orientation == 6
    stored = cv2.imdecode(np.fromfile(frame.path, np.uint8), cv2.IMREAD_IGNORE_ORIENTATION)
    whole = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_IGNORE_ORIENTATION)
    np.testing.assert_array_equal(stored, whole)


def test_stored_pictures_read_back_as_a_recording(tmp_path):
    store = FrameStore(tmp_path)
    times = START_S + np.array([0.0, 4.9, 10.1, 15.0, 3600.0])
    for k, clock in enumerate(times):
        store.write(Shot(jpeg(60 + 20 * k), float(clock)))
    frames = open_photos(FrameSource(tmp_path, "photos"))
    assert frames.has_clock
    np.testing.assert_allclose(frames.clock_s, np.round(times, 3), atol=1e-6)
    assert frames.notes == []


def test_place_and_owner_do_not_go_into_the_record():
    out, exif = io.BytesIO(), Image.Exif()
    exif[0x010E] = "owner's name"
    exif.get_ifd(0x8825)[1] = "N"
    Image.new("RGB", (200, 150)).save(out, "JPEG", exif=exif)
    clean = with_time(out.getvalue(), START_S)
    with Image.open(io.BytesIO(clean)) as image:
        assert 0x010E not in image.getexif()
        assert not image.getexif().get_ifd(0x8825)
    assert b"owner's name" not in clean


def test_two_pictures_at_one_time_do_not_overwrite_each_other(tmp_path):
    store = FrameStore(tmp_path)
    store.write(Shot(jpeg(10), START_S))
    store.write(Shot(jpeg(90), START_S))
    assert len(list(tmp_path.iterdir())) == 2


def test_full_disk_holds_pictures_until_there_is_room(tmp_path):
    full = [True]

    def write(path, data):
        if full[0]:
            raise WetlineError(f"{path}: cannot be written (No space left on device)")
        path.write_bytes(data)

    store = FrameStore(tmp_path, write=write)
    assert store.write(Shot(jpeg(10), START_S)) == []
    assert store.write(Shot(jpeg(20), START_S + 5)) == []
    assert "No space left" in store.fault
    assert "2 pictures wait" in store.fault
    full[0] = False
    frames = store.write(Shot(jpeg(30), START_S + 10))
    assert [f.clock_s for f in frames] == [START_S, START_S + 5, START_S + 10]
    assert store.fault == ""
    assert store.held == 0


def test_what_waits_for_a_full_disk_does_not_fill_the_memory(tmp_path, monkeypatch):
    monkeypatch.setattr("vision.cameras.frame_store.MOST_HELD_BYTES", 3 * len(jpeg()) + 3000)

    def write(path, data):
        raise WetlineError("no room")

    store = FrameStore(tmp_path, write=write)
    for k in range(50):
        store.write(Shot(jpeg(), START_S + k))
    assert 1 <= store.held <= 4
    assert "older ones are lost" in store.fault


def test_disk_is_told_of_before_it_is_full(tmp_path):
    free = [10 * LOW_BYTES]
    store = FrameStore(tmp_path, free_bytes=lambda path: free[0])
    store.write(Shot(jpeg(), START_S))
    assert store.space_warning() == ""
    free[0] = LOW_BYTES // 2
    assert "nearly full: 250 MB" in store.space_warning()
