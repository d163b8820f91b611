import numpy as np
import pytest
from numpy.testing import assert_allclose

from vision.arrival.lanes import lane_fronts_px
from vision.common.csv_table import clock_text_s
from vision.errors import WetlineError
from vision.front.corrections import (
    FixLimits,
    bend,
    farthest_words,
    map_from_hand,
    read_fixes,
    start_from_hand,
    times_at,
)
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


LIMITS = FixLimits(length_mm=300.0, width_mm=100.0, last_s=1000.0)


def write(path, text):
    path.write_text(text, encoding="utf-8")
    return path


def test_lines_by_hand_are_filled_in(tmp_path):
    path = write(tmp_path / "fix.csv", "time_min,x_mm,y_mm,line\n1,50,0,a\n1,50,40,a\n2,80,20,\n")
    points = read_fixes(path, clock_text_s)
    assert len(points) == 10
    assert_allclose(points[:, 0], [60.0] * 9 + [120.0])


def test_clock_times_are_understood(tmp_path):
    path = write(tmp_path / "fix.csv", "clock,x_mm,y_mm\n14:03:20,50,10\n")
    assert read_fixes(path, lambda text: clock_text_s(text) - 50_000)[0, 0] == 600.0


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("x_mm,y_mm\n1,2\n", "must hold time_s, time_min or clock, x_mm and y_mm"),
        ("time_s,x_mm,y_mm\n5,wide,2\n", r"row 2, x_mm = wide: must be a number"),
        ("clock,x_mm,y_mm\nnoon,1,2\n", "must be a time of day such as"),
        ("time_s,x_mm,y_mm\n", "holds no rows"),
        ("time_s,x_mm,y_mm\n-5,30,2\n", "row 2, time_s = -5: is before resin start"),
        ("time_s,x_mm,y_mm\n9999,30,2\n", "is after the last frame"),
        ("time_s,x_mm,y_mm\n50,301,2\n", "lies off the panel: must be from 0 to 300 mm"),
        ("time_s,x_mm,y_mm\n50,30,-2\n", "row 2, y_mm = -2: lies off the panel"),
        ("time_s,x_mm,y_mm\n50,inf,2\n", "row 2, x_mm = inf: must be a number"),
        ("time_s,x_mm,y_mm\n50,30,nan\n", "row 2, y_mm = nan: must be a number"),
        ("clock,x_mm,y_mm\n99:99:99,30,2\n", "must be a time of day such as"),
        ("time_s,x,y_mm\n50,30,2\n", "must hold time_s, x_mm and y_mm"),
        ("time_s,x_mm,y_mm\n50,80,9\n90,40,12\n", "row 3, x_mm = 40: lies behind row 2"),
        ("time_s,x_mm,y_mm\n50,80,9\n50,40,12\n", "row 3, x_mm = 40: is 40 mm from row 2, at the"),
    ],
)
def test_a_wrong_file_is_told_in_one_line(tmp_path, text, message):
    with pytest.raises(WetlineError, match=message) as caught:
        read_fixes(write(tmp_path / "fix.csv", text), clock_text_s, LIMITS)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("text", ["50,80,9,\n50,40,30,\n", "50,80,9,a\n50,40,12,a\n"])
def test_other_lanes_and_one_steep_line_may_lie_apart(tmp_path, text):
    path = write(tmp_path / "fix.csv", "time_s,x_mm,y_mm,line\n" + text)
    assert len(read_fixes(path, clock_text_s, LIMITS)) >= 2


def test_the_farthest_point_is_told():
    arrival = even_map()  # 232.6 s at x = 30.5 mm
    points = np.array([[240.0, 30.5, 15.5], [900.0, 30.5, 20.5]])
    words = farthest_words(points, times_at(arrival, points), arrival.last_s)
    assert words == "the farthest from what the camera saw is 11 min later, at (30, 20) mm"


def test_points_by_hand_tell_the_start():
    # x^2 = k (t - 40 s), Washburn, Phys. Rev. 17, 273, 1921.
    x_mm = np.array([80.0, 150.0, 240.0])
    points = np.stack([40 + x_mm**2 / 100, x_mm, np.full(3, 30.0)], axis=1)
    shift_s, sd_s = start_from_hand(points, 3.0)
    assert shift_s == pytest.approx(40.0)
    # 3 mm at 80 mm are 5 s there; the first point comes 64 s after the start.
    assert 6.4 < sd_s < 15.0
    rng = np.random.default_rng(1)
    off = []
    for _ in range(200):
        slips = np.array([0.0, 1.0, 0.0]) * rng.normal(0, 3.0, (3, 1))
        shift_s, sd_s = start_from_hand(points + slips, 3.0)
        off.append((shift_s - 40.0) / sd_s)
    assert 0.4 < np.std(off) < 1.3


@pytest.mark.parametrize(
    "points",
    [
        [[100.0, 80.0, 30.0], [120.0, 80.0, 60.0]],
        [[200.0, 80.0, 30.0], [100.0, 150.0, 30.0]],
        [[20.0, 0.0, 30.0], [100.0, 150.0, 30.0]],
    ],
    ids=["one distance", "farther before nearer", "at the feed"],
)
def test_points_that_tell_no_start(points):
    assert np.isnan(start_from_hand(np.array(points), 3.0)).all()
