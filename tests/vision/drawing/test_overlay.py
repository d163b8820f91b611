import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose

from vision.drawing.front_lines import FrontLine, front_lines
from vision.drawing.overlay import draw_front_lines, hatch, round_length_mm
from vision.drawing.plan_view import plan_view
from vision.drawing.strokes import ScaledPlane, Sizes, dashes, encode_image, save_image
from vision.drawing.timelapse import FilmContent, annotated_video, shown_from_s, status
from vision.errors import WetlineError
from vision.records import ArrivalMap, Frame

PANEL_MM = (300.0, 180.0)


class Tilted:
    """A panel seen at an angle: a homography from mm to pixels."""

    H = np.array([[1.9, -0.12, 160.0], [-0.2, 1.5, 140.0], [9e-5, -5e-4, 1.0]])

    def to_px(self, points_mm):
        points = np.c_[points_mm, np.ones(len(points_mm))] @ self.H.T
        return points[:, :2] / points[:, 2:]

    def to_mm(self, points_px):
        points = np.c_[points_px, np.ones(len(points_px))] @ np.linalg.inv(self.H).T
        return points[:, :2] / points[:, 2:]


def darcy(dry=False):
    x_mm = np.arange(300) + 0.5
    time_s = np.tile(x_mm**2 / 80.0, (180, 1))
    if dry:
        time_s[80:110, 100:140] = np.inf
    ones = np.ones(time_s.shape, bool)
    return ArrivalMap(time_s, ones, ~ones, 1.0, 1100.0)


def drawn(background, **more):
    lines = front_lines(darcy(), [125.0, 500.0])
    image = np.full((640, 960, 3), background, np.uint8)
    picture = draw_front_lines(
        image, Tilted(), lines, title="Roof cover 7", panel_mm=PANEL_MM, **more
    )
    assert (image == background).all()
    return picture


@pytest.mark.parametrize("background", [225, 35])
def test_drawn_line_lies_on_the_projected_front(background):
    picture = drawn(background).astype(int)
    plane = Tilted()
    for x_mm in (100.0, 200.0):  # sqrt(80 t) at the two times
        checked = 0
        for y_mm in np.linspace(15, 165, 60):
            u, v = plane.to_px(np.array([[x_mm, y_mm]]))[0]
            row = picture[round(v)]
            window = np.arange(round(u) - 14, round(u) + 15)
            coloured = np.ptp(row[window], axis=1) > 60  # casing and backing are nearly grey
            if not 2 <= coloured.sum() <= 8:
                continue  # under a label
            # the row is off the point's own v by up to half a pixel: compare at the row itself
            y_row = plane.to_mm(np.array([[u, round(v)]]))[0, 1]
            expected = plane.to_px(np.array([[x_mm, y_row]]))[0, 0]
            assert window[coloured].mean() == pytest.approx(expected, abs=1.0)
            checked += 1
        assert checked > 30


@pytest.mark.parametrize("background", [225, 35])
def test_line_stands_out_from_light_and_dark_panels(background):
    grey = cv2.cvtColor(drawn(background), cv2.COLOR_BGR2GRAY).astype(int)
    u, v = Tilted().to_px(np.array([[200.0, 30.0]]))[0]
    across = grey[round(v), round(u) - 8 : round(u) + 9]
    assert np.abs(across - background).max() > 90
    assert np.ptp(across) > 90


def test_scale_bar_is_as_long_as_it_says_in_the_panel_plane():
    plain, barred = (drawn(150, scale_bar_mm=mm) for mm in (50.0, 100.0))
    found = []
    for picture in (plain, barred):
        white = np.argwhere((picture > 245).all(axis=2))
        mm = Tilted().to_mm(white[:, ::-1].astype(float))
        bar = mm[(mm[:, 1] > PANEL_MM[1] + 6.5) & (mm[:, 1] < PANEL_MM[1] + 12.0)]
        found.append(np.ptp(bar[:, 0]))
    # white are the second and fourth of five blocks: from 1/5 to 4/5 of the bar
    assert_allclose(found, [30.0, 60.0], atol=1.0)


