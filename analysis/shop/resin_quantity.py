"""How much resin a part takes, item by item, and what a weighed bucket says."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.panel.records import Panel
from analysis.panel.resin import DEFAULT_DENSITY_KG_M3
from vision.errors import WetlineError

DEFAULT_WASTE = 0.10
"""Share mixed beyond what the count says (common practice, no source)."""
DEFAULT_HEEL_KG = 0.15
"""Left in each bucket so that the line never draws air (common practice, no source)."""
QUESTION_FACTOR, REFUSE_FACTOR = 1.6, 4.0
"""A bucket that says so many times more or less than the pores hold is questioned, or refused."""
LIKELY_UPTAKE_KG_M2 = (0.1, 30.0)
"""From one thin layer to a thick core with grooves (common practice, no source)."""


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


def question_uptake(panel: Panel, uptake_kg_m2: float) -> str:
    """Hold a weighed uptake against what the pores can hold.

    Returns
    -------
    question : str
        Empty where the two agree.

    Raises
    ------
    WetlineError
        If the weights cannot be those of this panel.
    """
    density = panel.resin.density_kg_m3 or DEFAULT_DENSITY_KG_M3
    thickness, porosity = panel.stack.thickness_m, panel.stack.porosity
    if thickness is None and panel.part is not None:
        thickness = panel.part.thickness_m
    if thickness is None or porosity is None:
        low, high = LIKELY_UPTAKE_KG_M2
        if low <= uptake_kg_m2 <= high:
            return ""
        raise WetlineError(
            f"weights: {uptake_kg_m2:.3g} kg/m2 for the panel; {low:g} to {high:g} is likely: "
            "check the weights (kg) and the panel's size"
        )
    pores = pore_mass_kg(1.0, thickness, porosity, density) + _media_kg(panel, 1.0, density)
    ratio = uptake_kg_m2 / pores
    told = f"the weights say {uptake_kg_m2:.2f} kg/m2, the pores hold {pores:.2f} kg/m2"
    if not 1 / REFUSE_FACTOR <= ratio <= REFUSE_FACTOR:
        raise WetlineError(f"weights: {told}: check the weights (kg), thickness_mm and porosity")
    if not 1 / QUESTION_FACTOR <= ratio <= QUESTION_FACTOR:
        return f"{told}: weigh again, or look for where the rest went (lines, trap, media, core)"
    return ""


def resin_items(
    panel: Panel, extras: Extras, area: float, density: float, uptake_kg_m2: float | None
) -> dict[str, float]:
    """Return the resin in kg for each thing that takes some.

    Parameters
    ----------
    panel, extras
        As for `analysis.shop.mixing_plan.plan_resin`.
    area : float
        Of the part, m2.
    density : float
        Of the resin, kg/m3.
    uptake_kg_m2 : float or None
        Measured on the panel; goes before the pores and the media of the stack.

    Raises
    ------
    WetlineError
        If thickness or porosity is missing, with the field to add.
    """
    media = pore_mass_kg(
        extras.media_area_m2, extras.media_thickness_m, extras.media_porosity, density
    )
    if media == 0.0 and uptake_kg_m2 is None:
        media = _media_kg(panel, area, density)
    items = {
        "stack": _stack_kg(panel, area, density, uptake_kg_m2),
        "lines": line_mass_kg(extras.line_length_m, extras.line_bore_m, density),
        "flow media": media,
        "core": extras.core_kg_m2 * area,
    }
    items = {name: mass for name, mass in items.items() if mass > 0}
    items["waste allowance"] = extras.waste * sum(items.values())
    items["left in the buckets"] = extras.heel_kg
    return items


def _media_kg(panel: Panel, area: float, density: float) -> float:
    """Resin in the flow media of the stack."""
    media = panel.stack.media
    return 0.0 if media is None else pore_mass_kg(area, media.thickness_m, media.porosity, density)


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
