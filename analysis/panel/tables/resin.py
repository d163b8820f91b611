"""The [resin] table: viscosity, gel, density and mixing, at the shop's temperature."""

from __future__ import annotations

import math
from dataclasses import replace

from analysis.panel.records import Log, Resin
from analysis.panel.resin import gel_time
from analysis.panel.tables.stack import sd_share
from analysis.panel.viscosity import (
    RESIN_CLASSES,
    at_shop_temperature,
    autocatalytic_log,
    class_values,
    read_gel_log,
    read_viscosity_log,
    thickness_note,
)
from vision.common.quantity import (
    DENSITY_KG_M3,
    MASS_KG,
    PERCENT,
    PLAIN,
    TEMPERATURE_C,
    TIME_MIN,
    VISCOSITY_MPAS,
    Quantity,
    other_units,
)
from vision.common.toml_table import Table

LIKELY_MPAS = (20.0, 3000.0)
LOG_FACTOR = 2.0
"""A viscosity stated beside a log may differ from where the log begins by this factor."""
LIKELY_GEL_MIN = (5.0, 720.0)
LIKELY_POT_MIN = (2.0, 1440.0)
LIKELY_DOUBLING_MIN = (2.0, 1440.0)
LIKELY_LEAD_MIN = (0.0, 120.0)
LIKELY_C = (5.0, 60.0)
DATA_SHEET_C = (18.0, 27.0)
"""Data sheets state viscosity and gel time at 20 to 25 C (common practice, no source)."""
LIKELY_KG_M3 = (850.0, 1600.0)
LIKELY_HARDENER_PARTS = (0.5, 120.0)
LIKELY_POT_KG = (0.05, 50.0)
LIKELY_WORKING_PERCENT = (20.0, 100.0)
"""What infusion resins are usually like (common practice, no source); the rest is questioned,
for it is most often another unit."""


def read_resin_table(table: Table) -> tuple[Resin, list[str]]:
    """Read the resin.

    Returns
    -------
    resin : Resin
    notes : list of str
        What was filled in or carried to another temperature.

    Raises
    ------
    WetlineError
        If a value cannot be true, or one of a pair is missing.
    """
    viscosity = table.quantity(
        "viscosity_mpas", VISCOSITY_MPAS, above=0, at_most=1e6, likely=LIKELY_MPAS
    )
    doubling_s = _seconds(table, "viscosity_doubling_min", LIKELY_DOUBLING_MIN)
    gel_s, gel_sd = _gel(table)
    lead_s = _lead(table, gel_s)
    density = table.quantity(
        "density_kg_m3", DENSITY_KG_M3, at_least=500, at_most=3000, likely=LIKELY_KG_M3
    )
    log = _viscosity_log(table, density, viscosity)
    working = table.quantity(
        "working_share_percent",
        PERCENT,
        70.0,
        above=0,
        at_most=100,
        likely=LIKELY_WORKING_PERCENT,
    )
    resin = Resin(
        name=str(table.text("name", "")),
        viscosity_pa_s=None if viscosity is None else viscosity / 1000.0,
        viscosity_sd=sd_share(table, "viscosity_sd_percent", 5.0),
        viscosity_growth_per_s=0.0 if doubling_s is None else math.log(2.0) / doubling_s,
        viscosity_log=log,
        viscosity_temperature_c=_celsius(table, "viscosity_temperature_c"),
        viscosity_second=_second(table, "viscosity_2_mpas", "viscosity_2_temperature_c", *_MPAS),
        temperature_c=_celsius(table, "temperature_c"),
        gel_time_s=gel_s,
        gel_sd=gel_sd,
        gel_temperature_c=_celsius(table, "gel_temperature_c"),
        gel_second=_second(table, "gel_time_2_min", "gel_2_temperature_c", *_GEL_MIN),
        mixed_before_start_s=lead_s,
        working_share=(70.0 if working is None else working) / 100.0,
        density_kg_m3=density,
        **_mixing(table),  # type: ignore[arg-type]
    )
    resin, notes = _completed(table, resin)
    return resin, [*notes, *_as_measured(table, resin)]


def _as_measured(table: Table, resin: Resin) -> list[str]:
    """Return what is taken as measured at the temperature of a cold or warm shop."""
    at_c = resin.temperature_c
    if at_c is None or DATA_SHEET_C[0] <= at_c <= DATA_SHEET_C[1]:
        return []
    pairs = {
        "viscosity_temperature_c": table.has("viscosity_mpas"),
        "gel_temperature_c": table.has("gel_time_min"),
    }
    missing = [key for key, stated in pairs.items() if stated and not table.has(key)]
    if not missing:
        return []
    return [
        f"{' and '.join(key.split('_')[0] for key in missing)} taken as measured at the shop's "
        f"{at_c:g} C: if they are from a data sheet, give {' and '.join(missing)}"
    ]