def test_strokes_and_letters_grow_with_the_photo():
    small, large = (Sizes.for_image(np.zeros((w * 3 // 4, w, 3), np.uint8)) for w in (1280, 5120))
    assert large.text == 4 * small.text
    assert large.line >= 3 * small.line
    assert small.casing > small.line


def test_a_dry_spot_is_hatched_inside_its_outline_only():
    square = np.array([[10.0, 10.0], [50.0, 10.0], [50.0, 40.0], [10.0, 40.0], [10.0, 10.0]])
    strokes = np.vstack(hatch(square, 6.0))
    assert len(strokes) >= 16
    assert strokes.min(axis=0).tolist() >= [10.0, 10.0]
    assert np.all(strokes <= [50.0 + 1e-9, 40.0 + 1e-9])
    assert np.all(strokes >= [10.0 - 1e-9, 10.0 - 1e-9])


def test_a_filled_in_stretch_is_dashed():
    points = np.column_stack([np.arange(101.0), np.zeros(101)])
    solid = points[:, 0] < 50
    strokes = dashes(points, solid, 10.0)
    inked = sum(np.ptp(part[:, 0]) for part in strokes)
    assert len(strokes) == 3
    assert 60 < inked < 85


def test_pictures_are_whole_for_odd_names_and_tiny_photos(tmp_path):
    lines = front_lines(darcy(dry=True), [60.0, 500.0])
    for shape in ((90, 160, 3), (333, 211, 3)):
        picture = draw_front_lines(
            np.zeros(shape, np.uint8),
            ScaledPlane(Tilted(), shape[1] / 960),
            lines,
            title="Прüf 屋根 " * 6,
            subtitle="$x$ < 5",
            panel_mm=PANEL_MM,
        )
        assert picture.shape == shape
        path = tmp_path / "Ergebnisse ü" / "Frönt 線.png"
        save_image(path, picture)
        back = cv2.imdecode(np.frombuffer(path.read_bytes(), np.uint8), cv2.IMREAD_COLOR)
        assert np.array_equal(back, picture)


def test_only_picture_formats_are_written():
    with pytest.raises(WetlineError, match=r"cannot end in '.txt': use .png or .jpg"):
        encode_image(np.zeros((4, 4, 3), np.uint8), ".txt")


def test_resizing_a_photo_keeps_pixel_centres():
    whole, half = Tilted(), ScaledPlane(Tilted(), 0.5)
    point = np.array([[120.0, 60.0]])
    assert_allclose(half.to_px(point), (whole.to_px(point) + 0.5) / 2 - 0.5)
    assert_allclose(half.to_mm(half.to_px(point)), point)


def test_scale_bar_length_is_round():
    assert [round_length_mm(v) for v in (99.0, 126.0, 19.9, 2.0)] == [50.0, 100.0, 10.0, 2.0]


def test_plan_view_puts_mm_axes_round_the_panel():
    arrival = darcy(dry=True)
    canvas = np.full((360, 600, 3), 200, np.uint8)
    canvas[:, :4] = (0, 0, 255)  # the feed edge in red
    picture = plan_view(
        canvas, arrival, front_lines(arrival, [120.0, 600.0]), title="$5 _a", dpi=100
    )
    assert picture.shape[1] == 640
    red = np.argwhere((picture[..., 2] > 200) & (picture[..., :2].max(axis=2) < 40))
    assert red[:, 1].max() < 0.15 * picture.shape[1]  # on the left, in blue-green-red order
    tall = plan_view(
        canvas.transpose(1, 0, 2).copy(),
        ArrivalMap(arrival.time_s.T, arrival.seen.T, arrival.by_hand.T, 1.0, 1100.0),
        [],
        flow="point",
        dpi=100,
    )
    assert tall.shape[1] == 640


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
