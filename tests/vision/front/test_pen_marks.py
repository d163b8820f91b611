import pytest
from numpy.testing import assert_allclose

from vision.errors import WetlineError
from vision.front.pen_marks import read_marks, track_marks
from vision.settings.panel_settings import read_setup

CLOCKS, MINUTES = "clock,distance_mm\n", "time_min,distance_mm\n"


def panel(folder, marks, extra="length_mm = 1000\nwidth_mm = 300"):
    (folder / "marks.csv").write_text(marks, encoding="utf-8")
    (folder / "panel.toml").write_text(
        f'[panel]\n{extra}\n[frames]\nsource = "marks.csv"\n', encoding="utf-8"
    )
    return folder


def test_minutes_and_inches_are_understood(tmp_path):
    panel(tmp_path, "time_min,distance_in\n1,4\n2,6\n3,7.5\n4,8.5\n")
    time_s, distance_mm = read_marks(tmp_path / "marks.csv")
    assert_allclose(time_s, [60, 120, 180, 240])
    assert_allclose(distance_mm, [101.6, 152.4, 190.5, 215.9])


def test_clock_times_count_from_the_first_row_and_pass_midnight(tmp_path):
    panel(tmp_path, "clock,distance_mm\n23:58,0\n23:59:30,80\n00:01,120\n00:04,180\n")
    assert_allclose(read_marks(tmp_path / "marks.csv")[0], [0, 90, 180, 360])


def test_marks_become_a_front_curve(tmp_path):
    rows = "".join(f"{k},{100 * k**0.5:.0f}\n" for k in range(1, 11))
    tracked = track_marks(read_setup(panel(tmp_path, "time_min,distance_mm\n" + rows)))
    assert tracked.arrival is None
    assert tracked.front.usable
    assert tracked.front.race_tracking_mm is None  # marks do not show it
    assert tracked.curve.used.all()
    assert_allclose(tracked.curve.front_mean_mm[-1], 316.0)


@pytest.mark.parametrize(
    ("marks", "message"),
    [
        ("time_min,distance_mm\n1,100\n2,150\n", "2 marks: at least 4"),
        (
            "time_min,distance_mm\n1,100\n3,150\n2,170\n4,190\n",
            "row 4, time_min = 2: must be later",
        ),
        ("time_min,distance_mm\n1,100\n2,150\n3,120\n4,190\n", "row 4.*lies behind the mark"),
        ("time_min,distance_mm\n1,far\n2,150\n3,170\n4,190\n", "row 2, distance_mm = far"),
        ("when,distance_mm\n1,100\n", "must hold time_s, time_min or clock"),
        ("time_mn,distance_mm\n1,100\n", "did you mean time_min"),
        ("time_min,distance\n1,100\n", "did you mean distance_"),
        ("clock,distance_mm\n99:99:99,0\n14:01,90\n14:02,120\n14:03,140\n", "row 2, clock = 99"),
        (
            "clock,distance_mm\n14:00,0\n14:02,90\n14:01,120\n14:03,140\n",
            "row 4, clock = 14:01: must be later",
        ),
        (
            "clock,distance_mm\n14:00,0\n14:02,90\n14:04,120\n13:06,140\n",
            "row 5, clock = 13:06: must be later",
        ),
        (
            "clock,distance_mm\n14:00,150\n14:02,190\n14:04,220\n14:06,240\n",
            "row 2, clock = 14:00: is not after resin start.*give .frames. resin_start",
        ),
        (
            "time_min,distance_mm\n-1,150\n2,190\n4,220\n6,240\n",
            "row 2, time_min = -1: is not after resin start",
        ),
        (
            "time_min,distance_mm\n0,150\n2,190\n4,220\n6,240\n",
            "row 2, time_min = 0: is not after resin start",
        ),
        ("time_min,distance_mm\n1,100\n2,-5\n3,170\n4,190\n", "row 3, distance_mm = -5"),
        ("time_min,distance_mm\n1,100\n2,nan\n3,170\n4,190\n", "row 3, distance_mm = nan"),
        ("time_min,distance_mm\n1,100\n2,1,50\n3,170\n4,190\n", "put ; between the columns"),
    ],
)
def test_wrong_marks_are_told_in_one_line(tmp_path, marks, message):
    with pytest.raises(WetlineError, match=message):
        read_marks(panel(tmp_path, marks) / "marks.csv")


@pytest.mark.parametrize(
    ("frames", "marks", "first_s"),
    [
        ('resin_start = "14:00"', CLOCKS + "14:05,159\n14:06,170\n14:07,180\n14:08,190\n", 300),
        ('resin_start = "23:58"', CLOCKS + "00:01,90\n00:02,120\n00:03,140\n00:04,150\n", 180),
        ("resin_start = -60", CLOCKS + "14:05,59\n14:06,70\n14:07,80\n14:08,90\n", 60),
        ("resin_start = 120", "time_min,distance_mm\n2,0\n5,170\n6,180\n7,190\n", 0),
    ],
)
def test_resin_start_counts_for_marks_too(tmp_path, frames, marks, first_s):
    folder = panel(tmp_path, marks)
    text = (folder / "panel.toml").read_text(encoding="utf-8") + frames + "\n"
    (folder / "panel.toml").write_text(text, encoding="utf-8")
    assert track_marks(read_setup(folder)).curve.time_s[0] == first_s


@pytest.mark.parametrize(
    ("frames", "marks", "message"),
    [
        ('resin_start = "14:00"', MINUTES + "1,9\n2,12\n3,15\n4,18\n", "no clock times"),
        (
            'resin_start = "14:06"',
            "clock,distance_mm\n14:05,159\n14:07,170\n14:08,180\n14:09,190\n",
            "row 2, clock = 14:05: is not after resin start",
        ),
        ("", "time_s,distance_mm\n1,100\n2,150\n3,180\n4,200\n", "name the column time_min"),
        ("", MINUTES + "600,100\n1200,150\n1800,180\n2400,200\n", "name the column time_s"),
        ("", "time_min,distance_mm\n1,10\n2,15\n3,18\n4,20\n", "distance_cm, distance_in or"),
        ("", "time_min,distance_in\n1,100\n2,150\n3,180\n4,200\n", "shorter than the far"),
    ],
)
def test_marks_in_another_unit_or_clock_are_refused(tmp_path, frames, marks, message):
    folder = panel(tmp_path, marks)
    file = folder / "panel.toml"
    text = file.read_text(encoding="utf-8") + frames + "\n"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(WetlineError, match=message) as caught:
        track_marks(read_setup(folder))
    assert "\n" not in str(caught.value)
    if "confirmed" in str(caught.value):
        file.write_text(text + 'confirmed = ["source"]\n', encoding="utf-8")
        assert track_marks(read_setup(folder)).front.usable


def test_centimetres_are_understood(tmp_path):
    panel(tmp_path, "time_min;distance_cm\n1;10,5\n2;15\n3;18\n4;20\n")
    assert_allclose(read_marks(tmp_path / "marks.csv")[1], [105, 150, 180, 200])


def test_a_mark_beyond_the_panel_is_refused(tmp_path):
    marks = "time_min,distance_mm\n1,100\n2,150\n3,170\n4,190\n"
    folder = panel(tmp_path, marks, extra="length_mm = 120\nwidth_mm = 300")
    with pytest.raises(WetlineError, match="shorter than the farthest mark"):
        track_marks(read_setup(folder))
