import pytest
from numpy.testing import assert_allclose

from vision.errors import WetlineError
from vision.front.pen_marks import read_marks, track_marks
from vision.settings.panel_settings import read_setup


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
    assert tracked.curve.used.all()
    assert_allclose(tracked.curve.front_mean_mm[-1], 316.0)


@pytest.mark.parametrize(
    ("marks", "message"),
    [
        ("time_min,distance_mm\n1,100\n2,150\n", "2 marks: at least 4"),
        (
            "time_min,distance_mm\n1,100\n3,150\n2,170\n4,190\n",
            "row 4, time = 120 s: must be later",
        ),
        ("time_min,distance_mm\n1,100\n2,150\n3,120\n4,190\n", "row 4.*lies behind the mark"),
        ("time_min,distance_mm\n1,far\n2,150\n3,170\n4,190\n", "row 2, distance_mm = far"),
        ("when,distance_mm\n1,100\n", "must hold time_s, time_min or clock"),
    ],
)
def test_wrong_marks_are_told_in_one_line(tmp_path, marks, message):
    with pytest.raises(WetlineError, match=message):
        read_marks(panel(tmp_path, marks) / "marks.csv")


def test_a_mark_beyond_the_panel_is_refused(tmp_path):
    marks = "time_min,distance_mm\n1,100\n2,150\n3,170\n4,190\n"
    folder = panel(tmp_path, marks, extra="length_mm = 120\nwidth_mm = 300")
    with pytest.raises(WetlineError, match="shorter than the farthest mark"):
        track_marks(read_setup(folder))
