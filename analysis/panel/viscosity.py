"""Viscosity against temperature and time: data sheet, cup, viscometer, gel test log, classes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analysis.panel.logs import number_column, read_log, read_table
from analysis.panel.records import Log, Resin
from analysis.panel.resin import (
    DEFAULT_DENSITY_KG_M3,
    DOUBLING_C,
    activation_j_mol,
    arrhenius_factor,
)
from vision.errors import bad_field
from vision.records import FloatArray

LEAST_MPAS = 0.1
"""No resin is anywhere near as thin; water has 1 (CRC Handbook, from memory)."""
ROUGH_VISCOSITY_J_MOL = 50_000.0
"""Activation energy where none is known: published values for resins run from 41 kJ/mol (Castro
and Macosko 1982, AIChE J. 28, 250, from memory) to 83 kJ/mol (Cheng 1994, J. Mater. Sci. 29,
721), thin infusion resins near the lower end (common practice, no source)."""
ROUGH_VISCOSITY_SD = 0.18
"""Relative sd it brings for each 10 degrees C carried: energies that run from 41 to 83 kJ/mol, most
of them below 60, miss by 15 % in the mean, and on one side more often (set with
tests/bench/interval_coverage.py)."""
THICK_PA_S, VERY_THICK_PA_S = 0.5, 0.8
"""Above the first infusion is slow, above the second hardly practical; 1 Pa s is where injection
stops being practical (Summerscales, University of Plymouth, lecture notes on rheology)."""

CUPS_MM2_S = {3: (0.443, 200.0), 4: (1.37, 200.0), 5: (3.28, 220.0), 6: (6.90, 570.0)}
"""Flow cup constants A, B of nu = A t - B / t by hole in mm (ISO 2431, from memory)."""


@dataclass(frozen=True)
class ResinClass:
    """A generic class of infusion resin: range of starting viscosity and usual density."""

    low_pa_s: float
    high_pa_s: float
    density_kg_m3: float
    source: str


_RHEOLOGY = "Summerscales, University of Plymouth, lecture notes on rheology; density textbook"
RESIN_CLASSES = {
    "thin epoxy": ResinClass(0.100, 0.300, 1150.0, _RHEOLOGY),
    "vinyl ester": ResinClass(0.100, 0.400, 1120.0, _RHEOLOGY),
    "polyester": ResinClass(0.100, 0.400, 1120.0, _RHEOLOGY),
}


def class_values(resin: Resin, name: str) -> Resin:
    """Fill what the user left open from a generic class; the range becomes four sds wide."""
    kind = RESIN_CLASSES[name]
    if resin.density_kg_m3 is None:
        resin = replace(resin, density_kg_m3=kind.density_kg_m3)
    if resin.viscosity_pa_s is None and resin.viscosity_log is None:
        middle = float(np.sqrt(kind.low_pa_s * kind.high_pa_s))
        sd = float(np.log(kind.high_pa_s / kind.low_pa_s)) / 4.0
        resin = replace(resin, viscosity_pa_s=middle, viscosity_sd=sd)
    return resin


def viscosity_factor(resin: Resin, to_c: float) -> tuple[float, float]:
    """Factor on the stated viscosity at another temperature, and the relative sd it brings."""
    at_c = resin.viscosity_temperature_c
    at_c = resin.temperature_c if at_c is None else at_c
    if at_c is None or abs(to_c - at_c) < 0.05:
        return 1.0, 0.0
    energy, sd = ROUGH_VISCOSITY_J_MOL, ROUGH_VISCOSITY_SD * abs(to_c - at_c) / DOUBLING_C
    if resin.viscosity_second is not None and resin.viscosity_pa_s is not None:
        other, other_c = resin.viscosity_second
        if abs(other_c - at_c) > 0.05:
            energy, sd = activation_j_mol(resin.viscosity_pa_s, at_c, other, other_c), 0.0
    return arrhenius_factor(energy, at_c, to_c), sd


def at_shop_temperature(resin: Resin) -> tuple[Resin, str]:
    """Carry the stated viscosity to the shop's temperature; the second value says so."""
    at_c, to_c = resin.viscosity_temperature_c, resin.temperature_c
    if resin.viscosity_pa_s is None or at_c is None or to_c is None:
        return resin, ""
    factor, sd = viscosity_factor(resin, to_c)
    if factor == 1.0:
        return resin, ""
    mu = resin.viscosity_pa_s * factor
    rough = " (rough: give a second viscosity and its temperature)" if sd else ""
    carried = replace(
        resin,
        viscosity_pa_s=mu,
        viscosity_sd=float(np.hypot(resin.viscosity_sd, sd)),
        viscosity_temperature_c=to_c,
        # The old pair stands for the second one, so that the same activation energy follows.
        viscosity_second=None if sd else (resin.viscosity_pa_s, at_c),
    )
    return carried, (f"viscosity carried from {at_c:g} to {to_c:g} C: {mu * 1000:.0f} mPa s{rough}")


def cup_viscosity(time_s: FloatArray, hole_mm: int, density_kg_m3: float) -> FloatArray:
    """Viscosity in Pa s from the run-out time of a standard flow cup.

    Source: ISO 2431, ``nu = A t - B / t`` in mm2/s (constants from memory).

    Examples
    --------
    >>> round(float(cup_viscosity(np.array(60.0), 4, 1100.0)) * 1000, 1)
    86.8
    """
    a, b = CUPS_MM2_S[hole_mm]
    return (a * time_s - b / time_s) * 1e-6 * density_kg_m3


