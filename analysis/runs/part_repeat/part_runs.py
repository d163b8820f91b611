"""One run of a part as it is held against others, and whether two were of one plan.

Tested in tests/analysis/runs/part_repeat/test_part_repeat.py.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analysis.infusion.kept.kept_run import share_wet
from analysis.part.plan.plan import PartPlan, PartStack, Place
from analysis.runs.panels.good_run import Reference, reference_from
from analysis.runs.parts.part_facts import PartFacts, read_part_facts
from vision.records import FloatArray

FULL = 98.0
"""Percent of the part up to which runs are compared; the last corners fill by themselves."""
POINTS = 400
SAME_MM, SAME_SHARE, SAME_S, SAME_DEG = 0.5, 0.005, 1.0, 0.5


@dataclass(frozen=True)
class PartRun:
    """One run: what its folder says, and its wet share in percent against time.

    `by_impulse` counts driving impulse in place of time, with viscosity and vacuum as part.toml
    states them; both are None where the run was not measured or is in doubt, for the reason in
    `why`.
    """

    label: str
    facts: PartFacts
    reference: Reference | None
    by_impulse: Reference | None
    why: str = ""

    @property
    def name(self) -> str:
        """The folder's name: runs of one part bear one name."""
        return self.facts.folder.resolve().name

    @property
    def plan(self) -> PartPlan:
        """Its plan."""
        return self.facts.kept.job.plan


def read_part_run(folder: Path, label: str) -> PartRun:
    """Read one run's folder.

    Raises
    ------
    WetlineError
        As `analysis.runs.parts.part_facts.read_part_facts`, or if it never filled.
    """
    facts = read_part_facts(folder)
    if facts.left_out:
        return PartRun(label, facts, None, None, facts.left_out)
    time_s, share = share_wet(facts.kept)
    known = 100.0 * share <= FULL
    time_s, percent = time_s[known], 100.0 * share[known]
    chosen = np.unique(np.linspace(0, max(len(time_s) - 1, 0), POINTS).astype(int))
    reference = reference_from(str(folder), time_s[chosen], percent[chosen])
    if percent[-1] < 0.99 * FULL:  # it ended before it was full: the front may have stood still
        reference = replace(reference, last_s=float(facts.kept.arrival.last_s))
    impulse = facts.kept.job.impulse
    by_impulse = replace(
        reference,
        time_s=np.asarray(impulse.at(reference.time_s), float),
        last_s=float(impulse.at(reference.last_s)),
    )
    return PartRun(label, facts, reference, by_impulse)


def other_plan(first: PartPlan, other: PartPlan) -> str:
    """Return what is laid or piped otherwise in another plan; empty where nothing is.

    Permeabilities, widths of gaps and resistances may differ: what one run taught changes them in
    the plan of the next.
    """
    pairs: list[tuple[str, Sequence[Place], Sequence[Place]]] = [
        ("feeds", [one.place for one in first.feeds], [one.place for one in other.feeds]),
        ("vents", [one.place for one in first.vents], [one.place for one in other.vents]),
    ]
    for what, a, b in pairs:
        if len(a) != len(b) or not all(map(_same_place, a, b)):
            return f"its {what} do not lie where those of the first good run do"
    opens = [[(f.opens_when_wet, f.opens_at_s) for f in plan.feeds] for plan in (first, other)]
    if any(a[0] != b[0] or abs(a[1] - b[1]) > SAME_S for a, b in zip(*opens, strict=True)):
        return "its feeds open otherwise than in the first good run"
    lines = [[gap.line_mm for gap in plan.gaps] for plan in (first, other)]
    if not _same_lines(*lines):
        return "its planned gaps are not those of the first good run"
    zones = [[zone.points_mm for zone in plan.zones] for plan in (first, other)]
    if not _same_lines(*zones):
        return "its zones are not those of the first good run"
    if not all(map(_same_stack, first.stacks, other.stacks)):
        return "porosity, thickness or direction of a stack is not as in the first good run"
    return ""


def _same_place(a: Place, b: Place) -> bool:
    return _same_lines([a.points_mm], [b.points_mm]) and abs(a.radius_mm - b.radius_mm) <= SAME_MM


def _same_lines(first: Iterable[FloatArray], second: Iterable[FloatArray]) -> bool:
    a, b = list(first), list(second)
    return len(a) == len(b) and all(
        one.shape == two.shape and np.allclose(one, two, rtol=0.0, atol=SAME_MM)
        for one, two in zip(a, b, strict=True)
    )


def _same_stack(a: PartStack, b: PartStack) -> bool:
    turned = a.k1_m2 != a.k2_m2 and abs(a.angle_deg - b.angle_deg) > SAME_DEG
    like = np.isclose((a.porosity, a.thickness_mm), (b.porosity, b.thickness_mm), rtol=SAME_SHARE)
    return bool(like.all()) and not turned
