"""Set-ups at one length and under like conditions, against closed forms."""

from dataclasses import replace

import pytest

from analysis.panel.records import Part, Resin, Vacuum
from analysis.runs.compare.comparison import compare_panels
from analysis.runs.compare.setups import common_length_m, panel_numbers
from tests.made_up.facts import make_facts
from vision.errors import WetlineError

THIN = Resin(viscosity_pa_s=0.1, gel_time_s=3600.0, temperature_c=22.0, density_kg_m3=1100.0)


def test_time_at_the_common_length_is_that_of_darcy():
    # x^2 = 2 K dP t / (phi mu) with the reference case: 1.9e-4 m2/s.
    numbers = panel_numbers(make_facts(), make_facts(), 0.9)
    assert numbers.time.value == pytest.approx(0.9**2 / 1.9e-4, rel=0.01)
    assert numbers.margin.value == pytest.approx(0.7 * 3600.0 / (0.9**2 / 1.9e-4), rel=0.01)
    assert numbers.k.value == pytest.approx(1e-10, rel=0.01)


def test_resin_and_vacuum_are_taken_out():
    first = make_facts()
    other = make_facts("thin", resin=THIN, vacuum=Vacuum(80_000.0), part=Part(0.4))
    numbers = panel_numbers(other, first, 0.6)
    # Half the viscosity and 80 of 95 kPa: 0.6^2 / (1.9e-4 * 2 * 80 / 95).
    assert numbers.time.value == pytest.approx(0.36 / (1.9e-4 * 2 * 80 / 95), rel=0.01)
    assert numbers.time_alike.value == pytest.approx(0.36 / 1.9e-4, rel=0.01)


def test_without_viscosity_there_is_no_time_under_like_conditions():
    bare = make_facts("bare", resin=replace(THIN, viscosity_pa_s=None))
    numbers = panel_numbers(bare, make_facts(), 0.6)
    assert numbers.k is None
    assert numbers.time_alike is None
    assert numbers.time is not None


def test_scatter_of_the_next_lay_up_is_not_counted_as_measurement():
    wide = panel_numbers(make_facts(part=Part(0.6, repeat_sd=0.3)), make_facts(), 0.6)
    plain = panel_numbers(make_facts(part=Part(0.6, repeat_sd=0.08)), make_facts(), 0.6)
    assert wide.time.high > 1.3 * plain.time.high
    assert wide.time.sd == pytest.approx(plain.time.sd, abs=0.03)
    assert plain.time.sd < 0.05


def test_common_length():
    short, long = make_facts(part=Part(0.4)), make_facts(part=Part(0.9))
    own = make_facts(part=Part(5.0, length_stated=False))
    assert common_length_m([short, long, own]) == 0.9
    assert common_length_m([own]) == 5.0
    assert common_length_m([short, long], 0.5) == 0.5
    with pytest.raises(WetlineError, match="--length-mm"):
        common_length_m([make_facts(part=None)])


def test_panels_built_alike_stand_together_and_fair_ones_alone_count():
    from tests.made_up.curves import make_front

    raced = make_front(race_tracking_mm=200.0)
    panels = [
        make_facts("a", 1.0e-10, fabric="glass"),
        make_facts("b", 2.0e-10, fabric="carbon"),
        make_facts("c", 1.1e-10, fabric="glass"),
        make_facts("d", 9.0e-10, fabric="glass", front=raced),
    ]
    found = compare_panels(panels)
    assert [setup.labels() for setup in found.setups] == [("A1", "A2", "A3"), ("B",)]
    glass = found.setups[0]
    assert glass.mean("k").value == pytest.approx((1.0e-10 * 1.1e-10) ** 0.5, rel=0.01)
    assert glass.mean("k").count == 2
    assert glass.name == "glass (3 panels)"
    assert any("1 panel was left out" in note for note in found.notes)
