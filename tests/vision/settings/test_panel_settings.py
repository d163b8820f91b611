"""panel.toml as the camera reads it: what is understood, and what is refused with which words."""

from datetime import datetime, time

import pytest

from vision.errors import WetlineError
from vision.settings.panel_settings import read_setup

PANEL = """
[panel]
name = "hatch cover stack A"
length_mm = 400
width_mm = 200
"""
CORNERS = (
    '[scale]\nmethod = "corners"\ncorners_px = [[100, 90], [900, 120], [880, 520], [90, 500]]\n'
)


def make(tmp_path, text, frames=True):
    (tmp_path / "panel.toml").write_text(text, encoding="utf-8")
    if frames:
        (tmp_path / "frames").mkdir(exist_ok=True)
    return tmp_path


def refusal(tmp_path, text):
    with pytest.raises(WetlineError) as caught:
        read_setup(make(tmp_path, text))
    message = str(caught.value)
    assert "\n" not in message
    assert "panel.toml" in message
    return message


def test_a_plain_record_is_understood(tmp_path):
    setup = read_setup(make(tmp_path, PANEL + CORNERS))
    assert (setup.name, setup.length_mm, setup.width_mm) == ("hatch cover stack A", 400.0, 200.0)
    assert setup.flow == "edge"
    assert setup.frames.kind == "photos"
    assert setup.scale.corners_px[2] == (880.0, 520.0)


def test_inches_are_understood(tmp_path):
    text = PANEL.replace("400", '"40 in"') + CORNERS
    assert read_setup(make(tmp_path, text)).length_mm == pytest.approx(1016.0)


def test_sheet_places_left_out_are_the_sheet_s_own_and_bar_rescales_markers_only(tmp_path):
    text = PANEL + '[scale]\nmethod = "sheet"\nmarker_mm = 40\ncheck_bar_mm = 97\n'
    scale = read_setup(make(tmp_path, text)).scale
    assert scale.marker_mm == pytest.approx(38.8)
    assert scale.marker_centres_mm == ((30, -70), (370, -70), (370, 270), (30, 270))
    assert scale.default_centres


def test_bar_rescales_centres_that_were_printed(tmp_path):
    text = PANEL + (
        '[scale]\nmethod = "sheet"\ncheck_bar_mm = 98\ncentres_printed = true\n'
        "marker_centres_mm = [[0, -50], [400, -50], [400, 250], [0, 250]]\n"
    )
    assert read_setup(make(tmp_path, text)).scale.marker_centres_mm[2] == pytest.approx((392, 245))


def test_tape_needs_no_panel_size(tmp_path):
    text = (
        CORNERS.replace('"corners"', '"tape"')
        + "tape_px = [[90, 600], [880, 640]]\ntape_mm = 400\n"
    )
    setup = read_setup(make(tmp_path, text))
    assert setup.length_mm is None
    assert setup.scale.tape_mm == 400.0


def test_checkerboard(tmp_path):
    text = PANEL + CORNERS.replace('"corners"', '"checkerboard"')
    scale = read_setup(make(tmp_path, text + "square_mm = 25\ninner_corners = [9, 6]\n")).scale
    assert scale.inner_corners == (9, 6)
    assert scale.square_mm == 25.0


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ('resin_start = "14:05:30"', time(14, 5, 30)),
        ("resin_start = 14:05:30", time(14, 5, 30)),
        ('resin_start = "2031-05-20 14:05:30"', datetime(2031, 5, 20, 14, 5, 30)),
        ('resin_start = "2031:05:20 14:05:30"', datetime(2031, 5, 20, 14, 5, 30)),
        ("resin_start = 2031-05-20T14:05:30", datetime(2031, 5, 20, 14, 5, 30)),
        ("resin_start = 95.5", 95.5),
    ],
)
def test_resin_start_as_people_write_it(tmp_path, line, expected):
    setup = read_setup(make(tmp_path, f"[frames]\n{line}\n" + PANEL + CORNERS))
    assert setup.frames.resin_start == expected


def test_skip_names_numbers_and_ranges(tmp_path):
    text = '[frames]\nskip = ["IMG_7.jpg", 3, "12-15"]\n' + PANEL + CORNERS
    frames = read_setup(make(tmp_path, text)).frames
    assert frames.skip_names == ("img_7.jpg",)
    assert frames.skip_ranges == ((3, 3), (12, 15))


