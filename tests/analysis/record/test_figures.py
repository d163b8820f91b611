import io
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from numpy.testing import assert_allclose
from PIL import Image

from analysis.record.figures import (
    FitBand,
    TimeLimit,
    blank_page,
    distance_figure,
    png_bytes,
    squared_figure,
    svg_text,
)
from vision.records import SecondFront

TIME_S = np.arange(60.0, 1260.0, 60.0)
FRONT_MM = np.sqrt(90.0 * TIME_S)  # x**2 = k t, Darcy's law with a sharp front
USED = TIME_S < 1000


def band(last_s=3000.0):
    across = np.linspace(1.0, last_s, 300)
    middle = np.sqrt(90.0 * across)
    return FitBand(across, middle, 0.97 * middle, 1.03 * middle)


def drawn(axes, label):
    (line,) = (line for line in axes.lines if line.get_label() == label)
    return np.asarray(line.get_xdata()), np.asarray(line.get_ydata()), line


def words(figure):
    return [text.get_text() for text in figure.axes[0].texts]


def test_distance_is_drawn_in_minutes_and_mm_with_two_shapes():
    figure = distance_figure(TIME_S, FRONT_MM, USED, fit=band())
    (axes,) = figure.axes
    x, y, full = drawn(axes, "measured")
    assert_allclose(x, TIME_S[USED] / 60)
    assert_allclose(y, FRONT_MM[USED])
    x, y, hollow = drawn(axes, "measured, not used")
    assert_allclose(x, TIME_S[~USED] / 60)
    assert_allclose(y, FRONT_MM[~USED])
    assert full.get_marker() != hollow.get_marker()
    assert hollow.get_markerfacecolor() == "white"


def test_fit_is_whole_over_its_points_and_dashed_beyond():
    (axes,) = distance_figure(TIME_S, FRONT_MM, USED, fit=band()).axes
    last_min = TIME_S[USED].max() / 60
    x_fit, y_fit, fit = drawn(axes, "fit")
    x_ahead, y_ahead, ahead = drawn(axes, "forecast")
    assert x_fit.max() <= last_min < x_ahead.max()
    assert x_ahead.min() == x_fit.max()
    assert fit.get_linestyle() == "-"
    assert ahead.get_linestyle() != "-"
    assert_allclose(np.r_[y_fit, y_ahead], np.sqrt(90 * 60 * np.r_[x_fit, x_ahead]))


def test_limits_and_flow_length_are_named_and_in_view():
    limits = [TimeLimit("gel time", 3300.0), TimeLimit("working time", 2700.0)]
    figure = distance_figure(
        TIME_S, FRONT_MM, USED, fit=band(), limits=limits, flow_length_mm=450.0
    )
    (axes,) = figure.axes
    assert words(figure) == [
        "part's flow length 450 mm",
        "working time 45 min",
        "gel time 55 min",
    ]
    assert axes.get_xlim()[1] > 55
    assert axes.get_ylim()[1] > 450
    styles = {str(line.get_linestyle()) for line in axes.lines if len(line.get_xdata()) == 2}
    assert len(styles) >= 2


def test_a_long_forecast_does_not_squeeze_the_measured_points():
    (axes,) = distance_figure(TIME_S, FRONT_MM, USED, fit=band(90000.0)).axes
    assert axes.get_xlim()[1] < 1.2 * TIME_S[-1] / 60
    assert axes.get_ylim()[1] < 1.2 * FRONT_MM[-1]


@pytest.mark.parametrize("size", [1.0, 6.0])
def test_all_words_lie_inside_the_picture(size):
    limits = [TimeLimit("working time", 2700.0), TimeLimit("gel time", 3300.0)]
    front_mm = size * FRONT_MM
    fit = FitBand(TIME_S, front_mm, 0.9 * front_mm, 1.1 * front_mm)
    squared = FitBand(TIME_S, front_mm**2, 0.9 * front_mm**2, 1.1 * front_mm**2)
    for figure in (
        distance_figure(TIME_S, front_mm, USED, fit=fit, limits=limits, flow_length_mm=450 * size),
        squared_figure(TIME_S, front_mm, USED, fit=squared),
    ):
        figure.draw_without_rendering()
        (axes,) = figure.axes
        legend = axes.get_legend()
        assert len(legend.get_texts()) == 5
        for item in (axes, legend, axes.xaxis, axes.yaxis):
            box = item.get_tightbbox(figure.canvas.get_renderer())
            assert box.x0 >= 0
            assert box.y0 >= 0
            assert box.x1 <= figure.bbox.x1
            assert box.y1 <= figure.bbox.y1


