"""A filling put in time: minutes, kilograms, verdict, and the file drawn from the record."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
from numpy.testing import assert_allclose

from analysis.fit.impulse import constant_impulse
from analysis.panel.records import Resin, Vacuum
from analysis.part.answer.doubts import Ends
from analysis.part.answer.part_answer import part_json, put_in_time
from analysis.part.flow.filling import fill_plan
from analysis.part.plan.conditions import Conditions
from analysis.part.plan.outline import rectangle
from analysis.part.plan.part_toml import PartJob
from analysis.part.plan.plan import PartFeed, PartPlan, PartStack, Place, Vent
from analysis.part.plan.search_goal import SearchGoal

K, PHI = 1.0e-10, 0.5
STRIP = PartPlan(
    rectangle(500, 60),
    (),
    PartStack(K, K, 0.0, PHI, 3.0),
    feeds=(PartFeed(Place(np.array([[0.0, 0.0], [0.0, 60.0]])), name="left"),),
    vents=(Vent(Place(np.array([[500.0, 0.0], [500.0, 60.0]]))),),
    cells=40,
)
SURE = Conditions(repeat_sd=0.0, feed_line="same")


def job_of(impulse, gel_s=None):
    """The strip with a clock and a gel time; working time is 70 % of it."""
    resin = Resin(gel_time_s=gel_s, density_kg_m3=1150.0)
    return PartJob(Path(), STRIP, resin, Vacuum(), impulse, SearchGoal(), SURE, True)


def test_time_is_a_label_on_impulse():
    fill = fill_plan(STRIP)
    impulse = constant_impulse(95_000.0, 0.2)
    ends = Ends(0.8 * fill.total, 1.25 * fill.total)
    answer = put_in_time(job_of(impulse, 4000.0), fill, ends)
    # G x^2 / 2 with G = porosity mu / (K P) = 10 526.316 s/m2: 1315.789 s for 0.5 m.
    assert_allclose(answer.fill_time_s, 1315.789, rtol=1e-6)
    found = [answer.fill_time_low_s, answer.fill_time_high_s]
    assert_allclose(found, [0.8 * 1315.789, 1.25 * 1315.789], rtol=1e-6)
    assert answer.verdict == "fills"
    assert_allclose(answer.margin, 2800.0 / 1315.789, rtol=1e-6)
    thick = put_in_time(job_of(constant_impulse(95_000.0, 0.4), 4000.0), fill, ends)
    assert_allclose(thick.arrival_s, 2 * answer.arrival_s)
    assert thick.verdict == "tight"
    flow = answer.flow
    assert_allclose(flow.resin_kg[-1], 0.5 * 0.06 * 3e-3 * PHI * 1150.0, rtol=1e-6)
    took = np.sum(flow.rate_kg_per_s[1:] * np.diff(flow.time_s))
    assert_allclose(took, flow.resin_kg[-1], rtol=1e-9)


def test_a_resin_that_stiffens_first_never_fills():
    # mu0 exp(k t) doubling every 1800 s reaches 702.426 mm at most and 0.5 m after 1834.962 s.
    fill = fill_plan(STRIP)
    ends = Ends(fill.total, fill.total)
    growth = np.log(2) / 1800
    rising = put_in_time(job_of(constant_impulse(95_000.0, 0.2, growth)), fill, ends)
    assert_allclose(rising.fill_time_s, 1834.962, rtol=1e-6)
    assert rising.verdict == "cannot decide"
    stiff = put_in_time(job_of(constant_impulse(95_000.0, 0.2, 3 * growth), 9e9), fill, ends)
    assert stiff.fill_time_s == np.inf
    assert stiff.verdict == "gels first"
    assert np.isinf(stiff.arrival_s).any()


def test_the_file_holds_plain_values_and_only_what_was_asked_for():
    fill = fill_plan(STRIP, steps=8)
    answer = put_in_time(
        job_of(constant_impulse(95_000.0, 0.2), 4000.0), fill, Ends(fill.total, fill.total)
    )
    record = part_json(answer)
    assert json.loads(json.dumps(record)) == record
    assert record["stages"] == [{"starts_s": 0.0, "feeds": ["left"]}]
    assert "spacing" not in record
    assert "filling" not in record
    assert part_json(dataclasses.replace(answer, spacing=()))["spacing"] == []