def read_viscosity_log(path: Path, density_kg_m3: float | None = None) -> Log:
    """Read viscometer or cup readings against time.

    The time column is ``time_s`` or ``time_min``; the other ``viscosity_mpas``, or ``cup_3mm_s``
    to ``cup_6mm_s`` with run-out times of a standard flow cup.

    Raises
    ------
    WetlineError
        If a column is missing or a value cannot be true.
    """
    names = read_table(path)
    clock, factor = ("time_min", 60.0) if "time_min" in names else ("time_s", 1.0)
    cup = next((mm for mm in CUPS_MM2_S if f"cup_{mm}mm_s" in names), None)
    if cup is None:
        time, mpas = read_log(path, (clock, "viscosity_mpas"))
        if np.any(mpas < LEAST_MPAS):
            raise bad_field(
                path, "viscosity_mpas", f"{mpas.min():g}", f"must be at least {LEAST_MPAS:g}"
            )
        return Log(time * factor, mpas / 1000.0)
    time, run_out = read_log(path, (clock, f"cup_{cup}mm_s"))
    a, b = CUPS_MM2_S[cup]
    if np.any(run_out <= np.sqrt(b / a) * 1.5):
        raise bad_field(
            path, f"cup_{cup}mm_s", f"{run_out.min():g}", "is too short for this cup: use a finer"
        )
    return Log(time * factor, cup_viscosity(run_out, cup, density_kg_m3 or DEFAULT_DENSITY_KG_M3))


def read_gel_log(path: Path) -> tuple[float, float]:
    """Read a gel test log: gel time in s from mixing and its relative standard uncertainty.

    Columns ``time_min`` and ``gelled`` (0 or 1: does the resin still run off the stick?). The
    gel came somewhere between the last 0 and the first 1.

    Raises
    ------
    WetlineError
        If the log never shows gel, or shows it from the first row on.
    """
    table = read_table(path)
    time, gelled = number_column(path, table, "time_min"), number_column(path, table, "gelled")
    order = np.argsort(time, kind="stable")
    time, solid = time[order], gelled[order] > 0.5
    if not solid.any() or solid[0]:
        raise bad_field(
            path,
            "gelled",
            "all 0" if not solid.any() else "1 in the first row",
            "must go from 0 to 1 within the log",
        )
    first = int(np.argmax(solid))
    middle = 0.5 * (time[first - 1] + time[first])
    half = 0.5 * (time[first] - time[first - 1])
    return float(middle * 60.0), float(half / np.sqrt(3.0) / middle)


def castro_macosko(
    conversion: FloatArray,
    temperature_c: float,
    a_pa_s: float,
    energy_j_mol: float,
    gel_conversion: float,
    a: float,
    b: float,
) -> FloatArray:
    """Viscosity in Pa s of a reacting resin.

    ``mu = A exp(E / R T) (ag / (ag - alpha))^(a + b alpha)``; infinity at and beyond gel.

    Source: Castro and Macosko 1982, AIChE J. 28, 250 (from memory).
    """
    alpha = np.asarray(conversion, dtype=float)
    cold = a_pa_s * np.exp(energy_j_mol / (8.314462618 * (temperature_c + 273.15)))
    below = alpha < gel_conversion
    safe = np.where(below, alpha, 0.0)
    rise = (gel_conversion / (gel_conversion - safe)) ** (a + b * safe)
    return np.where(below, cold * rise, np.inf)


def autocatalytic_log(viscosity_pa_s: float, gel_time_s: float, lead_s: float = 0.0) -> Log:
    """Viscosity against time since resin start of a resin that speeds itself up.

    Conversion follows the logistic curve d(alpha)/dt ~ alpha (1 - alpha) from 2 % at mixing to
    the gel conversion of 0.65 at the gel time; viscosity the form of Castro and Macosko with
    exponents 1.5 and 1, scaled to `viscosity_pa_s` at resin start.

    Parameters
    ----------
    viscosity_pa_s : float
        At resin start.
    gel_time_s : float
        From mixing.
    lead_s : float
        From mixing to resin start.

    Notes
    -----
    Source: Kamal and Sourour 1973, Polym. Eng. Sci. 13, 59, simplest case; Castro and Macosko
    1982 (both from memory). Constants are a usual shape, not those of your resin.
    """
    start, gel = 0.02, 0.65
    speed = np.log(gel * (1 - start) / (start * (1 - gel))) / gel_time_s
    time = np.linspace(lead_s, lead_s + 0.995 * (gel_time_s - lead_s), 200)
    alpha = 1.0 / (1.0 + (1 - start) / start * np.exp(-speed * time))
    shape = castro_macosko(alpha, 25.0, 1.0, 0.0, gel, 1.5, 1.0)
    return Log(time - lead_s, viscosity_pa_s * shape / shape[0])


def thickness_note(viscosity_pa_s: float) -> str:
    """Warn of a resin too thick for infusion; empty text if it is thin enough."""
    mpas = viscosity_pa_s * 1000.0
    if viscosity_pa_s > VERY_THICK_PA_S:
        return f"{mpas:.0f} mPa s is too thick for infusion (1000 mPa s is where it stops)"
    if viscosity_pa_s > THICK_PA_S:
        return f"{mpas:.0f} mPa s is thick for infusion; 100 to 400 is usual"
    return ""
