"""panel.toml as the camera reads it: what is understood, and what is refused with which words."""

import re
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


SHEET = (
    '[scale]\nmethod = "sheet"\nmarker_mm = 40\n'
    "marker_centres_mm = [[30, -70], [370, -70], [370, 270], [30, 270]]\n"
)


def test_the_check_bar_rescales_the_markers_only(tmp_path):
    scale = read_setup(make(tmp_path, PANEL + SHEET + "check_bar_mm = 97\n")).scale
    assert scale.marker_mm == pytest.approx(38.8)
    assert scale.marker_centres_mm == ((30, -70), (370, -70), (370, 270), (30, 270))


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("marker_mm = 40\n", "", "marker_mm = (missing): is needed: the edge of a black square"),
        ("marker_centres_mm", "# marker_centres_mm", "marker_centres_mm = (missing): is needed"),
        ("marker_mm = 40", "marker_mm = 4", 'write "4 cm"'),
        ("marker_mm = 40", "marker_mm = 40\ncheck_bar_mm = 9.8", 'write "9.8 cm"'),
        ("[370, 270]", "[37, 27]", "do not outline a panel"),
        (
            "[[30, -70], [370, -70], [370, 270], [30, 270]]",
            "[[3, -7], [37, -7], [37, 27], [3, 27]]",
            "markers of 40 mm|but .panel. length_mm = 400",
        ),
    ],
)
def test_card_places_never_default_and_must_fit_the_panel(tmp_path, old, new, says):
    assert old in SHEET
    message = refusal(tmp_path, PANEL + SHEET.replace(old, new))
    assert says in message or re.search(says, message)


def test_cards_far_from_the_panel_can_be_confirmed(tmp_path):
    text = PANEL.replace("length_mm = 400", "length_mm = 60") + SHEET
    assert "the cards stand 340 mm apart, but [panel] length_mm = 60" in refusal(tmp_path, text)
    read_setup(make(tmp_path, text + 'confirmed = ["marker_centres_mm"]\n'))


def test_points_may_carry_units(tmp_path):
    text = PANEL + SHEET.replace("[370, -70]", '["37 cm", "-7 cm"]')
    assert read_setup(make(tmp_path, text)).scale.marker_centres_mm[1] == (370, -70)


def test_bar_rescales_centres_that_were_printed(tmp_path):
    text = PANEL + (
        '[scale]\nmethod = "sheet"\nmarker_mm = 40\ncheck_bar_mm = 98\ncentres_printed = true\n'
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


@pytest.mark.parametrize(
    ("line", "duration_s"),
    [
        ("duration_s = 2400", 2400.0),
        ('duration_s = "40 min"', 2400.0),
        ('duration = "1,5 h"', 5400.0),
        ("duration = 2400", 2400.0),
        ('film_start = "23:50"\nfilm_end = "00:30:30"', 2430.0),
        ('film_start = "2031-05-20 14:00"\nfilm_end = "2031-05-20 14:40"', 2400.0),
    ],
)
def test_how_long_a_film_really_took(tmp_path, line, duration_s):
    (tmp_path / "run.mp4").write_bytes(b"x")
    setup = read_setup(make(tmp_path, f"[frames]\n{line}\n{PANEL}{CORNERS}", frames=False))
    assert setup.frames.duration_s == duration_s


@pytest.mark.parametrize(
    ("start", "seconds"), [("14:05:30", 330.0), ("13:59", -60.0), ("2 min", 120.0)]
)
def test_resin_start_on_a_film_s_clock(tmp_path, start, seconds):
    (tmp_path / "run.mp4").write_bytes(b"x")
    clock = f'film_start = "14:00"\nfilm_end = "14:40"\nresin_start = "{start}"'
    setup = read_setup(make(tmp_path, f"[frames]\n{clock}\n{PANEL}{CORNERS}", frames=False))
    assert setup.frames.resin_start == seconds


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("", "a film's own clock is not the shop's: write speed_up = 30"),
        ("duration = 40", 'write "40 min" or duration_s = 40'),
        ('duration = "soon"', "must be a time with its unit in s, min or h"),
        ('film_start = "14:00"', "film_start and film_end go together"),
        ('film_start = "14:00"\nfilm_end = "14:00"', "must be after film_start"),
        ('film_start = "14:00"\nfilm_end = "2031-05-20 14:40"', "both with a date or both"),
        ('film_start = "99:00"\nfilm_end = "14:40"', "must be a time such as"),
        ("speed_up = 0", "must be above 0"),
        ("speed_up = nan", "must be a finite number"),
        ("speed_up = 30\ninterval_s = 1", "says the same as speed_up"),
        (
            'film_start = "14:00"\nfilm_end = "14:40"\nresin_start = "2031-05-20 14:05"',
            "must have a date where film_start has one",
        ),
    ],
)
def test_a_film_without_a_clock_is_refused(tmp_path, line, says):
    (tmp_path / "run.mp4").write_bytes(b"x")
    with pytest.raises(WetlineError) as caught:
        read_setup(make(tmp_path, f"[frames]\n{line}\n{PANEL}{CORNERS}", frames=False))
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("line", ["interval_s = 30", 'skip = ["1"]', "sample_every_s = 3"])
def test_fields_of_photos_are_refused_with_pen_marks(tmp_path, line):
    (tmp_path / "marks.csv").write_text("time_min,distance_mm\n", encoding="utf-8")
    with pytest.raises(WetlineError, match="pen marks carry their own times"):
        read_setup(make(tmp_path, f"[frames]\n{line}\n{PANEL}", frames=False))


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
        (
            "width_mm = 200",
            "width_mm = 200\nignore_mm = [[[500, 20], [600, 60]]]",
            "lies off the panel of 400 x 200 mm",
        ),
        (
            "width_mm = 200",
            "width_mm = 200\nregion_mm = [[0, 0.02], [0.4, 0.18]]",
            "is less than 2 % of the panel",
        ),
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
    with pytest.raises(WetlineError, match="no pictures of the run"):
        read_setup(make(tmp_path, PANEL + CORNERS, frames=False))
