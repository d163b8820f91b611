"""The two curves of the record: what is on them, and that it reads without colour."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.record.front_charts import FitBand, TimeLimit, distance_chart, squared_chart
from vision.drawing.charts.chart import Band, Line, Rule
from vision.drawing.charts.draw_chart import draw_chart
from vision.records import SecondFront

TIME_S = np.arange(60.0, 1260.0, 60.0)
FRONT_MM = np.sqrt(90.0 * TIME_S)  # x**2 = k t, Darcy's law with a sharp front
USED = TIME_S < 1000


def band(last_s=3000.0):
    across = np.linspace(1.0, last_s, 300)
    middle = np.sqrt(90.0 * across)
    return FitBand(across, middle, 0.97 * middle, 1.03 * middle)


def drawn(chart, name):
    (line,) = (item for item in chart.items if isinstance(item, Line) and item.name == name)
    return line.x, line.y, line


def words(chart):
    return [item.words for item in chart.items if isinstance(item, Rule)]


def names(chart):
    return [item.name for item in chart.items if not isinstance(item, Rule) and item.name]


def test_distance_is_drawn_in_minutes_and_mm_with_two_shapes():
    chart = distance_chart(TIME_S, FRONT_MM, USED, fit=band())
    x, y, full = drawn(chart, "measured")
    assert_allclose(x, TIME_S[USED] / 60)
    assert_allclose(y, FRONT_MM[USED])
    x, y, hollow = drawn(chart, "measured, not used")
    assert_allclose(x, TIME_S[~USED] / 60)
    assert_allclose(y, FRONT_MM[~USED])
    assert full.mark.shape != hollow.mark.shape
    assert hollow.mark.inside == "#ffffff" != full.mark.inside
    assert full.level > hollow.level


def test_fit_is_whole_over_its_points_and_dashed_beyond():
    chart = distance_chart(TIME_S, FRONT_MM, USED, fit=band())
    last_min = TIME_S[USED].max() / 60
    x_fit, y_fit, fit = drawn(chart, "fit")
    x_ahead, y_ahead, ahead = drawn(chart, "forecast")
    assert x_fit.max() <= last_min < x_ahead.max()
    assert x_ahead.min() == x_fit.max()
    assert fit.dash == ()
    assert ahead.dash
    assert_allclose(np.r_[y_fit, y_ahead], np.sqrt(90 * 60 * np.r_[x_fit, x_ahead]))
    (shade,) = (item for item in chart.items if isinstance(item, Band))
    assert_allclose(shade.low, 0.97 * np.sqrt(90 * 60 * shade.x))
    assert_allclose(shade.high, 1.03 * np.sqrt(90 * 60 * shade.x))


def test_limits_and_flow_length_are_named_and_in_view():
    limits = [TimeLimit("gel time", 3300.0), TimeLimit("working time", 2700.0)]
    chart = distance_chart(TIME_S, FRONT_MM, USED, fit=band(), limits=limits, flow_length_mm=450.0)
    assert words(chart) == [
        "part's flow length 450 mm",
        "working time 45 min",
        "gel time 55 min",
    ]
    rules = [item for item in chart.items if isinstance(item, Rule)]
    assert [rule.value for rule in rules] == [450.0, 45.0, 55.0]
    assert [rule.upright for rule in rules] == [False, True, True]
    assert len({rule.dash for rule in rules}) == 3
    assert chart.x_span[1] > 55
    assert chart.y_span[1] > 450


def test_a_long_forecast_does_not_squeeze_the_measured_points():
    chart = distance_chart(TIME_S, FRONT_MM, USED, fit=band(90000.0))
    assert chart.x_span[1] < 1.2 * TIME_S[-1] / 60
    assert chart.y_span[1] < 1.2 * FRONT_MM[-1]


@pytest.mark.parametrize("size", [1.0, 6.0, 60.0])
def test_all_words_lie_inside_the_picture(size):
    limits = [TimeLimit("working time", 2700.0), TimeLimit("gel time", 3300.0)]
    front_mm = size * FRONT_MM
    fit = FitBand(TIME_S, front_mm, 0.9 * front_mm, 1.1 * front_mm)
    squared = FitBand(TIME_S, front_mm**2, 0.9 * front_mm**2, 1.1 * front_mm**2)
    for chart in (
        distance_chart(TIME_S, front_mm, USED, fit=fit, limits=limits, flow_length_mm=450 * size),
        squared_chart(TIME_S, front_mm, USED, fit=squared),
    ):
        assert names(chart) == ["measured", "measured, not used", "95 % band", "fit", "forecast"]
        picture = draw_chart(chart)
        for edge in (picture[:2], picture[-2:], picture[:, :2], picture[:, -2:]):
            assert (edge == 255).all()


def test_squared_distance_is_a_straight_line():
    fit = FitBand(TIME_S, 90 * TIME_S, 88 * TIME_S, 92 * TIME_S)
    chart = squared_chart(TIME_S, FRONT_MM, np.ones(20, bool), fit=fit)
    x, y, _ = drawn(chart, "measured")
    assert_allclose(y, 90.0 * 60 * x / 100)  # cm2
    assert_allclose(drawn(chart, "fit")[1], 0.9 * TIME_S)
    assert chart.x_span[0] == chart.y_span[0] == 0
    assert chart.x_span[1] > TIME_S[-1] / 60
    assert chart.y_span[1] > 0.92 * TIME_S[-1]


def test_impulse_axis_keeps_its_numbers():
    chart = squared_chart(
        TIME_S * 4e5,
        FRONT_MM,
        USED,
        across_label="driving impulse",
        across_unit=1.0,
    )
    assert_allclose(drawn(chart, "measured")[0], TIME_S[USED] * 4e5)
    assert chart.x_label == "driving impulse"


@pytest.mark.parametrize("make", [distance_chart, squared_chart])
@pytest.mark.parametrize("points", [(), (np.nan, np.nan), (5.0,), (0.0,), (-90.0, -30.0)])
def test_few_or_no_points_still_give_a_picture(make, points):
    chart = make(points, points, np.zeros(len(points), bool))
    assert draw_chart(chart, dpi=60).shape == (246, 432, 3)


def test_points_before_resin_start_are_in_view():
    time_s = np.array([-90.0, 0.0, 60.0])
    for make in (distance_chart, squared_chart):
        assert make(time_s, np.array([0.0, 0.0, 10.0]), np.ones(3, bool)).x_span[0] == -1.5


def test_points_and_fit_stay_apart_in_grey():
    picture = draw_chart(distance_chart(TIME_S, FRONT_MM, USED, fit=band()), dpi=100)
    pixels = np.rint(picture @ [0.114, 0.587, 0.299]).astype(int)  # ITU-R BT.601
    # ink of points, line of the fit, band and paper: four greys
    levels = np.bincount(pixels.ravel(), minlength=256)
    for low, high in ((0, 45), (80, 130), (190, 235), (255, 256)):
        assert levels[low:high].sum() > 100


def test_another_change_has_a_line_and_a_name_of_its_own():
    time_s = np.linspace(0.0, 600.0, 25)
    other = SecondFront("second", time_s, 0.6 * np.sqrt(90.0 * time_s), np.full(25, 0.7))
    chart = distance_chart(time_s, np.sqrt(90.0 * time_s), np.ones(25, bool), other=other)
    _, y, line = drawn(chart, "second change, not followed")
    assert y[-1] == pytest.approx(0.6 * np.sqrt(90.0 * 600.0))
    assert line.dash
    assert line.mark.shape not in {drawn(chart, "measured")[2].mark.shape, "square"}


def test_the_fill_interval_is_a_bar_on_the_flow_length():
    limits = [TimeLimit("gel time", 3600.0)]
    chart = distance_chart(
        TIME_S, FRONT_MM, USED, fit=band(), limits=limits, flow_length_mm=500.0,
        fill_s=(2400.0, 2778.0, 4200.0),
    )  # fmt: skip
    x, y, _ = drawn(chart, "part full, 95 %")
    assert_allclose(x, [40.0, 70.0])
    assert_allclose(y, [500.0, 500.0])
    assert chart.x_span[1] >= 70.0


def test_a_part_that_may_never_fill_has_a_bar_that_runs_off():
    chart = distance_chart(
        TIME_S, FRONT_MM, USED, fit=band(), flow_length_mm=500.0,
        fill_s=(2400.0, 2778.0, np.inf),
    )  # fmt: skip
    x, _, _ = drawn(chart, "part full, 95 %")
    assert_allclose(x, [40.0, chart.x_span[1]])
    never = distance_chart(
        TIME_S, FRONT_MM, USED, flow_length_mm=500.0, fill_s=(np.inf, np.inf, np.inf)
    )
    assert "part full, 95 %" not in names(never)
