"""Photos in true time order; what cannot be used is named and left out."""

import importlib.util
from datetime import UTC, datetime

import numpy as np
import pytest
from PIL import Image

from tests.made_up.photo_folder import HEIGHT, WIDTH, number_of, photo, setup_of
from vision.errors import WetlineError
from vision.frames.source import open_frames, wall_time_iso


def test_photos_come_in_capture_order_whatever_their_names(tmp_path):
    setup = setup_of(tmp_path)
    for i, name in enumerate(["d", "a", "c", "b", "e"]):
        photo(tmp_path / "frames" / f"{name}.jpg", i, f"2032:02:03 10:0{i}:00")
    with open_frames(setup) as frames:
        assert [number_of(f) for f in frames] == [0, 1, 2, 3, 4]
        assert [number_of(f) for f in frames] == [0, 1, 2, 3, 4]  # and once more
        assert number_of(frames.read(3)) == 3
        assert frames.read(-1).index == 4
        assert frames.has_clock
        assert np.diff(frames.clock_s).tolist() == [60.0] * 4
        start = datetime(2032, 2, 3, 10, tzinfo=UTC).timestamp()
        assert frames.clock_s[0] == start
        assert frames.notes == []


def test_sub_seconds_and_offsets_count(tmp_path):
    setup = setup_of(tmp_path)
    # The clock goes back an hour between the photos, as at the end of summer time.
    stamps = [
        ("2031:10:26 02:59:58", "250", "+02:00"),
        ("2031:10:26 02:59:58", "750", "+02:00"),
        ("2031:10:26 02:00:00", "000", "+01:00"),
        ("2031:10:26 02:00:01", "500", "+01:00"),
    ]
    for i, (when, sub, offset) in enumerate(stamps):
        photo(tmp_path / "frames" / f"{i}.jpg", i, when, sub=sub, offset=offset)
    with open_frames(setup) as frames:
        assert np.allclose(frames.clock_s - frames.clock_s[0], [0, 0.5, 1.75, 3.25])
        assert frames.utc_offset_s == 7200.0
        assert wall_time_iso(frames.clock_s[0], frames) == "2031-10-26T02:59:58.250000"


def test_photos_of_one_second_are_spread_over_it(tmp_path):
    setup = setup_of(tmp_path)
    whens = ["10:00:00", "10:00:02", "10:00:02", "10:00:04"]
    for i, when in enumerate(whens):
        photo(tmp_path / "frames" / f"{i}.jpg", i, f"2032:02:03 {when}")
    with open_frames(setup) as frames:
        assert np.allclose(frames.clock_s - frames.clock_s[0], [0, 1.75, 2.25, 4])
        assert "2 photos share a capture time" in frames.notes[0]


def test_without_capture_times_names_count_as_people_do(tmp_path):
    for i in range(12):
        (tmp_path / "frames").mkdir(exist_ok=True)
        photo(tmp_path / "frames" / f"img{i}.png", i)
    with open_frames(setup_of(tmp_path, "interval_s = 20")) as frames:
        assert [number_of(f) for f in frames] == list(range(12))
        assert frames.clock_s[-1] == 220.0
        assert not frames.has_clock
        assert wall_time_iso(0.0, frames) is None
    with pytest.raises(WetlineError, match="write interval_s"):
        open_frames(setup_of(tmp_path))


def test_files_that_cannot_be_used_are_named_and_skipped(tmp_path):
    setup = setup_of(tmp_path)
    folder = tmp_path / "frames"
    for i in range(6):
        photo(folder / f"{i}.jpg", i, f"2032:02:03 10:0{i}:00")
    photo(folder / "wide.jpg", 1, "2032:02:03 10:10:00", size=(120, 64))
    photo(folder / "timeless.jpg", 1)
    (folder / "copy.jpg").write_bytes((folder / "2.jpg").read_bytes())
    (folder / "half.jpg").write_bytes((folder / "2.jpg").read_bytes()[:-40])
    (folder / "empty.jpg").write_bytes(b"")
    (folder / "text.jpg").write_text("hello")
    (folder / "Thumbs.db").write_text("not looked at")
    (folder / "._5.jpg").write_text("not looked at")
    with open_frames(setup) as frames:
        assert frames.names == tuple(f"{i}.jpg" for i in range(6))
        notes = "\n".join(frames.notes)
    for words in (
        "wide.jpg: skipped, 120 x 64 pixels where most have 96 x 64",
        "timeless.jpg: skipped, no capture time",
        "copy.jpg: skipped, a copy of 2.jpg",
        "half.jpg: skipped, the file is cut short",
        "empty.jpg: skipped, the file is empty",
        "text.jpg: skipped, not readable",
    ):
        assert words in notes
    assert len(notes.splitlines()) == 6


