"""How much resin, in which pots, poured by when."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analysis.panel.records import Panel
from analysis.panel.resin import DEFAULT_DENSITY_KG_M3, gel_time
from vision.errors import WetlineError

DEFAULT_WASTE = 0.10
"""Share mixed beyond what the count says (common practice, no source)."""
DEFAULT_HEEL_KG = 0.15
"""Left in each bucket so that the line never draws air (common practice, no source)."""
MIX_AND_POUR_S = 300.0
"""Weighing, mixing and pouring one pot (common practice, no source)."""
CAUTIONS = (
    "Never let peroxide initiator meet promoter (accelerator) directly: it can explode. Mix one "
    "into the resin first.",
    "Peroxide injures eyes within seconds: goggles and gloves on, eye wash at hand.",
    "Styrene vapour needs ventilation. Mixed resin in bulk heats up and can burn: keep pots "
    "small, pour in time, stand leftovers outside on bare concrete.",
    "Safety data sheets, local rules and licensed practice go before this plan.",
)


@dataclass(frozen=True)
class Extras:
    """What takes resin beside the stack's pores; kg, m and m2.

    Attributes
    ----------
    line_length_m, line_bore_m : float
        Feed and vacuum lines that fill with resin.
    media_area_m2, media_thickness_m, media_porosity : float
        Flow media.
    core_kg_m2 : float
        Uptake of the core per area, holes and grooves included; measure it.
    heel_kg : float
        Left in each bucket.
    waste : float
        Share on top.
    """

    line_length_m: float = 0.0
    line_bore_m: float = 0.008
    media_area_m2: float = 0.0
    media_thickness_m: float = 0.0
    media_porosity: float = 0.85
    core_kg_m2: float = 0.0
    heel_kg: float = DEFAULT_HEEL_KG
    waste: float = DEFAULT_WASTE


@dataclass(frozen=True)
class Pot:
    """One pot: resin, hardener, and when it is mixed and must be poured by, from resin start."""

    number: int
    resin_kg: float
    hardener_kg: float
    mix_at_s: float
    pour_by_s: float | None


@dataclass(frozen=True)
class ResinPlan:
    """Resin for one part, item by item, and the pots to mix."""

    items_kg: Mapping[str, float]
    total_kg: float
    resin_kg: float
    hardener_kg: float
    pots: tuple[Pot, ...]
    notes: tuple[str, ...]


def pore_mass_kg(area_m2: float, thickness_m: float, porosity: float, density: float) -> float:
    """Resin that fills pores: area x thickness x porosity x density; voids ignored.

    Examples
    --------
    >>> round(pore_mass_kg(0.15, 2.8125e-3, 0.5, 1150.0), 5)
    0.24258
    """
    return area_m2 * thickness_m * porosity * density


def line_mass_kg(length_m: float, bore_m: float, density: float) -> float:
    """Resin left in a full line.

    Examples
    --------
    >>> round(line_mass_kg(2.0, 0.008, 1150.0), 5)
    0.11561
    """
    return math.pi / 4.0 * bore_m**2 * length_m * density


def perforation_kg_m2(hole_m: float, pitch_m: float, core_m: float, density: float) -> float:
    """Resin in the holes of a core, square pitch.

    Examples
    --------
    >>> round(perforation_kg_m2(0.002, 0.020, 0.020, 1150.0), 5)
    0.18064
    """
    return math.pi / 4.0 * hole_m**2 * core_m / pitch_m**2 * density


def groove_kg_m2(width_m: float, depth_m: float, pitch_m: float, density: float) -> float:
    """Resin in the grooves of a core cut both ways; crossings counted once.

    Examples
    --------
    >>> round(groove_kg_m2(0.001, 0.010, 0.030, 1150.0), 5)
    0.75389
    """
    share = 2.0 * width_m / pitch_m - (width_m / pitch_m) ** 2
    return share * depth_m * density


def weighed_uptake_kg_m2(
    before_kg: float, after_kg: float, lines_kg: float, panel_area_m2: float
) -> float:
    """Uptake per area from weighing the bucket before and after and what stayed in the lines.

    Raises
    ------
    WetlineError
        If the weights say that the panel gave resin back.
    """
    taken = before_kg - after_kg - lines_kg
    if taken <= 0:
        raise WetlineError(
            f"weights: {before_kg:g} kg before, {after_kg:g} kg after, {lines_kg:g} kg in lines "
            "leave nothing for the panel: check them"
        )
    return taken / panel_area_m2


def panel_uptake(
    panel: Panel, before_kg: float | None, after_kg: float | None, lines_kg: float
) -> float | None:
    """Uptake per area from the panel's bucket; None where it was not weighed.

    Raises
    ------
    WetlineError
        If only one of the two weights is given, or the panel's size is not known.
    """
    if before_kg is None and after_kg is None:
        return None
    if before_kg is None or after_kg is None:
        raise WetlineError("--before-kg and --after-kg go together: give both weights")
    if panel.length_m is None or panel.width_m is None:
        raise WetlineError("panel.toml: [panel] length_mm and width_mm are needed for the uptake")
    return weighed_uptake_kg_m2(before_kg, after_kg, lines_kg, panel.length_m * panel.width_m)


def weight_fraction(vf: float, fibre_density: float, resin_density: float) -> float:
    """Fibre weight share from the fibre volume share (textbook relation)."""
    return fibre_density * vf / (fibre_density * vf + resin_density * (1.0 - vf))


def plan_resin(
    panel: Panel,
    extras: Extras,
    uptake_kg_m2: float | None = None,
    area_m2: float | None = None,
    fill_time_s: float | None = None,
) -> ResinPlan:
    """Work out resin and mixing plan for the part.

    Parameters
    ----------
    panel : Panel
        Gives porosity, thickness, density, hardener ratio, pot limit and part.
    extras : Extras
        Lines, media, core, heel, waste.
    uptake_kg_m2 : float, optional
        Measured on the panel; goes before the pores.
    area_m2 : float, optional
        Goes before ``[part] area_m2``.
    fill_time_s : float, optional
        Spreads the pots over the fill.

    Raises
    ------
    WetlineError
        If area, thickness, porosity or hardener ratio is missing, with the field to add.
    """
    resin = panel.resin
    area = area_m2 or (panel.part.area_m2 if panel.part else None)
    if area is None:
        raise WetlineError("panel.toml: [part] area_m2 = (missing): needed for the resin quantity")
    if resin.hardener_parts is None:
        raise WetlineError(
            "panel.toml: [resin] hardener_parts = (missing): add the parts of hardener by weight "
            "to 100 parts of resin, from the data sheet"
        )
    density = resin.density_kg_m3 or DEFAULT_DENSITY_KG_M3
    notes = []
    if resin.density_kg_m3 is None:
        notes.append(f"density taken as {density:.0f} kg/m3: give [resin] density_kg_m3")
    items = {"stack": _stack_kg(panel, area, density, uptake_kg_m2)}
    items["lines"] = line_mass_kg(extras.line_length_m, extras.line_bore_m, density)
    items["flow media"] = pore_mass_kg(
        extras.media_area_m2, extras.media_thickness_m, extras.media_porosity, density
    )
    items["core"] = extras.core_kg_m2 * area
    items = {name: mass for name, mass in items.items() if mass > 0}
    items["waste allowance"] = extras.waste * sum(items.values())
    items["left in the buckets"] = extras.heel_kg
    total = sum(items.values())
    count = max(1, math.ceil(round(total / resin.pot_limit_kg, 9)))
    hardener = total * resin.hardener_parts / (100.0 + resin.hardener_parts)
    pots, pot_notes = _pots(panel, total, hardener, count, fill_time_s)
    return ResinPlan(items, total, total - hardener, hardener, pots, (*notes, *pot_notes))


def _stack_kg(panel: Panel, area: float, density: float, uptake: float | None) -> float:
    if uptake is not None:
        return uptake * area
    thickness = (panel.part.thickness_m if panel.part else None) or panel.stack.thickness_m
    if thickness is None or panel.stack.porosity is None:
        field = "[part] thickness_mm" if thickness is None else "[stack] porosity"
        raise WetlineError(
            f"panel.toml: {field} = (missing): needed for the pores; or weigh the panel's bucket"
        )
    return pore_mass_kg(area, thickness, panel.stack.porosity, density)


def _pots(
    panel: Panel, total: float, hardener: float, count: int, fill_time_s: float | None
) -> tuple[tuple[Pot, ...], list[str]]:
    """Even pots; each is mixed so that it is ready when the one before is half used."""
    gel = gel_time(panel.resin)
    life = panel.resin.pot_life_s or (None if gel is None else gel.working_s)
    notes = [
        "a pot gels sooner than a thin laminate: the pour-by time is an upper limit, less in bulk"
    ]
    step = 0.0 if fill_time_s is None or not math.isfinite(fill_time_s) else fill_time_s / count
    lead = MIX_AND_POUR_S
    if life is not None and life <= lead:
        notes.append("the pot life is shorter than it takes to mix and pour: use a slower hardener")
    pots = []
    for i in range(count):
        # Draw-down goes as the square root of time: the first pots are used soonest.
        start = 0.0 if i == 0 else step * count * (i / count) ** 2
        mix = max(start - lead, 0.0) - (lead if i == 0 else 0.0)
        pour_by = None if life is None else mix + life
        pots.append(Pot(i + 1, (total - hardener) / count, hardener / count, mix, pour_by))
    return tuple(pots), notes


def plan_json(plan: ResinPlan) -> dict[str, Any]:
    """Return the plan as plain values."""
    return {
        "items_kg": dict(plan.items_kg),
        "total_kg": plan.total_kg,
        "resin_kg": plan.resin_kg,
        "hardener_kg": plan.hardener_kg,
        "pots": [vars(pot) for pot in plan.pots],
        "notes": list(plan.notes),
        "cautions": list(CAUTIONS),
    }


def plan_lines(plan: ResinPlan) -> list[str]:
    """Write the plan in plain lines, cautions beside it."""
    lines = [
        f"Mix {plan.total_kg:.2f} kg: {plan.resin_kg:.2f} kg resin and "
        f"{plan.hardener_kg * 1000:.0f} g hardener"
    ]
    lines += [f"  {name:20s} {mass:7.3f} kg" for name, mass in plan.items_kg.items()]
    lines.append(f"Pots: {len(plan.pots)}")
    for pot in plan.pots:
        when = f"mix at {pot.mix_at_s / 60:+.0f} min"
        if pot.pour_by_s is not None:
            when += f", pour by {pot.pour_by_s / 60:+.0f} min (from resin start)"
        lines.append(
            f"  {pot.number}: {pot.resin_kg:.3f} kg resin + {pot.hardener_kg * 1000:.0f} g "
            f"hardener, {when}"
        )
    lines += [f"Note: {note}" for note in plan.notes]
    return [*lines, *(f"CAUTION: {text}" for text in CAUTIONS)]
