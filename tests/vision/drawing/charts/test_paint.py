"""Strokes, dashes, tints and words land where they are told to, as long and wide as asked."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from vision.drawing.charts.chart import Mark
from vision.drawing.charts.paint import (
    Brush,
    colour_of,
    dashed,
    pieces_in_view,
    put_words,
    shortened,
    words_width,
)

BLACK = "#000000"


def paper(width=100, height=60):
    return np.full((height, width, 3), 255, np.uint8)


def ink(image):
    """Share of ink at each place of a picture in black and white."""
    return 1 - image[..., 0] / 255.0


def lengths(pieces):
    return [float(np.hypot(*np.diff(piece, axis=0).T).sum()) for piece in pieces]


def test_a_colour_is_blue_green_red():
    assert colour_of("#010203") == (3, 2, 1)


def test_dashes_are_as_long_as_asked_around_a_corner():
    corner = np.array([[0.0, 0.0], [5.0, 0.0], [5.0, 20.0]])
    pieces = dashed(corner, (4.0, 2.0))
    assert_allclose(lengths(pieces), [4.0, 4.0, 4.0, 4.0, 1.0])
    assert_allclose(pieces[1], [[5.0, 1.0], [5.0, 5.0]])
    assert_allclose(dashed(corner, (7.0, 2.0))[0], [[0.0, 0.0], [5.0, 0.0], [5.0, 2.0]])


def test_dot_and_dash_take_turns():
    line = np.array([[0.0, 0.0], [10.0, 0.0]])
    assert_allclose(lengths(dashed(line, (4.0, 1.0, 1.0, 1.0))), [4.0, 1.0, 3.0])
    assert dashed(line, ()) == [line]


def test_a_line_too_short_to_shorten_keeps_its_middle():
    piece = shortened(np.array([[0.0, 0.0], [2.0, 0.0]]), 3.0)
    assert_allclose(piece.mean(axis=0), [1.0, 0.0])
    assert lengths([piece])[0] > 0


def test_what_lies_beyond_one_side_is_left_out_and_gaps_stay_gaps():
    line = np.array([[-9.0, 5.0], [-5.0, 5.0], [4.0, 5.0], [np.nan, 5.0], [8.0, 5.0], [9.0, 50.0]])
    pieces = pieces_in_view(line, 10, 10)
    assert_allclose(pieces[0], line[1:3])
    assert_allclose(pieces[1], line[4:])
    assert len(pieces) == 2
    assert pieces_in_view(line[:1], 10, 10) == []
    assert pieces_in_view(line + 100, 10, 10) == []


@pytest.mark.parametrize("width_px", [0.7, 1.7, 2.7, 4.7, 7.0])
def test_a_line_is_as_wide_as_asked(width_px):
    image = paper(200, 120)
    Brush(image, 2).line(np.array([[10.0, 30.0], [90.0, 30.0]]), BLACK, width_px)
    across = ink(image)[:, 100].sum() / 2
    assert across == pytest.approx(width_px, abs=0.51)


def test_a_flat_end_stops_at_the_point_and_a_round_one_half_a_width_on():
    ends = np.array([[20.0, 30.0], [80.0, 30.0]])
    reach = {}
    for flat in (True, False):
        image = paper(200, 120)
        Brush(image, 2).line(ends, BLACK, 8.0, flat=flat)
        reach[flat] = np.flatnonzero(ink(image)[60:62].max(axis=0) > 0.5)[[0, -1]] / 2
    assert_allclose(reach[True], [20, 80], atol=1.0)
    assert_allclose(reach[False], [16, 84], atol=1.0)


@pytest.mark.parametrize("cover", [0.2, 0.5])
def test_a_tint_covers_its_inside_only(cover):
    image = paper(200, 120)
    box = np.array([[20.0, 10.0], [60.0, 10.0], [60.0, 40.0], [20.0, 40.0]])
    Brush(image, 2).tint(box, BLACK, cover)
    assert ink(image)[25:75, 45:115] == pytest.approx(cover, abs=0.01)
    assert ink(image).sum() / 4 == pytest.approx(cover * 40 * 30, rel=0.05)
    before = image.copy()
    Brush(image, 2).tint(box + 500, BLACK, cover)
    assert (image == before).all()


@pytest.mark.parametrize("shape", ["disc", "square", "triangle", "diamond", "bar"])
def test_a_mark_lies_about_its_point(shape):
    image = paper(200, 120)
    mark = Mark(shape, 10.0, BLACK, BLACK, 1.0)
    Brush(image, 2).mark(np.array([[50.0, 30.0]]), mark, 1.0)
    rows, cols = np.nonzero(ink(image) > 0.5)
    assert (np.ptp(rows) + 1) / 2 == pytest.approx(14 if shape == "diamond" else 10, abs=2.0)
    assert (cols.min() + cols.max()) / 4 == pytest.approx(50, abs=0.5)
    assert (rows.min() + rows.max()) / 4 == pytest.approx(30, abs=0.5)


@pytest.mark.parametrize("upright", [False, True])
@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_words_begin_end_or_stand_about_their_place(share, upright):
    image = paper(300, 300)
    put_words(image, "HHHHHHHH", (150.0, 150.0), 15, BLACK, share=share, upright=upright)
    found = np.nonzero(ink(image) > 0.5)
    along, beside = (found[0], found[1]) if upright else (found[1], found[0])
    width = words_width("HHHHHHHH", 15)
    first = 150 - width * (1 - share) if upright else 150 - width * share
    assert along.min() == pytest.approx(first, abs=4)
    assert along.max() == pytest.approx(first + width, abs=4)
    assert 135 <= beside.min() <= beside.max() <= 151


def test_words_beyond_the_picture_are_cut_off():
    image = paper(30, 20)
    put_words(image, "HHHHHHHH", (-20.0, 15.0), 15, BLACK)
    assert ink(image)[:, :15].max() > 0.9
    whole = image.copy()
    put_words(image, "HHHHHHHH", (-500.0, -500.0), 15, BLACK)
    assert (image == whole).all()