def test_a_single_video_is_found_and_its_duration_read(tmp_path):
    (tmp_path / "run.mp4").write_bytes(b"x")
    text = '[frames]\nduration = "40 min"\n' + PANEL + CORNERS
    setup = read_setup(make(tmp_path, text, frames=False))
    assert setup.frames.kind == "video"
    assert setup.frames.duration_s == 2400.0


def test_pen_marks_need_no_scale(tmp_path):
    (tmp_path / "marks.csv").write_text("time_min,distance_mm\n", encoding="utf-8")
    setup = read_setup(make(tmp_path, '[panel]\nname = "x"\n', frames=False))
    assert setup.frames.kind == "marks"
    assert setup.scale.method == "none"


def test_ignored_rectangle_by_two_corners(tmp_path):
    text = (
        PANEL + "ignore_mm = [[[10, 20], [60, 80]]]\nregion_mm = [[0, 0], [400, 150]]\n" + CORNERS
    )
    setup = read_setup(make(tmp_path, text))
    assert setup.ignore == (((10, 20), (60, 20), (60, 80), (10, 80)),)
    assert setup.region == ((0, 0), (400, 0), (400, 150), (0, 150))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("length_mm = 400", "length_mm = -3", "[panel] length_mm = -3: must be above 0"),
        ("length_mm = 400", "lenght_mm = 400", "lenght_mm = 400: is not a known field"),
        ("length_mm = 400", "", "[panel] length_mm = (missing): is needed"),
        ('method = "corners"', 'method = "ruler"', "must be one of sheet, corners"),
        ('method = "corners"', "", "[scale] method = (missing): is needed"),
        ('method = "corners"', 'method = "corners"\nmarker_mm = 40', "take it out"),
        ("[100, 90], [900, 120]", "[900, 120], [100, 90]", "lines between the corners cross"),
        (
            "[[100, 90], [900, 120], [880, 520], [90, 500]]",
            "[[100, 90], [90, 500], [880, 520], [900, 120]]",
            "wrong way round",
        ),
        ("[880, 520]", "[300, 200]", "do not outline a panel"),
        ("[90, 500]", "[-4, 500]", "leaves the picture"),
        ("[90, 500]]", "[90]]", "must be a list of 4 pairs"),
        ("width_mm = 200", "width_mm = 200\nfeed_point_mm = [9, 9]", 'goes with flow = "point"'),
        (
            "width_mm = 200",
            'width_mm = 200\nflow = "point"\nfeed_point_mm = [9, 900]',
            "lies off the panel",
        ),
        ("width_mm = 200", "width_mm = 200\nignore_mm = [[1, 2]]", "must be outlines"),
    ],
)
def test_bad_fields_are_refused_with_the_mend(tmp_path, old, new, words):
    text = PANEL + CORNERS
    assert old in text
    assert words in refusal(tmp_path, text.replace(old, new))


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('source = "fotos"', "not found"),
        ("speed_up = 20", "is for a video only"),
        ("interval_s = 0", "must be above 0"),
        ('resin_start = "soon"', "must be a time"),
        ('skip = ["9-3"]', "frames count from 1"),
        ("pause_s = 3", "is not a known field"),
    ],
)
def test_bad_frames_fields(tmp_path, line, words):
    assert words in refusal(tmp_path, f"[frames]\n{line}\n" + PANEL + CORNERS)


def test_any_turn_of_the_panel_in_the_picture_is_fine(tmp_path):
    corners = [[100, 90], [900, 120], [880, 520], [90, 500]]
    for turn in range(4):
        turned = corners[turn:] + corners[:turn]
        text = PANEL + f'[scale]\nmethod = "corners"\ncorners_px = {turned}\n'
        assert list(read_setup(make(tmp_path, text)).scale.corners_px[0]) == turned[0]


def test_markers_too_close_for_their_size(tmp_path):
    text = PANEL + (
        '[scale]\nmethod = "sheet"\nmarker_mm = 40\n'
        "marker_centres_mm = [[0, 0], [40, 0], [40, 300], [0, 300]]\n"
    )
    assert "too close for markers of 40 mm" in refusal(tmp_path, text)


def test_missing_folder_and_missing_frames(tmp_path):
    with pytest.raises(WetlineError, match="wetline new"):
        read_setup(tmp_path / "nowhere")
    with pytest.raises(WetlineError, match="no frames"):
        read_setup(make(tmp_path, PANEL + CORNERS, frames=False))
