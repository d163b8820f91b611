"""A stack of part.toml, given by numbers or taken from a test panel by its folder.

Tested in tests/analysis/part/plan/test_part_toml.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from analysis.panel.panel_toml import read_settled_panel
from analysis.panel.tables.fields import FIELDS as PANEL_FIELDS
from analysis.panel.tables.stack import LIKELY_POROSITY, LIKELY_THICKNESS_MM
from analysis.part.plan.plan import PartStack
from vision.common.atomic_files import read_json
from vision.common.quantity import PERMEABILITY_M2, SHARE
from vision.common.toml_table import Table
from vision.settings.settings_stamp import ANSWERED, settings_stamp

STACK_FIELDS = (
    "panel",
    "panel_across",
    "k_m2",
    "k1_m2",
    "k2_m2",
    "k_low_m2",
    "k_high_m2",
    "angle_deg",
    "porosity",
    "thickness_mm",
)
ZONE_FIELDS = ("name", "points_mm")
LEAST_K_M2, MOST_K_M2 = 1e-16, 1e-5
MOST_RADIANS = 1.58
"""A quarter turn: directions below it, but for whole degrees, are most often radians."""
LIKELY_K_M2 = (1e-13, 3e-8)
"""Reinforcement along its plane, up to flow media; the rest is questioned (common practice, no
source)."""
ELSEWHERE = {name: PANEL_FIELDS[name] for name in ("resin", "vacuum")}
SPREAD = 0.20
"""Half of the 95 % interval taken for a permeability that comes without one: twice the repeat
scatter of 8 to 12 % within one laboratory (May et al. 2019, Compos. Part A 121, 100-114, from
memory)."""


class Merged:
    """A stack's table laid over the base stack: a zone names only what differs."""

    def __init__(self, table: Table, base: Mapping[str, Any]) -> None:
        self.table = table
        own = table.values
        kept = dict(base)
        if any(key in own for key in ("panel", "k_m2", "k1_m2")):
            drop = ["panel", "panel_across", "k_m2", "k1_m2", "k2_m2", "k_low_m2", "k_high_m2"]
            drop += ["porosity"] if "panel" in own else []
            kept = {key: value for key, value in kept.items() if key not in drop}
        self.values: dict[str, Any] = {**kept, **own}
        self.view = Table(table.file, table.name, self.values)
        self.view.label = table.label  # type: ignore[method-assign]


def read_stack(merged: Merged, y_runs: str = "down") -> tuple[PartStack, list[str]]:
    """Read one stack.

    Returns
    -------
    stack : PartStack
    notes : list of str
        What was taken from where.

    Raises
    ------
    WetlineError
        If a value is missing or cannot be true, or a panel is missing or has no answer.
    """
    table = merged.view
    table.refuse_unknown((*STACK_FIELDS, *ZONE_FIELDS), ELSEWHERE)
    ways = [key for key in ("panel", "k_m2", "k1_m2") if table.has(key)]
    if len(ways) != 1:
        raise table.bad(
            ways[1] if len(ways) > 1 else "k_m2",
            "give one of k_m2, k1_m2 with k2_m2, or panel = the folder of a test panel",
        )
    angle = float(table.number("angle_deg", 0.0, at_least=-360, at_most=360) or 0.0)
    if 0 < abs(angle) <= MOST_RADIANS and angle not in (1.0, -1.0):
        table.question("angle_deg", f"in degrees; {math.degrees(angle):.0f} if radians are meant")
    if ways[0] == "panel":
        k1, k2, turn, low, high, porosity, thick, notes = _from_panel(table)
        # In a panel y runs down; where it runs up in the part, the same direction has the other
        # sign.
        angle += -turn if y_runs == "up" else turn
    else:
        k1, k2, low, high, notes = _by_numbers(table, ways[0])
        porosity, thick = None, None
    porosity = table.quantity("porosity", SHARE, porosity)
    thick = table.length("thickness_mm", thick, above=0, at_most=500, likely=LIKELY_THICKNESS_MM)
    if porosity is None or not 0 < porosity < 1:
        raise table.bad("porosity", "is needed, between 0 and 1: the open share of the stack")
    if thick is None:
        raise table.bad("thickness_mm", "is needed: the thickness of the stack under the bag")
    if not LIKELY_POROSITY[0] <= porosity <= LIKELY_POROSITY[1] and table.has("porosity"):
        table.question("porosity", "the open share of the stack; 0.2 to 0.95 is usual")
    table.refuse_questions()
    source = notes[0] if notes else "numbers in part.toml"
    assumed = any("without an interval" in note for note in notes)
    notes = [*notes, *table.understood, *table.confirmed]
    return PartStack(
        k1_m2=k1,
        k2_m2=k2,
        angle_deg=angle,
        porosity=porosity,
        thickness_mm=thick,
        low=low,
        high=high,
        source=source,
        assumed=assumed,
    ), notes


