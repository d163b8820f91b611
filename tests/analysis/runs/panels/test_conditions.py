"""What was not alike, and what is said of it."""

from dataclasses import replace

from analysis.panel.records import Part, Resin, Vacuum
from analysis.record.day.day_records import Day
from analysis.runs.panels.conditions import unlike_conditions, unlike_stacks
from tests.made_up.facts import make_facts

RESIN = Resin(viscosity_pa_s=0.2, gel_time_s=3600.0, temperature_c=22.0, density_kg_m3=1100.0)


def told(**panels):
    return {one.what: one for one in unlike_conditions(panels)}


def test_like_panels_have_nothing():
    assert told(A=make_facts(), B=make_facts("b", 2e-10)) == {}


def test_what_is_taken_out_and_what_is_not():
    other = make_facts(
        resin=replace(RESIN, viscosity_pa_s=0.3, gel_time_s=2400.0),
        vacuum=Vacuum(80_000.0),
        part=Part(0.9),
        day=Day(batch="L8"),
    )
    found = told(A=make_facts(day=Day(batch="L7")), B=other)
    assert set(found) == {
        "Viscosity",
        "Vacuum (pressure difference)",
        "Gel time",
        "Flow length of the part",
        "Batch",
    }
    assert "A 200 mPa·s; B 300 mPa·s. Taken out in K" in found["Viscosity"].line
    assert "A 950 mbar; B 800 mbar" in found["Vacuum (pressure difference)"].line
    assert "Not taken out" in found["Batch"].line


def test_another_temperature_with_the_same_viscosity_is_questioned():
    cold = make_facts(resin=replace(RESIN, temperature_c=15.0))
    assert "LOOK AT THIS" in told(A=make_facts(), B=cold)["Temperature"].line
    thick = make_facts(resin=replace(RESIN, temperature_c=15.0, viscosity_pa_s=0.35))
    assert "LOOK AT THIS" not in told(A=make_facts(), B=thick)["Temperature"].line


def test_a_temperature_that_nobody_stated_is_said():
    found = told(A=make_facts(), B=make_facts(resin=replace(RESIN, temperature_c=None)))
    assert "B [resin] temperature_c is missing" in found["Temperature not stated"].line


def test_labels_in_a_row_are_drawn_together():
    thin = make_facts(resin=replace(RESIN, viscosity_pa_s=0.1))
    found = told(A1=make_facts(), A2=make_facts(), A3=make_facts(), B=thin)
    assert found["Viscosity"].line.startswith("Viscosity: A1 to A3 200 mPa·s; B 100 mPa·s.")


def test_another_stack_is_told_where_runs_should_be_of_one():
    good = make_facts()
    stack = good.answer.panel.stack
    panel = replace(good.answer.panel, stack=replace(stack, porosity=0.9 * stack.porosity))
    other = replace(
        good, answer=replace(good.answer, panel=panel), stack={**good.stack, "name": "twill"}
    )
    assert unlike_stacks({"1": good, "2": good}) == []
    found = unlike_stacks({"1": good, "2": other})
    assert [one.what for one in found] == ["Stack", "Porosity of the stack"]
    assert "2 twill" in found[0].told
