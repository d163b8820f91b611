"""In which pots the resin is mixed, poured by when, and what speaks against mixing at all."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analysis.panel.records import Panel
from analysis.panel.resin import DEFAULT_DENSITY_KG_M3, GelTime, gel_time
from analysis.shop.resin_quantity import Extras, question_uptake, resin_items
from vision.common.rounding import minutes, rounded
from vision.errors import WetlineError

MIX_AND_POUR_S = 300.0
"""Weighing, mixing and pouring one pot (common practice, no source)."""
FEW_PARTS, MANY_PARTS = 4.0, 10.0
"""Parts of hardener to 100 of resin: up to the first it is a peroxide initiator, from the second on
an amine hardener (common practice, no source)."""
PEROXIDE, EPOXY = "peroxide", "epoxy"
CHEMISTRY = {"thin epoxy": EPOXY, "vinyl ester": PEROXIDE, "polyester": PEROXIDE}
PEROXIDE_CAUTIONS = (
    "Never let peroxide initiator meet promoter (accelerator) directly: it can explode. Mix one "
    "into the resin first.",
    "Peroxide injures eyes within seconds: goggles and gloves on, eye wash at hand.",
    "Styrene vapour needs ventilation.",
)
AMINE_CAUTIONS = (
    "Amine hardeners burn skin and eyes, and epoxies can make you allergic for good: goggles and "
    "gloves on, eye wash at hand; wash skin with soap and water, never with solvent.",
)
CAUTIONS = (
    "Mixed resin in bulk heats up and can burn: keep pots small, pour in time, stand leftovers "
    "outside on bare concrete.",
    "Safety data sheets, local rules and licensed practice go before this plan.",
)


@dataclass(frozen=True)
class Pot:
    """One pot; times from resin start.

    Attributes
    ----------
    number : int
    resin_kg, hardener_kg : float or None
        None where the ratio is not known.
    mix_at_s : float
    pour_by_s : float or None
        End of the pot life; None without one.
    mixed_kg : float
    """

    number: int
    resin_kg: float | None
    hardener_kg: float | None
    mix_at_s: float
    pour_by_s: float | None
    mixed_kg: float


@dataclass(frozen=True)
class FillTime:
    """What the panel says of the part's fill, from resin start.

    `time_s` and its upper 95 % bound `high_s` are infinity where it never fills; `verdict` is the
    panel's.
    """

    time_s: float
    high_s: float
    verdict: str = ""


@dataclass(frozen=True)
class ResinPlan:
    """Resin for one part, item by item, and the pots to mix.

    `alarms` go on top of everything; `resin_kg` and `hardener_kg` are None where the ratio is not
    known.
    """

    items_kg: Mapping[str, float]
    total_kg: float
    resin_kg: float | None
    hardener_kg: float | None
    pots: tuple[Pot, ...]
    notes: tuple[str, ...]
    alarms: tuple[str, ...]
    cautions: tuple[str, ...]


def plan_resin(
    panel: Panel,
    extras: Extras,
    uptake_kg_m2: float | None = None,
    area_m2: float | None = None,
    fill: FillTime | None = None,
) -> ResinPlan:
    """Work out resin and mixing plan for the part.

    Parameters
    ----------
    panel : Panel
        Gives porosity, thickness, density, hardener ratio, pot limit and part.
    extras : Extras
        Lines, media, core, heel, waste.
    uptake_kg_m2 : float, optional
        Measured on the panel; goes before the pores and the media of the stack.
    area_m2 : float, optional
        Goes before ``[part] area_m2``.
    fill : FillTime, optional
        Spreads the pots over the fill.

    Raises
    ------
    WetlineError
        If area, thickness or porosity is missing, with the field to add, or a weight cannot be.
    """
    resin = panel.resin
    area = area_m2 or (panel.part.area_m2 if panel.part else None)
    if area is None:
        raise WetlineError("panel.toml: [part] area_m2 = (missing): needed for the resin quantity")
    density = resin.density_kg_m3 or DEFAULT_DENSITY_KG_M3
    question = "" if uptake_kg_m2 is None else question_uptake(panel, uptake_kg_m2)
    items = resin_items(panel, extras, area, density, uptake_kg_m2)
    total = sum(items.values())
    count = max(1, math.ceil(round(total / resin.pot_limit_kg, 9)))
    hardener = None
    if resin.hardener_parts is not None:
        hardener = total * resin.hardener_parts / (100.0 + resin.hardener_parts)
    pots = _pots(panel, total, hardener, count, fill)
    alarms = [*_fill_alarms(panel, fill), *_pot_alarms(pots, fill), *([question] * bool(question))]
    if hardener is None:
        alarms.append(
            "how much of it is hardener is not known: add [resin] hardener_parts, parts by weight "
            "to 100 parts of resin, from the data sheet"
        )
    return ResinPlan(
        items_kg=items,
        total_kg=total,
        resin_kg=None if hardener is None else total - hardener,
        hardener_kg=hardener,
        pots=pots,
        notes=_notes(panel, fill),
        alarms=tuple(alarms),
        cautions=cautions(panel),
    )


def _gel(panel: Panel) -> GelTime | None:
    return gel_time(panel.resin, None if panel.part is None else panel.part.temperature_c)


def _pot_life_s(panel: Panel) -> float | None:
    gel = _gel(panel)
    return panel.resin.pot_life_s or (None if gel is None else gel.working_s)


def _pots(
    panel: Panel, total: float, hardener: float | None, count: int, fill: FillTime | None
) -> tuple[Pot, ...]:
    """Even pots, each ready when the one before is used up."""
    life = _pot_life_s(panel)
    pots = []
    for i in range(count):
        start = _used_until_s(i, count, fill)
        mix = max(start - MIX_AND_POUR_S, 0.0) - (MIX_AND_POUR_S if i == 0 else 0.0)
        pots.append(
            Pot(
                number=i + 1,
                resin_kg=None if hardener is None else (total - hardener) / count,
                hardener_kg=None if hardener is None else hardener / count,
                mix_at_s=mix,
                pour_by_s=None if life is None else mix + life,
                mixed_kg=total / count,
            )
        )
    return tuple(pots)


def _used_until_s(done: int, count: int, fill: FillTime | None, late: bool = False) -> float:
    """Time at which so many of `count` pots are used up.

    The part takes resin as the square root of time, so the first pots go soonest.
    """
    end_s = 0.0 if fill is None else fill.high_s if late else fill.time_s
    return end_s * (done / count) ** 2 if math.isfinite(end_s) and done else 0.0


def _fill_alarms(panel: Panel, fill: FillTime | None) -> list[str]:
    """What a panel that gels first says of any plan to mix."""
    gel = _gel(panel)
    if fill is None:
        return []
    gel_s = math.inf if gel is None else gel.gel_s - panel.resin.mixed_before_start_s
    stop = "mix nothing for the part yet; see `wetline forecast` for what to change"
    if fill.verdict == "gels first" or fill.time_s > gel_s or not math.isfinite(fill.time_s):
        return [f"the resin gels before the part is full ({_by(fill.time_s, gel_s)}): {stop}"]
    if fill.high_s > gel_s:
        return [f"the resin may gel before the part is full ({_by(fill.high_s, gel_s)}): {stop}"]
    if fill.verdict in ("unfair test", "cannot decide"):
        return [f"the panel's verdict is {fill.verdict}: the times below are not to be trusted"]
    return []


def _by(fill_s: float, gel_s: float) -> str:
    gels = "" if math.isinf(gel_s) else f", gel at {minutes(gel_s, 'down')}"
    filled = "it never fills" if math.isinf(fill_s) else f"full at {minutes(fill_s, 'up')}"
    return f"{filled}{gels}"


def _pot_alarms(pots: tuple[Pot, ...], fill: FillTime | None) -> list[str]:
    """Name the first pot that outlives its pot life before it is used up."""
    for pot in pots:
        if pot.pour_by_s is None:
            continue
        if pot.pour_by_s <= pot.mix_at_s + MIX_AND_POUR_S:
            return ["the pot life is shorter than it takes to mix and pour: use a slower hardener"]
        until = _used_until_s(pot.number, len(pots), fill, late=True)
        if until > pot.pour_by_s:
            return [
                f"pot {pot.number} may be in use until {minutes(until, 'up')}, but its pot life "
                f"ends at {minutes(pot.pour_by_s, 'down')} (from resin start): mix more and "
                "smaller pots ([resin] pot_limit_kg), or use a slower hardener"
            ]
    return []


def _notes(panel: Panel, fill: FillTime | None) -> tuple[str, ...]:
    notes = []
    if panel.resin.density_kg_m3 is None:
        notes.append(
            f"density taken as {DEFAULT_DENSITY_KG_M3:.0f} kg/m3: give [resin] density_kg_m3"
        )
    if fill is None:
        notes.append("how long the pots must last is not known before `wetline run` on the panel")
    if _pot_life_s(panel) is None:
        notes.append("no pour-by times without [resin] pot_life_min or gel_time_min")
    if panel.resin.resin_class == "" and chemistry(panel):
        notes.append(
            f"taken for {_KINDS[chemistry(panel)]} by its hardener ratio: give [resin] class"
        )
    notes.append(
        "a pot gels sooner than a thin laminate: the pour-by time is an upper limit, less in bulk"
    )
    return tuple(notes)


_KINDS = {PEROXIDE: "a polyester or vinyl ester with peroxide", EPOXY: "an epoxy with amine"}


def chemistry(panel: Panel) -> str:
    """Return "peroxide", "epoxy", or "" where neither class nor hardener ratio says."""
    resin = panel.resin
    if resin.resin_class in CHEMISTRY:
        return CHEMISTRY[resin.resin_class]
    parts = resin.hardener_parts
    if parts is None or FEW_PARTS < parts < MANY_PARTS:
        return ""
    return PEROXIDE if parts <= FEW_PARTS else EPOXY


def cautions(panel: Panel) -> tuple[str, ...]:
    """Return the cautions that go with the resin; those of both kinds where it is not known."""
    kind = chemistry(panel)
    peroxide = () if kind == EPOXY else PEROXIDE_CAUTIONS
    amine = () if kind == PEROXIDE else AMINE_CAUTIONS
    return (*peroxide, *amine, *CAUTIONS)


def plan_json(plan: ResinPlan) -> dict[str, Any]:
    """Return the plan as plain values."""
    return {
        "alarms": list(plan.alarms),
        "items_kg": dict(plan.items_kg),
        "total_kg": plan.total_kg,
        "resin_kg": plan.resin_kg,
        "hardener_kg": plan.hardener_kg,
        "pots": [vars(pot) for pot in plan.pots],
        "notes": list(plan.notes),
        "cautions": list(plan.cautions),
    }


def plan_lines(plan: ResinPlan) -> list[str]:
    """Write the plan in plain lines: alarms first, cautions beside it."""
    lines = [f"STOP: {text}" for text in plan.alarms]
    split = _split(plan.resin_kg, plan.hardener_kg, 2, " and ")
    lines.append(f"Mix {plan.total_kg:.2f} kg: {split}")
    lines += [f"  {name:20s} {mass:7.3f} kg" for name, mass in plan.items_kg.items()]
    lines.append(f"Pots: {len(plan.pots)}")
    for pot in plan.pots:
        when = f"mix {_from_start(pot.mix_at_s)}"
        if pot.pour_by_s is not None:
            when += f", pour by {_from_start(pot.pour_by_s)}"
        split = _split(pot.resin_kg, pot.hardener_kg, 3, " + ")
        mass = f"{pot.mixed_kg:.3f} kg, " if pot.hardener_kg is None else ""
        lines.append(f"  {pot.number}: {mass}{split}, {when}")
    lines += [f"Note: {note}" for note in plan.notes]
    return [*lines, *(f"CAUTION: {text}" for text in plan.cautions)]


def _from_start(time_s: float) -> str:
    """Write a time as counted from the opening of the resin.

    Examples
    --------
    >>> _from_start(-300.0), _from_start(0.0), _from_start(2220.0)
    ('5 min before the resin opens', 'as the resin opens', '37 min after the resin opens')
    """
    whole = rounded(abs(time_s) / 60.0)
    if whole == "0":
        return "as the resin opens"
    return f"{whole} min {'after' if time_s > 0 else 'before'} the resin opens"


def _split(resin_kg: float | None, hardener_kg: float | None, decimals: int, between: str) -> str:
    if resin_kg is None or hardener_kg is None:
        return "resin and hardener together"
    return f"{resin_kg:.{decimals}f} kg resin{between}{hardener_kg * 1000:.0f} g hardener"
