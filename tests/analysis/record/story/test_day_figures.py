"""The day's figures: pictures that can be opened, the marks where they belong."""

import io

import numpy as np
from PIL import Image

from analysis.record.day.day_records import Mark
from analysis.record.day.mark_flow import MarkFlow
from analysis.record.story.day_figures import marks_figure, pressure_figure
from vision.records import ArrivalMap


def pixels(png):
    return np.asarray(Image.open(io.BytesIO(png)).convert("L"), float)


def found(x_mm, y_mm):
    return MarkFlow(Mark("pit", x_mm, y_mm), None, None, None, "")


def arrival(shape=(50, 100)):
    time_s = np.tile(np.arange(shape[1], dtype=float) * 6, (shape[0], 1))
    return ArrivalMap(time_s, np.ones(shape, bool), np.zeros(shape, bool), 4.0, 600.0)


def test_a_mark_changes_the_picture_at_its_place_only():
    plain, marked = (
        pixels(marks_figure((400, 200), arrival(), marks)) for marks in ([], [found(100.0, 50.0)])
    )
    assert plain.shape == marked.shape
    rows, cols = np.nonzero(np.abs(plain - marked) > 20)
    assert np.ptp(rows) < 40
    assert np.ptp(cols) < 40
    # A quarter of the way along and down the axes, which fill most of the picture.
    assert 0.25 < cols.mean() / plain.shape[1] < 0.35
    assert 0.2 < rows.mean() / plain.shape[0] < 0.4


def test_dry_and_hidden_places_read_without_colour():
    whole = arrival()
    time_s, seen = whole.time_s.copy(), whole.seen.copy()
    time_s[:, 80:] = np.inf
    seen[10:20, 20:40] = False
    holes = ArrivalMap(time_s, seen, whole.by_hand, 4.0, 600.0)
    assert np.abs(pixels(marks_figure((400, 200), holes, [])).std()) > 0
    assert marks_figure((400, 200), None, [found(1.0, 2.0)]).startswith(b"\x89PNG")


def test_a_tall_panel_stays_on_the_page():
    tall = pixels(marks_figure((100, 900), None, []))
    assert tall.shape[0] / tall.shape[1] < 1.2


def test_the_allowed_rise_is_drawn():
    time, bag = np.arange(5.0), 20 + np.arange(5.0)
    plain = pixels(pressure_figure(time, bag, from_words="lock-off"))
    limited = pixels(pressure_figure(time, bag, from_words="lock-off", limit=(10.0, 20.0)))
    assert np.abs(plain - limited).max() > 50
