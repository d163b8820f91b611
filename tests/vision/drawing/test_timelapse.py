"""The annotated film of a run."""

import cv2
import numpy as np
import pytest

from tests.made_up.drawn_panel import Tilted, darcy
from vision.drawing.front_lines import FrontLine, front_lines
from vision.drawing.strokes import ScaledPlane
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