def test_squared_distance_is_a_straight_line():
    fit = FitBand(TIME_S, 90 * TIME_S, 88 * TIME_S, 92 * TIME_S)
    (axes,) = squared_figure(TIME_S, FRONT_MM, np.ones(20, bool), fit=fit).axes
    x, y, _ = drawn(axes, "measured")
    assert_allclose(y, 90.0 * 60 * x / 100)  # cm2
    assert_allclose(drawn(axes, "fit")[1], 0.9 * TIME_S)
    assert axes.get_xlim()[0] == 0
    assert axes.get_ylim()[0] == 0


def test_impulse_axis_keeps_its_numbers():
    figure = squared_figure(
        TIME_S * 4e5,
        FRONT_MM,
        USED,
        across_label="driving impulse",
        across_unit=1.0,
    )
    (axes,) = figure.axes
    assert_allclose(drawn(axes, "measured")[0], TIME_S[USED] * 4e5)
    assert axes.get_xlabel() == "driving impulse"


@pytest.mark.parametrize("make", [distance_figure, squared_figure])
@pytest.mark.parametrize("points", [(), (np.nan, np.nan), (5.0,)])
def test_few_or_no_points_still_give_a_picture(make, points):
    figure = make(points, points, np.zeros(len(points), bool))
    with Image.open(io.BytesIO(png_bytes(figure, dpi=60))) as picture:
        assert picture.size == (432, 246)


def test_pictures_are_the_same_each_time():
    first, second = (distance_figure(TIME_S, FRONT_MM, USED, fit=band()) for _ in range(2))
    assert png_bytes(first, dpi=60) == png_bytes(second, dpi=60)
    assert svg_text(first) == svg_text(second)
    root = ElementTree.fromstring(svg_text(first))
    assert root.tag.endswith("svg")


def test_a_page_taken_again_shows_nothing_of_what_it_bore():
    limits = [TimeLimit("gel time", 3300.0)]
    first = distance_figure(
        TIME_S, FRONT_MM, USED, fit=band(), limits=limits, flow_length_mm=900.0, page=blank_page()
    )
    png_bytes(first, dpi=60)
    again = squared_figure(TIME_S, FRONT_MM, USED, fit=band(), page=first)
    assert again is first
    assert not words(again)
    fresh = squared_figure(TIME_S, FRONT_MM, USED, fit=band())
    assert png_bytes(again, dpi=60) == png_bytes(fresh, dpi=60)


def test_points_and_fit_stay_apart_in_grey():
    figure = distance_figure(TIME_S, FRONT_MM, USED, fit=band())
    FigureCanvasAgg(figure).draw()
    pixels = np.asarray(Image.open(io.BytesIO(png_bytes(figure, dpi=100))).convert("L"))
    # ink of points, line of the fit, band and paper: four greys
    levels = np.bincount(pixels.ravel(), minlength=256)
    for low, high in ((0, 45), (80, 130), (190, 235), (255, 256)):
        assert levels[low:high].sum() > 100


def test_another_change_has_a_line_and_a_name_of_its_own():
    time_s = np.linspace(0.0, 600.0, 25)
    other = SecondFront("second", time_s, 0.6 * np.sqrt(90.0 * time_s), np.full(25, 0.7))
    figure = distance_figure(time_s, np.sqrt(90.0 * time_s), np.ones(25, bool), other=other)
    axes = figure.axes[0]
    line = next(x for x in axes.lines if x.get_label() == "second change, not followed")
    assert line.get_ydata()[-1] == pytest.approx(0.6 * np.sqrt(90.0 * 600.0))
    assert line.get_linestyle() == ":"
    assert "second change, not followed" in [t.get_text() for t in axes.get_legend().get_texts()]


def test_the_fill_interval_is_a_bar_on_the_flow_length():
    limits = [TimeLimit("gel time", 3600.0)]
    figure = distance_figure(
        TIME_S, FRONT_MM, USED, fit=band(), limits=limits, flow_length_mm=500.0,
        fill_s=(2400.0, 2778.0, 4200.0),
    )  # fmt: skip
    x, y, _ = drawn(figure.axes[0], "part full, 95 %")
    assert_allclose(x, [40.0, 70.0])
    assert_allclose(y, [500.0, 500.0])
    assert figure.axes[0].get_xlim()[1] >= 70.0


def test_a_part_that_may_never_fill_has_a_bar_that_runs_off():
    figure = distance_figure(
        TIME_S, FRONT_MM, USED, fit=band(), flow_length_mm=500.0,
        fill_s=(2400.0, 2778.0, np.inf),
    )  # fmt: skip
    axes = figure.axes[0]
    x, _, _ = drawn(axes, "part full, 95 %")
    assert_allclose(x, [40.0, axes.get_xlim()[1]])
    never = distance_figure(
        TIME_S, FRONT_MM, USED, flow_length_mm=500.0, fill_s=(np.inf, np.inf, np.inf)
    )
    assert "part full, 95 %" not in [line.get_label() for line in never.axes[0].lines]
