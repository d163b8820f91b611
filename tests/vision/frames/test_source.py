"""Frames in: order, times, and files that cannot be used."""

import pytest

from tests.made_up.photo_folder import number_of, photo, setup_of
from vision.errors import WetlineError
from vision.frames.source import open_frames, resin_start_clock_s


def test_skipping_by_name_number_and_range(tmp_path):
    setup = setup_of(tmp_path, 'skip = ["b3.JPG", "b4", 1, "7-8"]')
    for i in range(1, 12):
        photo(tmp_path / "frames" / f"b{i}.jpg", i, f"2032:02:03 10:{i:02d}:00")
    with open_frames(setup) as frames:
        assert [number_of(f) for f in frames] == [2, 5, 6, 9, 10, 11]
        assert [f.index for f in frames] == list(range(6))
        assert number_of(frames.read(1)) == 5
    with pytest.raises(WetlineError, match="no such frame: frames are named as"):
        open_frames(setup_of(tmp_path, 'skip = ["c.jpg"]'))
    with pytest.raises(WetlineError, match="there are 11 frames only"):
        open_frames(setup_of(tmp_path, "skip = [12]"))


def test_thinning_photos(tmp_path):
    setup = setup_of(tmp_path, "sample_every_s = 10")
    for i in range(13):
        photo(tmp_path / "frames" / f"{i}.jpg", i, f"2032:02:03 10:00:{i * 4:02d}")
    with open_frames(setup) as frames:
        assert [number_of(f) for f in frames] == [0, 3, 6, 9, 12]


def test_too_few_photos(tmp_path):
    setup = setup_of(tmp_path)
    with pytest.raises(WetlineError, match="no photos"):
        open_frames(setup)
    for i in range(3):
        photo(tmp_path / "frames" / f"{i}.jpg", i, f"2032:02:03 10:0{i}:00")
    with pytest.raises(WetlineError, match="3 usable frames: at least 4"):
        open_frames(setup)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ('resin_start = "10:01:30"', 90.0),
        ('resin_start = "2032-02-03T10:01:30"', 90.0),
        ("resin_start = 12", 12.0),
        ("", None),
    ],
)
def test_resin_start_on_the_frames_clock(tmp_path, text, expected):
    setup = setup_of(tmp_path, text)
    for i in range(4):
        photo(tmp_path / "frames" / f"{i}.jpg", i, f"2032:02:03 10:0{i}:00", offset="+01:00")
    with open_frames(setup) as frames:
        start = resin_start_clock_s(setup, frames)
        assert (None if start is None else start - frames.clock_s[0]) == expected


def test_resin_start_after_midnight_and_outside_the_run(tmp_path):
    for i in range(4):
        (tmp_path / "frames").mkdir(exist_ok=True)
        when = ["03 23:58:00", "03 23:59:00", "04 00:01:00", "04 00:03:00"][i]
        photo(tmp_path / "frames" / f"{i}.jpg", i, f"2032:02:{when}")
    setup = setup_of(tmp_path, 'resin_start = "00:00:30"')
    with open_frames(setup) as frames:
        start = resin_start_clock_s(setup, frames)
        assert start is not None
        assert start - frames.clock_s[0] == 150.0
        late = setup_of(tmp_path, 'resin_start = "2032-02-04 09:00"')
        with pytest.raises(WetlineError, match="is after the last frame"):
            resin_start_clock_s(late, frames)
        early = setup_of(tmp_path, 'resin_start = "2031-02-04 09:00"')
        with pytest.raises(WetlineError, match="more than a day before"):
            resin_start_clock_s(early, frames)