def _viscosity_log(table: Table, density: float | None, stated: float | None) -> Log | None:
    """Return the viscosity log, held against the viscosity stated beside it."""
    name = table.text("viscosity_log")
    if name is None:
        return None
    log = read_viscosity_log(table.file.parent / name, density)
    first = float(log.value[0]) * 1000.0
    if stated is not None and not 1 / LOG_FACTOR < first / stated < LOG_FACTOR:
        raise table.bad(
            "viscosity_mpas", f"but {name} begins at {first:.4g} mPa s: keep the one that is right"
        )
    if not LIKELY_MPAS[0] <= first <= LIKELY_MPAS[1]:
        others = other_units(first, VISCOSITY_MPAS, LIKELY_MPAS)
        meant = f"; was {others[0].split(' ', 1)[1]} meant?" if others else ""
        table.question("viscosity_log", f"begins at {first:.4g} mPa s, 20 to 3000 is usual{meant}")
    return log


def _mixing(table: Table) -> dict[str, float | None]:
    limit = table.quantity("pot_limit_kg", MASS_KG, 5.0, above=0, likely=LIKELY_POT_KG)
    return {
        "hardener_parts": table.quantity(
            "hardener_parts", PLAIN, above=0, at_most=200, likely=LIKELY_HARDENER_PARTS
        ),
        "pot_limit_kg": 5.0 if limit is None else limit,
        "pot_life_s": _seconds(table, "pot_life_min", LIKELY_POT_MIN),
    }


def _seconds(table: Table, key: str, likely: tuple[float, float]) -> float | None:
    value = table.quantity(key, TIME_MIN, above=0, likely=likely)
    return None if value is None else value * 60.0


def _celsius(table: Table, key: str) -> float | None:
    return table.quantity(key, TEMPERATURE_C, at_least=-20, at_most=200, likely=LIKELY_C)


def _lead(table: Table, gel_s: float | None) -> float:
    """Return the seconds from mixing to resin start."""
    lead = table.quantity(
        "mixed_before_start_min", TIME_MIN, 0.0, at_least=0, likely=LIKELY_LEAD_MIN
    )
    if gel_s is not None and (lead or 0.0) * 60.0 >= gel_s:
        raise table.bad(
            "gel_time_min",
            f"is over before the resin starts ({lead:g} min after mixing): check both",
        )
    return (lead or 0.0) * 60.0


_MPAS = (VISCOSITY_MPAS, LIKELY_MPAS, 1e-3)
_GEL_MIN = (TIME_MIN, LIKELY_GEL_MIN, 60.0)


def _second(
    table: Table,
    key: str,
    temperature: str,
    kind: Quantity,
    likely: tuple[float, float],
    to_si: float,
) -> tuple[float, float] | None:
    """Return a second value and its temperature, which go together."""
    value, at_c = table.quantity(key, kind, above=0, likely=likely), _celsius(table, temperature)
    if (value is None) != (at_c is None):
        missing = temperature if at_c is None else key
        raise table.bad(missing, f"is needed: {key} and {temperature} go together")
    return None if value is None or at_c is None else (value * to_si, at_c)


def _gel(table: Table) -> tuple[float | None, float]:
    sd = sd_share(table, "gel_sd_percent", 10.0)
    name = table.text("gel_log")
    if name is None:
        return _seconds(table, "gel_time_min", LIKELY_GEL_MIN), sd
    if table.has("gel_time_min"):
        raise table.bad("gel_time_min", "says the same as gel_log: keep one of the two")
    gel, log_sd = read_gel_log(table.file.parent / name)
    return gel, math.hypot(log_sd, 0.05)


def _completed(table: Table, resin: Resin) -> tuple[Resin, list[str]]:
    """Fill in from the generic class, carry to the shop's temperature, add a rise."""
    notes = []
    kind = table.text("class", choices=tuple(RESIN_CLASSES))
    if kind is not None:
        if resin.viscosity_pa_s is None and resin.viscosity_log is None:
            notes.append(f"viscosity taken from the class {kind}: measure yours")
        resin = replace(class_values(resin, kind), resin_class=kind)
    resin, note = at_shop_temperature(resin)
    if note:
        notes.append(note)
    rise = table.text("viscosity_rise", choices=("none", "autocatalytic"))
    if rise == "autocatalytic":
        gel = gel_time(resin)
        if gel is None or resin.viscosity_pa_s is None:
            raise table.bad("viscosity_rise", "needs viscosity_mpas and gel_time_min beside it")
        log = autocatalytic_log(resin.viscosity_pa_s, gel.gel_s, resin.mixed_before_start_s)
        resin = replace(resin, viscosity_log=log)
    start = resin.viscosity_log.value[0] if resin.viscosity_log else resin.viscosity_pa_s
    if start is not None and thickness_note(float(start)):
        notes.append(thickness_note(float(start)))
    return resin, notes