def test_a_photo_that_will_not_decode_is_noted_while_reading(tmp_path):
    setup = setup_of(tmp_path)
    folder = tmp_path / "frames"
    for i in range(5):
        photo(folder / f"{i}.png", i, f"2032:02:03 10:0{i}:00")
    data = bytearray((folder / "2.png").read_bytes())
    place = data.index(b"IDAT") + 6
    data[place : place + 40] = bytes(40)
    (folder / "2.png").write_bytes(data)
    with open_frames(setup) as frames:
        assert [number_of(f) for f in frames] == [0, 1, 3, 4]
        assert frames.notes == ["2.png: skipped, it cannot be decoded"]
        with pytest.raises(WetlineError, match="cannot be decoded"):
            frames.read(2)


@pytest.mark.parametrize(
    ("turn", "corner"),
    [(1, (0, 0)), (3, (-1, -1)), (6, (0, -1)), (8, (-1, 0)), (2, (0, -1)), (4, (-1, 0))],
)
def test_photos_are_turned_upright(tmp_path, turn, corner):
    # Where row 0, column 0 of the stored picture belongs: CIPA DC-008 (Exif 2.32), Orientation.
    setup = setup_of(tmp_path)
    for i in range(4):
        photo(tmp_path / "frames" / f"{i}.jpg", i, f"2032:02:03 10:0{i}:00", turn=turn)
    with open_frames(setup) as frames:
        image = frames.read(0).image
        assert image.shape[1::-1] == frames.size
        blue, green, red = image[corner]
        assert (red > 240, green < 15, blue < 15) == (True, True, True)


def test_orientation_agrees_with_pillow(tmp_path):
    from PIL import ImageOps

    setup = setup_of(tmp_path)
    for turn in range(1, 9):
        for i in range(4):
            photo(tmp_path / "frames" / f"{i}.jpg", i, f"2032:02:03 10:0{i}:00", turn=turn)
        with open_frames(setup) as frames, Image.open(tmp_path / "frames" / "0.jpg") as image:
            upright = np.asarray(ImageOps.exif_transpose(image))[:, :, ::-1]
            assert np.abs(frames.read(0).image.astype(int) - upright).max() <= 4


def test_heic_without_its_package_says_what_to_install(tmp_path, monkeypatch):
    setup = setup_of(tmp_path)
    (tmp_path / "frames" / "a.heic").write_bytes(b"x")
    find = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name: None if name == "pillow_heif" else find(name)
    )
    with pytest.raises(WetlineError, match=r'pip install "wetline\[heic\]"'):
        open_frames(setup)


def test_heic_photos(tmp_path):
    heif = pytest.importorskip("pillow_heif", reason="the optional extra is not installed")
    setup = setup_of(tmp_path)
    for i in range(4):
        exif = Image.Exif()
        exif.get_ifd(0x8769)[0x9003] = f"2032:02:03 10:0{i}:00"
        image = Image.new("RGB", (WIDTH, HEIGHT), (10 + 40 * i,) * 3)
        heif.from_pillow(image).save(tmp_path / "frames" / f"{9 - i}.heic", exif=exif.tobytes())
    with open_frames(setup) as frames:
        assert [round(float(f.image.mean()) / 40 - 0.25) for f in frames] == [0, 1, 2, 3]
        assert frames.size == (WIDTH, HEIGHT)
