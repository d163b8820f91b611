"""Resin: gel time, working time and viscosity, from what the data sheet or the shop measured.

Tested in tests/analysis/panel/test_viscosity.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.panel.records import Resin

GAS_J_MOL_K = 8.314462618
"""Molar gas constant (CODATA 2018)."""
KELVIN = 273.15
DEFAULT_DENSITY_KG_M3 = 1100.0
"""Of mixed resin where none is stated: between polyester and epoxy (common practice, no source)."""
DOUBLING_C = 10.0
"""The reaction about doubles for each 10 degrees C (common practice; open composites guides say
the same). The true factor lies between 1.7 and 3.1 for resins with published activation energies,
so what it gives is marked rough."""
ROUGH_FACTOR_SD = 0.15
"""Relative sd of the factor per 10 degrees: 1.7 to 3.1 about 2 at 95 %, in ln, is 0.15 to 0.22."""


@dataclass(frozen=True)
class GelTime:
    """Gel and working time counted from mixing, at the shop's temperature.

    `rough` marks a time scaled by the halving rule; `relative_sd` is its standard uncertainty.
    """

    gel_s: float
    working_s: float
    relative_sd: float
    rough: bool = False
    note: str = ""


def halving_rule(gel_s: float, at_c: float, to_c: float) -> float:
    """Scale a gel time by the rule that it halves for each 10 degrees C.

    Examples
    --------
    >>> halving_rule(25.0, 20.0, 30.0), halving_rule(25.0, 20.0, 10.0)
    (12.5, 50.0)
    """
    return float(gel_s * 2.0 ** (-(to_c - at_c) / DOUBLING_C))


def activation_j_mol(value_1: float, at_1_c: float, value_2: float, at_2_c: float) -> float:
    """Activation energy from two values that fall with temperature (gel times, viscosities).

    Source: Arrhenius' law, value = A exp(E / R T).

    Examples
    --------
    >>> round(activation_j_mol(2.0, 20.0, 1.0, 30.0) / 1000, 2)
    51.22
    """
    inverse = 1.0 / (at_1_c + KELVIN) - 1.0 / (at_2_c + KELVIN)
    return GAS_J_MOL_K * math.log(value_1 / value_2) / inverse


def arrhenius_factor(energy_j_mol: float, from_c: float, to_c: float) -> float:
    """Factor on a gel time or viscosity when the temperature changes."""
    inverse = 1.0 / (to_c + KELVIN) - 1.0 / (from_c + KELVIN)
    return math.exp(energy_j_mol / GAS_J_MOL_K * inverse)


def gel_time(resin: Resin, temperature_c: float | None = None) -> GelTime | None:
    """Gel and working time from mixing at `temperature_c` (the shop's if None).

    Scaled by Arrhenius' law where two gel times are known, else by the halving rule, marked
    rough. None where no gel time was given.
    """
    if resin.gel_time_s is None:
        return None
    to_c = resin.temperature_c if temperature_c is None else temperature_c
    at_c = resin.temperature_c if resin.gel_temperature_c is None else resin.gel_temperature_c
    gel, rough, sd, note = resin.gel_time_s, False, resin.gel_sd, ""
    if to_c is not None and at_c is not None and abs(to_c - at_c) > 0.05:
        if resin.gel_second is not None and abs(resin.gel_second[1] - at_c) > 0.05:
            energy = activation_j_mol(gel, at_c, *resin.gel_second)
            gel *= arrhenius_factor(energy, at_c, to_c)
            note = f"gel time carried from {at_c:g} to {to_c:g} C by Arrhenius' law"
        else:
            gel, rough = halving_rule(gel, at_c, to_c), True
            sd = math.hypot(sd, ROUGH_FACTOR_SD * abs(to_c - at_c) / DOUBLING_C)
            note = (
                f"gel time carried from {at_c:g} to {to_c:g} C by halving it for each 10 C: rough"
            )
    return GelTime(gel, resin.working_share * gel, sd, rough, note)
