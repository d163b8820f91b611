"""How runs repeat, in words."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.panel.records import Resin
from analysis.runs.panels.good_run import reference_from
from analysis.runs.repeat.figures import band_figure, charts_figure
from analysis.runs.repeat.job import Run, repeat_of, run_of
from analysis.runs.repeat.text import chart_lines, repeat_lines
from tests.made_up.curves import make_front
from tests.made_up.facts import make_facts
from vision.errors import WetlineError

TIMES = np.linspace(4.0, 1600.0, 200)


def run(label, rate, facts=None):
    curve = reference_from(label, TIMES, np.sqrt(rate * TIMES))
    return Run(label, facts or make_facts(f"run {label}", rate * 1e-12), curve, curve)


GOOD = [run(str(i + 1), rate) for i, rate in enumerate((95.0, 98.0, 100.0, 103.0, 105.0, 99.0))]


def text_of(found):
    return " ".join(" ".join(repeat_lines(found)).split())


def test_in_out_and_alone():
    assert text_of(repeat_of(GOOD)).startswith("Band of 6 good runs")
    # The slowest was at sqrt(95 * 1600) mm at the end.
    assert "ends at 390 mm" in text_of(repeat_of(GOOD))
    told = repeat_of(GOOD, run("7", 101.0))
    assert text_of(told).startswith("LIKE THE GOOD RUNS")
    assert told.exit_code == 0
    slow = text_of(repeat_of(GOOD, run("7", 45.0)))
    assert "SLOW from the start" in slow
    assert "did not come back" in slow
    assert "resin colder or thicker than usual" in slow
    assert "do not explain it" in slow
    assert "FAST" in text_of(repeat_of(GOOD, run("7", 250.0)))


def test_few_runs_say_so():
    assert "not yours" in text_of(repeat_of(GOOD[:1]))
    odd = repeat_of([run("1", 80.0), run("2", 100.0), run("3", 120.0)], run("4", 50.0))
    assert odd.exit_code == 4
    assert text_of(odd).startswith("QUESTION: SLOW")
    assert "wide for want of runs" in text_of(odd)


def test_stated_conditions_that_hide_or_explain():
    usual, odd = run("7", 100.0), run("7", 45.0)
    hidden = repeat_of(GOOD, replace(usual, by_impulse=odd.by_impulse))
    assert "LOOK AT THIS" in text_of(hidden)
    explained = repeat_of(GOOD, replace(odd, by_impulse=usual.by_impulse))
    assert "explains it" in text_of(explained)


def test_a_run_that_was_not_seen_cannot_be_told():
    blind = run_of(make_facts("blind", front=make_front(usable=False, reason="too dark")), "7")
    found = repeat_of(GOOD, blind)
    assert found.exit_code == 4
    text = text_of(found)
    assert text.startswith("CANNOT BE TOLD")
    assert "oo dark" in text
    with pytest.raises(WetlineError, match="too dark"):
        repeat_of([blind])


def test_an_unfair_run_is_no_good_one():
    raced = make_facts("raced", front=make_front(race_tracking_mm=200.0))
    found = repeat_of([*GOOD, run("7", 100.0, raced)])
    assert len(found.good) == 6
    assert "not counted as good: raced: unfair test" in text_of(found)


def test_charts_in_words_and_pictures():
    found = repeat_of(GOOD, run("7", 45.0))
    lines = chart_lines(found)
    assert "run 7 below the limit" in lines[0]
    assert lines[0].startswith("Permeability K: limits ")
    assert "first guess" in lines[0]
    assert len(charts_figure(found.charts).axes) == 2 * len(found.charts)
    few = chart_lines(repeat_of(GOOD[:2]))
    assert all("no limits" in line for line in few)
    figure = band_figure(found)
    names = [text.get_text() for text in figure.axes[0].get_legend().get_texts()]
    assert names == ["band", "middle good run", "good runs", "run 7, judged", "leaves here"]
    alone = band_figure(repeat_of(GOOD)).axes[0].get_legend().get_texts()
    assert [text.get_text() for text in alone] == ["band", "middle good run", "good runs"]
    assert charts_figure(()) is None


def test_what_was_not_alike_is_listed():
    cold = make_facts("cold", resin=Resin(viscosity_pa_s=0.3, temperature_c=15.0))
    text = text_of(repeat_of(GOOD, run("7", 90.0, cold)))
    assert "Viscosity: 1 to 6 200 mPa·s; 7 300 mPa·s (by the number of the run)." in text
    assert "not alike" not in text_of(repeat_of(GOOD, run("7", 90.0)))


def test_runs_fed_otherwise_are_not_compared():
    point = make_facts("point", flow="point")
    found = repeat_of([*GOOD, run("7", 100.0, point)], run("8", 100.0, point))
    assert found.exit_code == 4
    assert [name for name, _ in found.left_out] == ["point"]
    assert "fed at a point" in text_of(found)
