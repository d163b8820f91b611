import numpy as np
import pytest
from numpy.testing import assert_allclose

from vision.arrival.lanes import lane_fronts_px
from vision.errors import WetlineError
from vision.front.corrections import bend, map_from_hand, read_fixes
from vision.records import ArrivalMap


def even_map(rate=4.0, shape=(30, 80)):
    arrival = np.tile((np.arange(shape[1]) + 0.5) ** 2 / rate, (shape[0], 1))
    whole = np.ones(shape, bool)
    return ArrivalMap(arrival, whole, ~whole, 1.0, float(arrival.max()))


def test_map_goes_through_the_points_and_stays_put_far_away():
    arrival = even_map()
    points = np.array([[400.0, 30.5, 15.5]])  # the map says 232.6 s there
    bent = bend(arrival, points)
    assert_allclose(bent.time_s[15, 30], 400.0, rtol=0.01)
    assert bent.by_hand[15, 30]
    assert_allclose(bent.time_s[15, 79], arrival.time_s[15, 79], rtol=0.15)


def test_three_points_make_a_front_where_nothing_could_be_seen():
    # Darcy's law with a steady drive: x^2 = 4 t.
    points = np.array([[25.0, 10.0, 5.0], [225.0, 30.0, 20.0], [900.0, 60.0, 12.0]])
    made = map_from_hand(points, (30, 80), 1.0, last_s=1600.0)
    times = np.array([100.0, 400.0, 900.0, 1225.0])
    assert_allclose(lane_fronts_px(made.time_s, times).mean(axis=1), 2 * np.sqrt(times), atol=0.6)
    assert made.by_hand.all()


def write(path, text):
    path.write_text(text, encoding="utf-8")
    return path


def test_lines_by_hand_are_filled_in(tmp_path):
    path = write(tmp_path / "fix.csv", "time_min,x_mm,y_mm,line\n1,50,0,a\n1,50,40,a\n2,80,20,\n")
    points = read_fixes(path, lambda text: None)
    assert len(points) == 10
    assert_allclose(points[:, 0], [60.0] * 9 + [120.0])


def test_clock_times_are_understood(tmp_path):
    path = write(tmp_path / "fix.csv", "clock,x_mm,y_mm\n14:03:20,50,10\n")
    assert read_fixes(path, {"14:03:20": 77.0}.get)[0, 0] == 77.0


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("x_mm,y_mm\n1,2\n", "must hold time_s, x_mm and y_mm"),
        ("time_s,x_mm,y_mm\n5,wide,2\n", r"row 2, x_mm = wide: must be a number"),
        ("clock,x_mm,y_mm\nnoon,1,2\n", "must be a time such as"),
        ("time_s,x_mm,y_mm\n", "holds no points"),
    ],
)
def test_a_wrong_file_is_told_in_one_line(tmp_path, text, message):
    with pytest.raises(WetlineError, match=message) as caught:
        read_fixes(write(tmp_path / "fix.csv", text), lambda text: None)
    assert "\n" not in str(caught.value)
