"""What one panel brings to a comparison: its answer, how it was built, what it took."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from analysis.fit.permeability import NoFit
from analysis.forecast.panel_answer import PanelAnswer, answer
from analysis.panel.records import Panel
from analysis.panel.resin import DEFAULT_DENSITY_KG_M3
from analysis.record.day.day_records import SURFACES, Day, Findings
from analysis.record.day.day_toml import read_day
from analysis.record.day.kept_results import kept_result
from analysis.shop.resin_quantity import pore_mass_kg
from vision.common.toml_table import read_toml
from vision.records import Tracked

NOT_BUILD = ("porosity_sd_percent", "confirmed")
"""Fields of [stack] that say how sure something is, not how the panel was built."""


@dataclass(frozen=True)
class Uptake:
    """Resin taken per area of panel; `weighed`, or else worked out from the pores."""

    kg_m2: float
    weighed: bool


@dataclass(frozen=True)
class Surface:
    """The demoulded surface: `grade` from 1 (best) to 5, None where not graded, and words."""

    grade: int | None
    words: str


@dataclass(frozen=True)
class PanelFacts:
    """One panel beside others.

    Attributes
    ----------
    folder : Path
    answer : PanelAnswer
    build : str
        What [stack], feed and flow say, to find panels built alike; empty where [stack] has no
        name, for then two fabrics of the same porosity would pass for one.
    stack : mapping
        The [stack] table as written.
    resin_name, batch : str
        As panel.toml and the filed day say; empty where they do not.
    date : str
    uptake : Uptake or None
    surface : Surface or None
    spread_mm : float or None
        Leading less trailing edge of the front, in the second half of the run; None where the
        edges were not seen.
    dry_share : float or None
        Dry area behind the front over the wetted area; None where it was not seen.
    drawdown_mbar_min : float or None
        Leak that the drawdown before the run found.
    """

    folder: Path
    answer: PanelAnswer
    build: str
    stack: Mapping[str, Any]
    resin_name: str
    batch: str
    date: str
    uptake: Uptake | None
    surface: Surface | None
    spread_mm: float | None
    dry_share: float | None
    drawdown_mbar_min: float | None

    @property
    def name(self) -> str:
        """The panel's name."""
        return self.answer.panel.name

    @property
    def seen_by_pen(self) -> bool:
        """Whether the front was marked by pen, which shows no evenness."""
        return self.answer.scale.method == "marks"

    @property
    def left_out(self) -> str:
        """Why the panel takes no part in a ranking; empty where it does."""
        found = self.answer
        if isinstance(found.fit, NoFit) or found.front.doubts:
            return f"cannot be compared: {found.reason}"
        if found.verdict == "unfair test":
            return f"unfair test: {found.reason}"
        if found.tool_lag_m is None:
            return f"cannot be compared: {found.reason}"
        return ""


def read_facts(folder: Path) -> PanelFacts:
    """Read what a panel folder holds.

    Parameters
    ----------
    folder : Path
        Of a panel that was tracked.

    Raises
    ------
    WetlineError
        If it was not tracked, or a value cannot be true.
    """
    found = answer(folder)
    return facts_of(folder, found, read_toml(folder / "panel.toml"), read_day(folder))


def facts_of(
    folder: Path, found: PanelAnswer, document: Mapping[str, Any], day: Day | None = None
) -> PanelFacts:
    """Return the facts of a panel whose answer is known already.

    Parameters
    ----------
    folder : Path
    found : PanelAnswer
    document : mapping
        What its panel.toml holds.
    day : Day, optional
        What was filed of it.
    """
    panel, tracked = found.panel, found.tracked
    findings = Findings() if day is None else day.findings
    stack = dict(document.get("stack") or {})
    resin = dict(document.get("resin") or {})
    return PanelFacts(
        folder=folder,
        answer=found,
        build=_build(panel, stack),
        stack=stack,
        resin_name=str(resin.get("name", "")),
        batch="" if day is None else day.batch,
        date=(found.front.resin_start or str((document.get("panel") or {}).get("date", "")))[:10],
        uptake=weighed_uptake(panel, findings) or pore_uptake(panel),
        surface=surface_of(findings, 0 if day is None else len(day.marks)),
        spread_mm=front_spread_mm(tracked),
        dry_share=_dry_share(tracked),
        drawdown_mbar_min=_drawdown(folder),
    )


def surface_of(findings: Findings, marks: int = 0) -> Surface | None:
    """Return grade and words of the demoulded surface; None where nobody said anything of it.

    Parameters
    ----------
    findings : Findings
    marks : int
        How many places were marked on it.
    """
    grade = SURFACES.index(findings.surface) + 1 if findings.surface else None
    told = [findings.surface] if findings.surface else []
    told += [f"{findings.pits} pits"] if findings.pits not in ("", "none") else []
    print_through = findings.print_through
    told += [f"{print_through} print-through"] if print_through not in ("", "none") else []
    told += [f"{findings.dry_areas} dry areas"] if findings.dry_areas not in ("", "none") else []
    told += [f"{marks} marked {'place' if marks == 1 else 'places'}"] if marks else []
    return Surface(grade, ", ".join(told)) if told else None


def weighed_uptake(panel: Panel, findings: Findings) -> Uptake | None:
    """Compute resin per area from what was weighed; None without the weight or the panel's size.

    What stayed in the lines counts with it.
    """
    used, length, width = findings.resin_used_kg, panel.length_m, panel.width_m
    if used is None or not length or not width:
        return None
    return Uptake(used / (length * width), True)


def _drawdown(folder: Path) -> float | None:
    """Leak in mbar a minute from this panel's drawdown; None where none was kept or it is stale."""
    value = kept_result(folder, "drawdown", "log_file").good.get("leak_mbar_min")
    return float(value) if isinstance(value, int | float) else None


def _build(panel: Panel, stack: Mapping[str, Any]) -> str:
    if not str(stack.get("name", "")).strip():
        return ""
    told = {key: value for key, value in stack.items() if key not in NOT_BUILD}
    return json.dumps([panel.flow, told], sort_keys=True, default=str)


def pore_uptake(panel: Panel) -> Uptake | None:
    """Compute the resin that the pores of stack and flow media hold, per area of panel.

    None where thickness or porosity is not known.
    """
    stack = panel.stack
    thickness = stack.thickness_m or (panel.part.thickness_m if panel.part else None)
    if thickness is None or stack.porosity is None:
        return None
    density = panel.resin.density_kg_m3 or DEFAULT_DENSITY_KG_M3
    mass = pore_mass_kg(1.0, thickness, stack.porosity, density)
    if stack.media is not None:
        mass += pore_mass_kg(1.0, stack.media.thickness_m, stack.media.porosity, density)
    return Uptake(mass, False)


def front_spread_mm(tracked: Tracked) -> float | None:
    """Compute the median distance between the front's leading and trailing edge.

    Over the frames used in the second half of the way; None where the edges were not seen.
    """
    curve = tracked.curve
    if tracked.scale.method == "marks":
        return None
    far = curve.front_mean_mm >= 0.5 * tracked.front.length_reached_mm
    spread = (curve.front_max_mm - curve.front_min_mm)[curve.used & far]
    known = spread[np.isfinite(spread)]
    return float(np.median(known)) if len(known) >= 3 else None


def _dry_share(tracked: Tracked) -> float | None:
    front, width = tracked.front, tracked.scale.width_mm
    if tracked.scale.method == "marks" or not width or not front.length_reached_mm > 0:
        return None
    return sum(spot.area_mm2 for spot in front.dry_spots) / (front.length_reached_mm * width)
