"""Ticks are round, cover the axis, and are few; their words give the values back."""

import numpy as np
import pytest
from matplotlib.ticker import MaxNLocator
from numpy.testing import assert_allclose

from vision.drawing.charts.ticks import MOST, STEPS, round_ticks, tick_words

SPANS = [
    (0.0, 1.0), (0.0, 106.0), (-0.4, 18.9), (0.0, 728.0), (0.0, 1878.3), (-7.0, -2.0),
    (0.0, 9.0), (0.0, 9.001), (0.0, 3.2e9), (0.0, 4e-7), (1000.0, 1000.5), (0.0, 28.66),
]  # fmt: skip


@pytest.mark.parametrize("span", SPANS)
def test_ticks_are_multiples_of_a_round_step_over_the_whole_axis(span):
    low, high = span
    ticks = round_ticks(low, high)
    step = ticks[1] - ticks[0]
    assert_allclose(np.diff(ticks), step)
    leading = step / 10.0 ** np.floor(np.log10(step) + 1e-9)
    assert np.min(np.abs(np.array(STEPS) - leading)) < 1e-6
    assert_allclose(ticks / step, np.round(ticks / step), atol=1e-6)
    assert 3 <= len(ticks) <= MOST + 1
    assert ticks[0] - low < step * 1.001
    assert high - ticks[-1] < step * 1.001
    assert low - 1e-6 * step <= ticks[0] < ticks[-1] <= high + 1e-6 * step


@pytest.mark.parametrize("span", SPANS)
def test_the_step_is_that_of_a_general_plotting_library(span):
    # Matplotlib's MaxNLocator, asked for as many steps of the same round kinds.
    theirs = MaxNLocator(MOST, steps=[1, 2, 2.5, 5, 10]).tick_values(*span)
    ours = round_ticks(*span)
    assert_allclose(ours[1] - ours[0], theirs[1] - theirs[0])


@pytest.mark.parametrize("span", [(1.0, 1.0), (2.0, 1.0), (0.0, np.inf), (np.nan, 1.0)])
def test_an_axis_must_rise(span):
    with pytest.raises(ValueError, match="low must be below high"):
        round_ticks(*span)


@pytest.mark.parametrize("span", SPANS)
def test_the_words_give_the_values_back(span):
    ticks = round_ticks(*span)
    words, times = tick_words(ticks)
    told = np.array([float(word) for word in words]) * float(times or 1)
    assert_allclose(told, ticks, rtol=1e-9, atol=1e-9 * np.abs(ticks).max())
    assert max(len(word) for word in words) <= 7


def test_nothing_is_minus_zero():
    assert tick_words(np.array([-1.0, -0.0, 1.0]))[0] == ["-1", "0", "1"]


def test_one_tick_has_a_word():
    assert tick_words(np.array([5.0])) == (["5"], "")
