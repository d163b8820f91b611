"""The lines for the next plan."""

from analysis.record.part.next_plan import holds_planned, next_changes
from tests.made_up.part_beside import planned


def value(kind, name, planned, middle, low, high, told=True):
    return {
        "kind": kind, "name": name, "planned": planned, "value": middle, "low": low,
        "high": high, "told": told, "why": "", "unit": "",
    }  # fmt: skip


def test_only_what_was_told_is_changed_and_k2_goes_with_k1(tmp_path):
    plan = planned(tmp_path, k1=1e-10, k2=5e-11)[0].plan
    stack = value("zone", "the stack", 1e-10, 2e-10, 1.8e-10, 2.2e-10)
    feed = value("feed", "left line", 0.0, 4.0, 0.0, 9.0)
    assert holds_planned(feed)
    (change,) = next_changes(plan, [stack, feed])
    assert change.lines[:2] == ("k1_m2 = 2e-10", "k2_m2 = 1e-10")
    assert "2.00 times" in change.reason
    (change,) = next_changes(plan, [stack], "panel_a")
    assert "porosity = 0.5" in change.lines
    assert 'in place of panel = "panel_a"' in change.reason
    assert next_changes(plan, [stack | {"told": False}]) == []
    (change,) = next_changes(plan, [feed | {"low": 2.0}])
    assert change.lines == ("resistance_mm = 4",)
    (change,) = next_changes(plan, [value("gap", "gap 1", 0.5, 1.17, 0.9, 1.4)])
    assert change.lines == ("width_mm = 1.17",)