def _permeability(table: Table, key: str) -> float | None:
    return table.quantity(
        key, PERMEABILITY_M2, at_least=LEAST_K_M2, at_most=MOST_K_M2, likely=LIKELY_K_M2
    )


def _by_numbers(table: Table, way: str) -> tuple[float, float, float, float, list[str]]:
    first, second = _permeability(table, way), _permeability(table, "k2_m2")
    second = second if way == "k1_m2" else first
    if first is None or second is None:
        raise table.bad("k2_m2", "is needed beside k1_m2")
    low = table.quantity("k_low_m2", PERMEABILITY_M2, above=0)
    high = table.quantity("k_high_m2", PERMEABILITY_M2, above=0)
    if (low is None) != (high is None):
        raise table.bad("k_low_m2", "k_low_m2 and k_high_m2 go together")
    if low is None or high is None:
        note = (
            f"{table.label(way)} came without an interval: {100 * SPREAD:.0f} % either way was "
            "taken, twice the usual repeat scatter of one workshop"
        )
        return first, second, 1 - SPREAD, 1 + SPREAD, [note]
    if not low <= first <= high:
        raise table.bad("k_low_m2", f"must be at most {way}, and k_high_m2 at least {way}")
    return first, second, low / first, high / first, []


def _from_panel(table: Table) -> tuple[Any, ...]:
    """Take permeability, porosity and thickness from a panel's folder."""
    name = str(table.text("panel"))
    k, low, high, record = _measured(table, "panel")
    panel = read_settled_panel(table.file.parent / name)
    notes = [f"{table.label('panel')}: permeability and porosity from {name}"]
    k1, k2, turn = k, k, 0.0
    if record.get("k1_m2") and record.get("k2_m2"):
        k1, k2 = float(record["k1_m2"]), float(record["k2_m2"])
        turn = float(record.get("angle_deg") or 0.0)
    elif table.has("panel_across"):
        k2, low2, high2, _ = _measured(table, "panel_across")
        low, high = min(low, low2), max(high, high2)
    else:
        notes.append(
            f"{table.label('panel')}: {name} was measured along one direction; the same is taken "
            "across (name a panel_across to do better)"
        )
    thick = panel.stack.thickness_m
    mm = None if thick is None else thick * 1e3
    return k1, k2, turn, low, high, panel.stack.porosity, mm, notes


def _refuse_what_does_not_hold(
    table: Table, key: str, folder: Path, document: dict[str, Any]
) -> None:
    """Refuse a panel in question, no fair test, or changed since its answer."""
    read_settled_panel(folder)
    verdict = document.get("verdict") or {}
    if verdict.get("verdict") == "unfair test":
        raise table.bad(
            key,
            f"was no fair test ({verdict.get('reason')}): repeat the panel, or state k_m2 if you "
            "trust it all the same",
        )
    stamp = document.get("answer_stamp")
    if stamp and stamp != settings_stamp(folder, ANSWERED):
        raise table.bad(key, f"has changed since its answer: run `wetline run {folder.name}` again")


def _measured(table: Table, key: str) -> tuple[float, float, float, dict[str, Any]]:
    name = table.text(key)
    folder = table.file.parent / str(name)
    if not (folder / "panel.toml").is_file():
        raise table.bad(key, f"no panel there ({folder} has no panel.toml): mend the folder's name")
    if not (folder / "results" / "results.json").is_file():
        raise table.bad(key, f"has no answer yet: run `wetline run {name}` first")
    document = read_json(folder / "results" / "results.json")
    _refuse_what_does_not_hold(table, key, folder, document)
    record = document.get("permeability") or {}
    k = record.get("k_m2")
    if k is None and record.get("k1_m2") and record.get("k2_m2"):
        k = (float(record["k1_m2"]) * float(record["k2_m2"])) ** 0.5
    if not isinstance(k, int | float) or not k > 0:
        raise table.bad(key, f"gave no permeability: see {name}/results/report.html for the reason")
    low, high = record.get("k_low_m2"), record.get("k_high_m2")
    low = record.get("k1_low_m2") if low is None else low
    if low is None or high is None:
        return float(k), 1 - SPREAD, 1 + SPREAD, record
    return float(k), float(low) / float(k), float(high) / float(k), record
