"""What a fit of the permeability lacks, and what speaks against it."""

import dataclasses

import numpy as np
import pytest

from analysis.fit.permeability import (
    NoFit,
    fit_permeability,
    panel_impulse,
    raced,
)
from analysis.panel.records import Resin, Stack, Vacuum
from tests.made_up.curves import (
    D_M2_S,
    TIMES,
    edge_front_mm,
    fit,
    make_curve,
    make_front,
    make_panel,
    make_scale,
    make_tracked,
)


@pytest.mark.parametrize(
    ("changes", "missing"),
    [
        ({"resin": Resin()}, "viscosity_mpas"),
        ({"vacuum": Vacuum()}, "pressure_difference_mbar"),
        ({"stack": Stack()}, "porosity"),
    ],
)
def test_what_is_missing_is_named_and_the_rest_still_follows(changes, missing):
    found = fit(make_curve(TIMES, edge_front_mm(TIMES), 0.5), make_panel(**changes))
    assert found.k_m2 is None
    assert missing in found.notes[0]
    assert found.slope * found.impulse.rate(0.0) == pytest.approx(D_M2_S, rel=0.01)


@pytest.mark.parametrize(
    ("x", "says"),
    [
        (edge_front_mm(TIMES)[::-1], "falls back"),
        (np.full(30, 50.0), "does not move"),
        (np.full(30, np.nan), "no pictures show a moving front"),
    ],
)
def test_curves_that_are_no_front_give_a_reason(x, says):
    found = fit(make_curve(TIMES, x, 1.0))
    assert isinstance(found, NoFit)
    assert not found
    assert says in found.reason


def test_too_few_frames_give_a_reason():
    found = fit(make_curve(TIMES[:4], edge_front_mm(TIMES[:4]), 1.0))
    assert isinstance(found, NoFit)
    assert "at least 5" in found.reason


@pytest.mark.parametrize(
    ("last_s", "late_s", "asked"), [(6000.0, 40.0, False), (600.0, 40.0, True)]
)
def test_a_start_that_is_off_is_asked_about_by_its_share_of_the_run(last_s, late_s, asked):
    t = np.linspace(last_s / 20.0, last_s, 30)
    x = edge_front_mm(t - late_s, D_M2_S * 1500.0 / last_s)
    found = fit(make_curve(t, x, 0.1))
    assert found.start_s == pytest.approx(late_s, rel=0.1)
    assert any("as if resin had entered" in note for note in found.notes) == asked


def test_without_viscosity_the_fill_time_still_allows_for_its_thickening():
    # What is not known is the level of the viscosity, not that it doubles.
    growth = np.log(2) / 900.0
    panel = make_panel(resin=Resin(viscosity_growth_per_s=growth, gel_time_s=3600.0))
    impulse, known = panel_impulse(panel)
    assert not known
    # The integral of exp(-g t) over an hour.
    assert float(impulse.at(3600.0)) == pytest.approx(
        -np.expm1(-growth * 3600.0) / growth, rel=1e-9
    )


def test_a_feed_that_resists_does_not_hide_a_resin_that_thickens():
    # The two bend x against t opposite ways: only with both in the model is either seen.
    t = np.linspace(20.0, 1500.0, 40)
    growth = 0.5 / 1500.0
    driven = -np.expm1(-growth * t) / growth
    found = fit(make_curve(t, edge_front_mm(driven, feed_length_m=0.05), 0.2))
    assert found.bend.p_value < 0.001
    assert found.bend.late_speed == pytest.approx(np.exp(-0.5), abs=0.1)


def test_how_much_of_the_width_raced_falls_back_to_the_stated_width():
    front = make_front(clean_lanes_mm=((0.0, 190.0),))
    no_width = dataclasses.replace(make_scale(), width_mm=None)
    tracked = make_tracked(make_curve(TIMES, edge_front_mm(TIMES)), front, no_width)
    assert raced(tracked, make_panel(width_m=0.2))
    assert not raced(tracked, make_panel(width_m=0.19))
    found = fit_permeability(make_panel(), tracked)
    assert found.k_m2 == pytest.approx(1e-10, rel=0.01)
