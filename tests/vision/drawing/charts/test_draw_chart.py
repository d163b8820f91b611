"""A chart's points, lines and ticks are found in the picture where their values say."""

import io

import numpy as np
import pytest
from numpy.testing import assert_allclose
from PIL import Image

from vision.drawing.charts.chart import Band, Chart, Line, Mark, RightAxis, Rule
from vision.drawing.charts.draw_chart import DPI, chart_png, draw_chart, frame_of

RED = "#ff0000"


def chart(*items, **changes):
    given = {"x_span": (0.0, 10.0), "y_span": (0.0, 200.0), "x_label": "", "y_label": ""}
    return Chart(items, **(given | changes))


def red(picture):
    """Return rows and columns of what is drawn in red, and how red."""
    blue, _, reds = np.moveaxis(picture.astype(float), 2, 0)
    share = np.clip((reds - blue) / 255, 0, 1)
    return np.average(np.indices(share.shape), axis=(1, 2), weights=share), share


@pytest.mark.parametrize("value", [(2.5, 50.0), (5.0, 100.0), (9.0, 20.0)])
def test_a_mark_is_where_its_values_are(value):
    x, y = (np.array([one]) for one in value)
    whole = chart(Line(x, y, RED, mark=Mark("disc", 6.0, RED, RED)))
    (row, col), _ = red(draw_chart(whole))
    frame = frame_of(whole)
    assert col == pytest.approx(frame.left + value[0] / 10 * (frame.right - frame.left), abs=0.3)
    assert row == pytest.approx(frame.bottom - value[1] / 200 * (frame.bottom - frame.top), abs=0.3)


def test_a_mark_outside_the_axes_is_left_out_and_a_line_ends_at_them():
    out = Line(np.array([12.0]), np.array([50.0]), RED, mark=Mark("disc", 6.0, RED, RED))
    assert red_sum(chart(out)) == 0
    whole = chart(Line(np.array([-5.0, 15.0]), np.array([100.0, 100.0]), RED, 2.0))
    _, share = red(draw_chart(whole))
    cols, frame = np.flatnonzero(share.max(axis=0) > 0.3), frame_of(whole)
    assert cols.min() >= frame.left - 1
    assert cols.max() <= frame.right + 1


def red_sum(whole):
    return red_share(whole).sum()


def red_share(whole):
    picture = draw_chart(whole).astype(float)
    return np.clip((picture[..., 2] - picture[..., 0]) / 255, 0, 1)


def test_a_dashed_line_has_less_ink_than_a_whole_one():
    x, y = np.array([0.0, 10.0]), np.array([100.0, 100.0])
    whole, dashes = (red_sum(chart(Line(x, y, RED, 2.0, dash))) for dash in ((), (3.0, 3.0)))
    assert dashes == pytest.approx(0.5 * whole, rel=0.2)  # dashes have round corners


def test_a_gap_in_a_line_stays_blank():
    x = np.linspace(0.0, 10.0, 101)
    y = np.where((x > 4) & (x < 6), np.nan, 100.0)
    whole = chart(Line(x, y, RED, 2.0))
    frame = frame_of(whole)
    columns = red_share(whole).max(axis=0)
    middle = round((frame.left + frame.right) / 2)
    assert columns[middle - 40 : middle + 40].max() == 0
    assert columns[middle + 80] > 0.5


def test_a_band_lies_between_its_lines():
    x = np.array([0.0, 10.0])
    whole = chart(Band(x, np.array([50.0, 50.0]), np.array([100.0, 100.0]), RED, 0.5))
    frame = frame_of(whole)
    rows = np.flatnonzero(red_share(whole)[:, round(frame.left) + 40] > 0.3)
    tall = frame.bottom - frame.top
    assert rows.min() == pytest.approx(frame.bottom - tall / 2, abs=1.5)
    assert rows.max() == pytest.approx(frame.bottom - tall / 4, abs=1.5)


