"""Films: every frame with its own time, upright, jumped through rightly."""

import cv2
import numpy as np
import pytest

from tests.made_up.film import numbered, write_film
from tests.made_up.photo_folder import HEIGHT, PANEL, WIDTH, number_of
from vision.errors import WetlineError
from vision.frames import video
from vision.frames.source import open_frames
from vision.settings.panel_settings import read_setup


def video_setup(tmp_path, text="speed_up = 1"):
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
    with open_frames(video_setup(tmp_path, "speed_up = 1\nsample_every_s = 9")) as frames:
        for frame in frames:
            true_index = round(frame.clock_s / 0.04)
            assert abs(int(frame.image[5, 5, 0]) - true_index % 250) <= 2
        assert [round(f.clock_s, 2) for f in frames] == [0, 9, 18, 27, 36]


def test_jumping_in_a_film_of_uneven_rate_lands_right(tmp_path):
    images = [np.full((32, 48, 3), i % 250, np.uint8) for i in range(500)]
    durations = [200] * 250 + [20] * 250
    write_film(tmp_path / "run.mov", images, durations)
    shown_s = np.concatenate([[0], np.cumsum(durations)[:-1]]) / 1000
    with open_frames(video_setup(tmp_path, "speed_up = 1\nsample_every_s = 13")) as frames:
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


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("speed_up = 300", ()),
        ("speed_up = 2", ("stands for 8 s of the run",)),
        ("speed_up = 0.5", ("play slower than the run went (0.5 times)",)),
    ],
)
def test_what_a_film_is_said_to_stand_for_is_told(tmp_path, line, told):
    write_film(tmp_path / "run.mov", numbered(41), [100] * 41)
    with open_frames(video_setup(tmp_path, line)) as frames:
        assert "its 4 s stand for" in frames.notes[0]
        assert len(frames.warnings) == len(told)
        assert all(words in text for words, text in zip(told, frames.warnings, strict=True))


@pytest.mark.parametrize(
    ("name", "most", "said"),
    [
        ("MOST_PIXELS", 1000, "its pictures have more than"),
        ("MOST_SAMPLES", 3, "more than 3 frames would be looked at: give a larger"),
    ],
)
def test_films_without_measure_are_refused(tmp_path, monkeypatch, name, most, said):
    write_film(tmp_path / "run.mov", numbered(8), [100] * 8)
    with monkeypatch.context() as patch:
        patch.setattr(video, name, most)
        with pytest.raises(WetlineError, match=said):
            open_frames(video_setup(tmp_path))
    with open_frames(video_setup(tmp_path)) as frames:
        assert len(frames) == 8
