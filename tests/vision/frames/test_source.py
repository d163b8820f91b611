"""Frames in: order, times, and files that cannot be used."""

import importlib.util
from datetime import UTC, datetime

import cv2
import numpy as np
import pytest
from PIL import Image

from tests.made_up.film import numbered, write_film
from vision.errors import WetlineError
from vision.frames.source import open_frames, resin_start_clock_s, wall_time_iso
from vision.settings.panel_settings import read_setup

PANEL = (
    "[panel]\nlength_mm = 400\nwidth_mm = 200\n"
    '[scale]\nmethod = "corners"\ncorners_px = [[1, 1], [9, 1], [9, 5], [1, 5]]\n'
)
WIDTH, HEIGHT = 96, 64


def photo(path, number, when=None, size=(WIDTH, HEIGHT), sub=None, offset=None, turn=None):
    image = Image.new("RGB", size, (10 + 5 * number,) * 3)
    image.paste((255, 0, 0), (0, 0, size[0] // 4, size[1] // 4))
    exif = Image.Exif()
    if turn:
        exif[0x0112] = turn
    tags = {0x9003: when, 0x9291: sub, 0x9011: offset}
    exif.get_ifd(0x8769).update({k: v for k, v in tags.items() if v is not None})
    image.save(path, exif=exif.tobytes(), quality=95)


def setup_of(folder, frames="", panel=PANEL):
    (folder / "panel.toml").write_text(f"[frames]\n{frames}\n{panel}", encoding="utf-8")
    (folder / "frames").mkdir(exist_ok=True)
    return read_setup(folder)


def number_of(frame):
    return round((float(frame.image[-3, -3].mean()) - 10) / 5)


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


def video_setup(tmp_path, text=""):
    (tmp_path / "panel.toml").write_text(f"[frames]\n{text}\n{PANEL}", encoding="utf-8")
    return read_setup(tmp_path)


def test_video_times_are_presentation_times(tmp_path):
    # A film that slows down: times from the frame number would be wrong by seconds.
    durations = [40] * 10 + [500] * 5 + [40] * 10
    write_film(tmp_path / "run.mov", numbered(25), durations)
    with open_frames(video_setup(tmp_path, "speed_up = 100\nsample_every_s = 1")) as frames:
        seen = {number_of(f): f.clock_s for f in frames}
        shown_s = np.concatenate([[0], np.cumsum(durations)[:-1]]) / 1000
        assert len(seen) >= 10
        for number, clock_s in seen.items():
            assert clock_s == pytest.approx(100 * shown_s[number], abs=1e-6)
        assert not frames.has_clock


@pytest.mark.parametrize(
    ("turn", "red"),
    [(0, np.s_[:, :40]), (90, np.s_[:40, :]), (180, np.s_[:, -40:]), (270, np.s_[-40:, :])],
)
def test_video_turn_is_honoured(tmp_path, turn, red):
    write_film(tmp_path / "run.mov", numbered(5), [100] * 5, turn)
    with open_frames(video_setup(tmp_path)) as frames:
        image = frames.read(0).image
        assert image.shape[1::-1] == frames.size
        assert image[red][..., 2].min() > 230


def test_video_duration_and_sampling(tmp_path):
    write_film(tmp_path / "run.mov", numbered(41), [100] * 41)
    text = 'duration = "40 min"\nsample_every_s = 300'
    with open_frames(video_setup(tmp_path, text)) as frames:
        assert len(frames) == 9
        assert [number_of(f) for f in frames] == list(range(0, 41, 5))
        assert frames.read(8).clock_s == pytest.approx(2400.0)
        assert number_of(frames.read(2)) == 10  # backwards
        assert frames.names[2] == "run.mov@1.00s"


def test_a_long_video_is_sampled_and_jumped_through(tmp_path):
    images = [np.full((32, 48, 3), i % 250, np.uint8) for i in range(1000)]
    write_film(tmp_path / "run.mov", images, [40] * 1000)
    with open_frames(video_setup(tmp_path)) as frames:
        assert 200 <= len(frames) <= 300
        assert frames.clock_s[-1] == pytest.approx(39.96, abs=0.2)
    with open_frames(video_setup(tmp_path, "sample_every_s = 9")) as frames:
        for frame in frames:
            true_index = round(frame.clock_s / 0.04)
            assert abs(int(frame.image[5, 5, 0]) - true_index % 250) <= 2
        assert [round(f.clock_s, 2) for f in frames] == [0, 9, 18, 27, 36]


def test_jumping_in_a_film_of_uneven_rate_lands_right(tmp_path):
    images = [np.full((32, 48, 3), i % 250, np.uint8) for i in range(500)]
    durations = [200] * 250 + [20] * 250
    write_film(tmp_path / "run.mov", images, durations)
    shown_s = np.concatenate([[0], np.cumsum(durations)[:-1]]) / 1000
    with open_frames(video_setup(tmp_path, "sample_every_s = 13")) as frames:
        taken = list(frames)
    assert len(taken) == 5
    for frame in taken:
        number = int(np.argmin(abs(shown_s - frame.clock_s)))
        assert abs(int(frame.image[5, 5, 0]) - number % 250) <= 2
        assert frame.clock_s == pytest.approx(13 * frame.index, abs=0.2)


def test_video_that_will_not_open(tmp_path, capfd):
    (tmp_path / "run.mp4").write_bytes(b"not a film")
    with pytest.raises(WetlineError, match="will not open"):
        open_frames(video_setup(tmp_path))
    assert capfd.readouterr().err == ""


def test_mp4_written_by_opencv(tmp_path):
    writer = cv2.VideoWriter(
        str(tmp_path / "run.mp4"), cv2.VideoWriter.fourcc(*"mp4v"), 20, (WIDTH, HEIGHT)
    )
    for image in numbered(30):
        writer.write(image)
    writer.release()
    with open_frames(video_setup(tmp_path, "speed_up = 60")) as frames:
        assert len(frames) == 30
        assert [f.clock_s for f in frames] == pytest.approx([3.0 * i for i in range(30)])
        assert [number_of(f) for f in frames] == pytest.approx(list(range(30)), abs=1)
