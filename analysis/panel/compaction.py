"""The stack under a soft bag: thickness, fibre fraction, and what they do to the fill."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from vision.records import FloatArray

BAR_PA = 1e5


def fibre_fraction(areal_weight_kg_m2: float, density_kg_m3: float, thickness_m: float) -> float:
    """Fibre volume fraction ``Vf = Aw / (rho h)`` of a stack of known thickness."""
    return areal_weight_kg_m2 / (density_kg_m3 * thickness_m)


def thickness_m(areal_weight_kg_m2: float, density_kg_m3: float, vf: float) -> float:
    """Thickness of a stack at fibre fraction `vf`.

    Examples
    --------
    >>> round(thickness_m(6 * 0.600, 2560.0, 0.50) * 1000, 4)
    2.8125
    """
    return areal_weight_kg_m2 / (density_kg_m3 * vf)


def kozeny_ratio(vf_from: float, vf_to: float) -> float:
    """Permeability at `vf_to` over that at `vf_from`: (1 - Vf)^3 / Vf^2.

    Source: Kozeny 1927, Carman 1937 (textbook, from memory).

    Examples
    --------
    >>> round(kozeny_ratio(0.6, 0.5), 4), round(kozeny_ratio(0.5, 0.4), 4)
    (2.8125, 2.7)
    """
    return ((1 - vf_to) ** 3 / vf_to**2) / ((1 - vf_from) ** 3 / vf_from**2)


@dataclass(frozen=True)
class Compaction:
    """``Vf = vf1 (compacting pressure / 1 bar)^exponent``.

    Source: power law used for dry fabric stacks (textbook, from memory); the user gives the
    constants. With it goes Kozeny's form for the permeability.
    """

    vf1: float
    exponent: float

    def vf(self, compacting_pa: FloatArray | float) -> FloatArray:
        """Fibre fraction under a compacting pressure."""
        share = np.maximum(np.asarray(compacting_pa, dtype=float), 1.0) / BAR_PA
        return self.vf1 * share**self.exponent


def compaction_at(vf: float, drive_pa: float, exponent: float) -> Compaction:
    """Compaction law that passes through `vf` under the full vacuum `drive_pa`."""
    return Compaction(vf * (drive_pa / BAR_PA) ** -exponent, exponent)


def bag_factor(law: Compaction, compact_pa: float, drive_pa: float) -> float:
    """How much faster the front runs under a soft bag than the rigid formula says.

    ``x^2 = s 2 K_f dP t / (porosity_f mu)`` with K and porosity of the dry stack ahead of the
    front; the square-root law itself stays exact.

    Parameters
    ----------
    law : Compaction
        How the fibre fraction follows the compacting pressure.
    compact_pa : float
        Compacting pressure ahead of the front (air pressure less pressure in the dry bag).
    drive_pa : float
        Resin pressure at the feed above that at the front; at most `compact_pa`.

    Returns
    -------
    float
        s, 1 for a stack that does not give.

    Notes
    -----
    Source: balance of resin, fibre fixed per area, ``dh/dt = d/dx (h K / mu dp/dx)`` in the
    similarity variable x / L(t); solved by shooting from the front. Published support: Simacek
    and Advani 2016, Compos. Part A 80, 107.

    Examples
    --------
    >>> round(bag_factor(Compaction(0.5, 0.03), 1e5, 95e3), 3)
    1.134
    """
    if law.exponent == 0:
        return 1.0
    from scipy.integrate import solve_ivp  # slow to load, and most panels state no compaction

    vf_f = float(law.vf(compact_pa))
    porosity_f = 1.0 - vf_f

    kozeny_f = (1.0 - vf_f) ** 3 / vf_f**2

    def state(share: float) -> tuple[float, float, float]:
        """Thickness over that at the front, its slope in share, permeability likewise."""
        pressure = max(compact_pa - share * drive_pa, 1.0)
        vf = law.vf1 * (pressure / BAR_PA) ** law.exponent
        thick = vf_f / vf
        slope = thick * law.exponent * drive_pa / pressure
        return thick, slope, (1.0 - vf) ** 3 / vf**2 / kozeny_f

    def shoot(s: float) -> float:
        def rates(back: float, y: FloatArray) -> list[float]:
            eta = 1.0 - back
            thick, slope, k = state(min(max(y[0], 0.0), 1.0))
            gradient = y[1] / (thick * k)
            return [-gradient, s / porosity_f * eta * slope * gradient]

        run = solve_ivp(rates, (0.0, 1.0), [0.0, -s], rtol=1e-6, atol=1e-8)
        return float(run.y[0, -1]) - 1.0

    high = 2.0
    while shoot(high) < 0 and high < 1e3:
        high *= 2.0
    return float(brentq(shoot, 0.5, high, xtol=1e-6))


def slope_ratio(law: Compaction, from_pa: float, to_pa: float) -> float:
    """Factor on K / porosity when the vacuum changes from one driving pressure to another.

    The stack packs less under a weaker vacuum, so it loses less speed than the pressure alone
    says. Compacting and driving pressure are taken as equal but for 2 % (feed at air pressure).
    """

    def slope(drive: float) -> float:
        vf = float(law.vf(drive))
        k = (1 - vf) ** 3 / vf**2
        return bag_factor(law, drive, 0.98 * drive) * k / (1 - vf)

    return slope(to_pa) / slope(from_pa)


def fraction_ratio(vf_from: float, vf_to: float) -> float:
    """Factor on K / porosity when the stack is packed from one fibre fraction to another."""
    return kozeny_ratio(vf_from, vf_to) * (1 - vf_from) / (1 - vf_to)