@pytest.mark.parametrize("upright", [True, False])
def test_a_rule_runs_right_through_with_its_words(upright):
    bare, named = (
        red_share(chart(Rule(5.0 if upright else 100.0, words, RED, upright)))
        for words in ("", "working time 5 min")
    )
    frame = frame_of(chart())
    long = frame.bottom - frame.top if upright else frame.right - frame.left
    assert (bare.max(axis=1 if upright else 0) > 0.3).sum() == pytest.approx(long, abs=3)
    assert named.sum() > bare.sum() + 50


def test_a_higher_level_is_drawn_over_a_lower_one():
    x, y = np.array([0.0, 10.0]), np.array([100.0, 100.0])
    under = Line(x, y, RED, 4.0, level=1)
    over = Line(x, y, "#0000ff", 6.0, level=2)
    assert red_sum(chart(over, under)) < 0.1 * red_sum(chart(under))


def test_the_legend_names_each_item_once_as_it_is_drawn():
    point = np.array([5.0])
    line = Line(point, point, RED, mark=Mark("disc", 6.0, RED, RED))
    far = {"x_span": (100.0, 200.0)}
    nameless = red_sum(chart(line, **far))
    assert nameless == 0
    named = Line(point, point, RED, mark=Mark("disc", 6.0, RED, RED), name="gauge")
    above = red_share(chart(named, named, **far))
    rows = np.flatnonzero(above.max(axis=1) > 0.3)
    assert rows.max() < frame_of(chart()).top
    assert above.sum() > 20


@pytest.mark.parametrize("many", [1, 5, 6, 8])
def test_words_and_numbers_stay_inside_the_picture(many):
    point = np.array([5.0])
    items = [Line(point, point, RED, 1.0, name=f"measured, not used {i}") for i in range(many)]
    rules = [Rule(5.0, "working time 45 min", RED, True), Rule(90.0, "flow length 450 mm", RED)]
    whole = Chart(
        (*items, *rules),
        (-2.0, 10.0),
        (0.0, 250000.0),
        "driving impulse (pressure over viscosity, summed over time)",
        "radius of the flow front squared, cm²",
        RightAxis("in", 1 / 25.4),
    )
    picture = draw_chart(whole)
    for edge in (picture[:2], picture[-2:], picture[:, :2], picture[:, -2:]):
        assert (edge == 255).all()


def test_the_right_axis_stands_at_the_same_places():
    # One unit at the left is half a unit at the right: 40 and 20 share a place.
    plain, both = (draw_chart(chart(right=right)) for right in (None, RightAxis("in", 0.5)))
    assert plain.shape == both.shape
    frame = frame_of(chart(right=RightAxis("in", 0.5)))
    ticks = (both[:, round(frame.right) + 3] < 128).all(axis=1)
    expected = frame.places(np.zeros(6), np.arange(0.0, 201.0, 40.0))[:, 1]
    rows = np.flatnonzero(ticks[: round(frame.bottom) + 2])
    assert_allclose(rows, np.sort(np.round(expected)), atol=1.0)


def test_a_chart_is_the_same_each_time_and_tells_its_size():
    whole = chart(Line(np.arange(9.0), np.arange(9.0) ** 2, RED, 1.0, name="measured"))
    first, second = (chart_png(whole) for _ in range(2))
    assert first == second
    with Image.open(io.BytesIO(first)) as picture:
        picture.load()  # every checksum holds
        assert picture.size == (792, 451)
        assert picture.info["dpi"] == pytest.approx((DPI, DPI), abs=0.01)
        assert (np.asarray(picture)[..., ::-1] == draw_chart(whole)).all()
    with Image.open(io.BytesIO(chart_png(whole, dpi=60))) as picture:
        assert picture.size == (432, 246)


@pytest.mark.parametrize("span", [(1.0, 1.0), (2.0, 1.0), (0.0, np.nan), (0.0, np.inf)])
def test_an_axis_must_rise(span):
    with pytest.raises(ValueError, match="an axis must rise"):
        chart(x_span=span)
