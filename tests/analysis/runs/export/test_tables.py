"""Tidy tables of a made-up panel."""

import csv
import io
import re
from dataclasses import replace

import numpy as np
import pytest

from analysis.panel.records import Log, Resin, Vacuum
from analysis.record.day.day_records import Day, Mark
from analysis.runs.export.tables import (
    csv_text,
    named_rows,
    observation_rows,
    panel_row,
    place_rows,
    reading_rows,
)
from tests.made_up.answers import bare_answer, roof_cover
from tests.made_up.curves import DRIVE_PA, VISCOSITY_PA_S
from tests.made_up.facts import make_facts


def test_one_row_for_each_frame_with_its_impulse():
    found = make_facts().answer
    rows = observation_rows(found)
    curve = found.tracked.curve
    assert len(rows) == len(curve.frames)
    named = named_rows({"cover": {"seen": rows}, "lid": {"seen": rows[:1]}}, "seen", "panel")
    assert [row["panel"] for row in named] == ["cover"] * len(rows) + ["lid"]
    assert list(named[0]) == ["panel", *rows[0]]
    assert [row["front_mean_mm"] for row in rows] == pytest.approx(curve.front_mean_mm)
    theta = curve.time_s * DRIVE_PA / VISCOSITY_PA_S
    assert [row["driving_impulse"] for row in rows] == pytest.approx(theta)
    residual = [row["front_clean_mm"] - row["fitted_front_mm"] for row in rows]
    assert np.std(residual) < 0.6


def test_what_is_not_known_is_empty():
    rows = observation_rows(make_facts(resin=Resin()).answer)
    assert rows[0]["driving_impulse"] is None
    text = csv_text(rows)
    read = list(csv.DictReader(io.StringIO(text)))
    assert read[0]["driving_impulse"] == read[0]["angle_deg"] == ""
    assert read[0]["used_by_fit"] in ("yes", "no")
    none = observation_rows(bare_answer())
    assert none[0]["fitted_front_mm"] is None


def test_a_panel_in_one_row():
    row = panel_row("cover", roof_cover())
    assert row["verdict.verdict"] == "fills"
    assert row["permeability.k_m2"] == 8.13e-11
    assert row["fill.time_low_s"] == 1690.0
    assert not any(isinstance(value, dict | list) for value in row.values())
    assert all(re.fullmatch(r"[\w.]+", name) for name in row)


def test_before_resin_start_nothing_drives():
    found = make_facts().answer
    curve = replace(found.tracked.curve, time_s=found.tracked.curve.time_s - 100.0)
    early = replace(found, tracked=replace(found.tracked, curve=curve))
    rows = observation_rows(early)
    assert [row["driving_impulse"] is None for row in rows] == list(curve.time_s < 0)
    assert rows[0]["pressure_over_viscosity_per_s"] is None


def test_places_and_readings():
    day = Day(marks=(Mark("pit", 210.0, 45.0, "size of a pea"),))
    rows = place_rows(roof_cover(), day)
    assert [(row["kind"], row["x_mm"]) for row in rows] == [("dry spot", 150.2), ("pit", 210.0)]
    log = Log(np.array([0.0, 60.0]), np.array([95e3, 94e3]))
    typed = make_facts(vacuum=Vacuum(95e3, log=log)).answer
    rows = reading_rows(typed.panel.vacuum, typed.panel.resin)
    assert [(row["time_s"], row["value"], row["unit"]) for row in rows] == [
        (0.0, 95e3, "Pa"),
        (60.0, 94e3, "Pa"),
    ]
    assert csv_text([], ("a", "b")) == "a,b\n"
