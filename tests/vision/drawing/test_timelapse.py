"""The annotated film of a run."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.made_up.curves import make_curve
from tests.made_up.drawn_panel import Tilted, darcy
from vision.drawing import timelapse
from vision.drawing.front_lines import FrontLine, front_lines
from vision.drawing.labels import Box
from vision.drawing.strokes import ScaledPlane, Sizes
from vision.drawing.timelapse import FilmContent, annotated_video, shown_from_s, status
from vision.errors import WetlineError
from vision.records import Frame


def video_frames(sizes, arrival, times_s):
    for i, (size, time_s) in enumerate(zip(sizes, times_s, strict=True)):
        yield Frame(i, f"p{i}.jpg", 5000.0 + time_s, np.full((*size, 3), 90, np.uint8))


def test_video_opens_and_holds_every_frame(tmp_path):
    arrival = darcy(dry=True)
    times_s = [-30.0, 60.0, 400.0, 900.0]
    sizes = [(480, 721)] * 3 + [(240, 360)]
    path = tmp_path / "Läufe" / "run.mp4"
    written = annotated_video(
        path,
        video_frames(sizes, arrival, times_s),
        lambda frame: ScaledPlane(Tilted(), frame.image.shape[1] / 960),
        FilmContent(arrival, 5000.0, "Roof cover 7"),
    )
    assert written == 4
    assert [p.name for p in path.parent.iterdir()] == ["run.mp4"]
    video = cv2.VideoCapture(str(path))
    images = []
    while (grabbed := video.read())[0]:
        images.append(grabbed[1].astype(int))
    video.release()
    assert len(images) == 4
    assert images[0].shape == (480, 720, 3)
    # the bright line of the moment, sqrt(80 * 400) = 178.9 mm, is in the third picture only
    u, v = ScaledPlane(Tilted(), 721 / 960).to_px(np.array([[178.9, 20.0]]))[0]
    levels = [image[round(v), round(u) - 3 : round(u) + 4].max() for image in images[:3]]
    assert levels[2] > 170
    assert max(levels[:2]) < 130


def test_a_stopped_video_leaves_the_old_one(tmp_path):
    path = tmp_path / "run.mp4"
    path.write_bytes(b"old")

    def frames():
        yield from video_frames([(240, 360)], darcy(), [60.0])
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        annotated_video(
            path, frames(), lambda f: Tilted(), FilmContent(darcy(), 0.0, "Roof cover 7")
        )
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_video_of_nothing_is_refused(tmp_path):
    with pytest.raises(WetlineError, match=r"run\.mp4: there is no frame"):
        annotated_video(
            tmp_path / "run.mp4",
            iter(()),
            lambda f: Tilted(),
            FilmContent(darcy(), 0.0, "Roof cover 7"),
        )
    assert list(tmp_path.iterdir()) == []


def test_a_dry_spot_shows_once_resin_has_closed_round_it():
    arrival = darcy(dry=True)
    (dry,) = (line for line in front_lines(arrival, []) if line.dry)
    # its far side lies at x = 140 mm: t = x**2 / 80
    assert shown_from_s(dry, arrival) == pytest.approx(141**2 / 80, rel=0.03)
    line = FrontLine(77.0, dry.points_mm, True, False, dry.seen)
    assert shown_from_s(line, arrival) == 77.0


def test_status_before_and_after_resin_start():
    assert status(-1.0, None) == ["before resin start"]
    assert status(3725.9, None) == ["62:05 min"]


def film_of(path, count=60):
    """A film of a noisy photo, as a camera sees it, with its own front and curve."""
    noise = np.random.default_rng(1).integers(70, 110, (720, 1280, 3), dtype=np.uint8)
    arrival = darcy()
    times_s = np.linspace(10.0, 900.0, count)
    frames = (Frame(i, f"p{i}.jpg", 5000.0 + t, noise) for i, t in enumerate(times_s))
    curve = make_curve(times_s, np.sqrt(80.0 * times_s), 0.5)
    content = FilmContent(arrival, 5000.0, "Roof cover 7", curve=curve)
    annotated_video(path, frames, lambda frame: ScaledPlane(Tilted(), 1280 / 960), content)
    film = cv2.VideoCapture(str(path))
    code = int(film.get(cv2.CAP_PROP_FOURCC)).to_bytes(4, "little")
    images = []
    while (grabbed := film.read())[0]:
        images.append(grabbed[1])
    film.release()
    return code, images


def test_a_film_is_h264_where_it_can_be_and_small_enough_to_mail(tmp_path):
    pytest.importorskip("av")
    code, images = film_of(tmp_path / "run.mp4")
    assert (code, len(images)) == (b"h264", 60)
    assert (tmp_path / "run.mp4").stat().st_size < 10e6


def test_without_the_encoder_the_film_is_mpeg_4(tmp_path, monkeypatch):
    monkeypatch.setattr(timelapse, "writes_h264", lambda: False)
    code, images = film_of(tmp_path / "run.mp4", 6)
    assert (code, len(images)) == (b"FMP4", 6)


def test_the_inset_draws_what_is_past_and_dashes_what_was_not_used():
    times_s = np.linspace(0.0, 600.0, 61)
    used = times_s < 300
    curve = replace(make_curve(times_s, np.sqrt(80.0 * times_s), 0.5), used=used)
    panel_px = np.array([[500.0, 300.0], [900.0, 300.0], [900.0, 600.0], [500.0, 600.0]])

    def inked(time_s):
        """Share of the columns of the inset, left and right half, that hold the line."""
        image = np.full((720, 1280, 3), 90, np.uint8)
        box = timelapse.draw_inset(
            image, curve, time_s, panel_px, Sizes.for_image(image), [Box(140, 80, 280, 160)]
        )
        x, y = round(box.x - box.width / 2), round(box.y - box.height / 2)
        inset = image[y : y + round(box.height), x : x + round(box.width)].astype(int)
        yellow = ((inset[..., 2] > 180) & (inset[..., 0] < 120)).any(axis=0)
        half = len(yellow) // 2
        return box, yellow[20 : half - 5].mean(), yellow[half + 5 : -20].mean()

    box, early, late = inked(600.0)
    assert not box.overlaps(Box(140, 80, 280, 160))
    assert early > 0.95
    assert 0.3 < late < 0.8
    assert inked(250.0)[2] == 0
