"""The map of minutes early and late, and resin against time."""

import numpy as np
import pytest

from analysis.infusion.answer.late_map import late_map, resin_picture
from tests.made_up.infusion_answers import late_run, unusable_run


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    return late_run(tmp_path_factory.mktemp("late"), hidden=lambda x, y: x < 60)


def test_the_map_holds_the_minutes_and_says_late_in_words(run):
    figure = late_map(run)
    (image,) = figure.axes[0].images
    shown = np.ma.filled(image.get_array(), np.nan)
    box = shown[13:19, 27:32]
    assert np.nanmedian(box) == pytest.approx(5.0, abs=0.2)
    assert any("5.0 min late" in text.get_text() for text in figure.axes[0].texts)
    assert np.isnan(shown[:, 0]).all()


def test_lines_differ_by_dash_and_the_key_says_which(run):
    figure = late_map(run)
    key = [text.get_text() for text in figure.legends[0].get_texts()]
    assert {"planned front", "seen front", "not seen or not due"} <= set(key)
    styles = {line.get_linestyle() for line in figure.axes[0].lines}
    assert {"-", "--"} <= styles


def test_resin_as_seen_has_a_band_and_the_plan_is_dashed(run):
    ax = resin_picture(run).axes[0]
    plan, seen = ax.lines
    assert plan.get_linestyle() == "--"
    assert seen.get_ydata()[-1] == pytest.approx(run.resin.resin_in_kg[-1])
    assert len(ax.collections) == 1


def test_without_a_measurement_the_map_says_so_and_holds_none(tmp_path):
    figure = late_map(unusable_run(tmp_path))
    assert "nothing is compared" in figure.axes[0].get_title()
    assert not figure.axes[0].images
