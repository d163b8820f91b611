from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.made_up.drawn_panel import PANEL_MM, Tilted, darcy
from vision.drawing.front_lines import FrontLine, front_lines
from vision.drawing.overlay import (
    draw_front_lines,
    draw_line,
    hatch,
    rough_note,
    round_bar_mm,
    round_length_mm,
)
from vision.drawing.strokes import ScaledPlane, Sizes, save_image


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
    inches = round_bar_mm(PANEL_MM[0], inch=True)
    assert inches == pytest.approx(2 * 25.4)
    plain, barred = (drawn(150, scale_bar_mm=mm) for mm in (50.0, 100.0))
    found = []
    for picture in (plain, barred, drawn(150, inch=True)):
        white = np.argwhere((picture > 245).all(axis=2))
        mm = Tilted().to_mm(white[:, ::-1].astype(float))
        bar = mm[(mm[:, 1] > PANEL_MM[1] + 6.5) & (mm[:, 1] < PANEL_MM[1] + 12.0)]
        found.append(np.ptp(bar[:, 0]))
    # white are the second and fourth of five blocks: from 1/5 to 4/5 of the bar
    assert_allclose(found, [30.0, 60.0, 0.6 * inches], atol=1.0)


def test_how_far_a_rough_line_may_be_off_is_said_in_its_unit():
    rough = FrontLine(60.0, np.zeros((2, 2)), False, False, np.ones(2, bool), 5.1)
    assert rough_note([rough]) == "about (dotted): up to 10 mm off"
    assert rough_note([rough], inch=True) == "about (dotted): up to 0.4 in off"
    assert rough_note([replace(rough, sd_mm=5.2)]) == "about (dotted): up to 11 mm off"


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


def test_scale_bar_length_is_round():
    assert [round_length_mm(v) for v in (99.0, 126.0, 19.9, 2.0)] == [50.0, 100.0, 10.0, 2.0]


def test_a_line_that_is_only_about_right_is_dotted_and_the_picture_says_by_how_much():
    sure = front_lines(darcy(), [125.0])
    rough = [replace(line, sd_mm=4.0) for line in sure]
    assert rough_note(sure) == ""
    assert rough_note(rough) == "about (dotted): up to 8 mm off"
    inked = []
    for lines in (sure, rough):
        blank = np.full((640, 960, 3), 225, np.uint8)
        draw_line(blank, lines[0], Tilted().to_px(lines[0].points_mm), (0, 0, 200), Sizes(2, 5, 16))
        inked.append(np.count_nonzero((blank != 225).any(axis=2)))
    assert 0.3 * inked[0] < inked[1] < 0.9 * inked[0]
