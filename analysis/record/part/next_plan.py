"""What to change in the next plan of a part: ready lines for part.toml, each with its reason."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analysis.part.plan.plan import PartPlan

Value = Mapping[str, Any]


@dataclass(frozen=True)
class PlanChange:
    """One table of part.toml as it should read next time.

    Attributes
    ----------
    table : str
        Which, in words, such as ``[[zone]] doubler``.
    lines : tuple of str
        Ready to put into it.
    reason : str
    """

    table: str
    lines: tuple[str, ...]
    reason: str


def next_changes(plan: PartPlan, values: Sequence[Value], panel: str = "") -> list[PlanChange]:
    """Return the changes that what was learnt asks for; what was not told stays as planned.

    Parameters
    ----------
    plan : PartPlan
        As the part was infused.
    values : sequence of mapping
        ``learnt.values`` of part_run.json, in the plan's order: zones, gaps, feeds.
    panel : str
        Folder of the panel that the stack came from, if any.
    """
    found, counts = [], {"zone": 0, "gap": 0, "feed": 0}
    for value in values:
        index = counts[value["kind"]]
        counts[value["kind"]] += 1
        if not value["told"]:
            continue
        if value["kind"] == "zone":
            found.append(_stack(plan, index, value, panel if index == 0 else ""))
        elif not holds_planned(value):
            found.append(_width(value, index) if value["kind"] == "gap" else _feed(value))
    return found


def holds_planned(value: Value) -> bool:
    """Return whether the interval of a learnt value holds the planned one."""
    return bool(value["low"] <= value["planned"] <= value["high"])


def _stack(plan: PartPlan, index: int, value: Value, panel: str) -> PlanChange:
    stack = plan.stacks[index]
    factor = value["value"] / value["planned"]
    lines = [
        f"k1_m2 = {value['value']:.4g}",
        f"k2_m2 = {stack.k2_m2 * factor:.4g}",
        f"k_low_m2 = {value['low']:.4g}",
        f"k_high_m2 = {value['high']:.4g}",
    ]
    if holds_planned(value):
        reason = "agrees with the plan; the interval is now the part's own"
    else:
        word = "higher" if factor > 1 else "lower"
        reason = f"the part had a {word} K: {factor:.2f} times the planned one"
    if panel:
        lines += [
            f"angle_deg = {stack.angle_deg:g}",
            f"porosity = {stack.porosity:.4g}",
            f"thickness_mm = {stack.thickness_mm:.4g}",
        ]
        reason += (
            f'; in place of panel = "{panel}" and panel_across; write [resin] and [vacuum] out '
            "too if they were taken from it"
        )
    name = f"[[zone]] {value['name']}" if index else "[stack]"
    return PlanChange(name, tuple(lines), f"{reason}; in place of k_m2 where that stands")


def _width(value: Value, index: int) -> PlanChange:
    factor = value["value"] / value["planned"]
    return PlanChange(
        f"[[gap]] number {index + 1}",
        (f"width_mm = {value['value']:.3g}",),
        f"it raced like a gap {factor:.2f} times as wide as planned; take out a k_m2 that stands "
        "there, or scale it by that squared",
    )


def _feed(value: Value) -> PlanChange:
    return PlanChange(
        f"[[feed]] {value['name']}",
        (f"resistance_mm = {value['value']:.3g}",),
        f"planned {value['planned']:.3g} mm: its hose, tap or medium let resin in otherwise",
    )
