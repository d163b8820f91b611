"""panel.toml to the panel record: the stack, resin, vacuum and part, checked, in SI units."""

from __future__ import annotations

import difflib
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis.panel.compaction import Compaction, thickness_m
from analysis.panel.logs import read_log
from analysis.panel.records import ATMOSPHERE_PA, Log, Media, Panel, Part, Resin, Stack, Vacuum
from analysis.panel.resin import gel_time
from analysis.panel.viscosity import (
    RESIN_CLASSES,
    at_shop_temperature,
    autocatalytic_log,
    class_values,
    read_gel_log,
    read_viscosity_log,
    thickness_note,
)
from vision.common.toml_table import Table, read_toml
from vision.errors import bad_field

MBAR_PA = 100.0
MAX_AMBIENT_MBAR = 1085.0
"""A little above the highest air pressure on record at sea level (from memory)."""
GAUGE_SLACK = 1.01
"""A vented bag may read this much above the stated air pressure."""

_FIELD_NAMES = {
    "stack": "porosity porosity_sd_percent layers areal_weight_g_m2 fibre_density_kg_m3 "
    "thickness_mm compaction_exponent compaction_vf_1bar name media_thickness_mm media_porosity "
    "media_k_m2 kz_m2",
    "resin": "name viscosity_mpas viscosity_sd_percent viscosity_log viscosity_doubling_min "
    "viscosity_temperature_c viscosity_2_mpas viscosity_2_temperature_c temperature_c "
    "viscosity_rise class gel_log gel_time_min gel_sd_percent gel_temperature_c "
    "gel_time_2_min gel_2_temperature_c mixed_before_start_min working_share_percent "
    "density_kg_m3 hardener_parts pot_limit_kg pot_life_min",
    "vacuum": "pressure_difference_mbar pressure_sd_percent ambient_mbar bag_mbar log",
    "part": "name flow_length_mm feed area_m2 thickness_mm fibre_fraction repeat_sd_percent",
}
FIELDS = {table: tuple(names.split()) for table, names in _FIELD_NAMES.items()}
PART_FEEDS = ("edge", "point")


def read_panel(folder: Path | str) -> Panel:
    """Read what was tested from the ``panel.toml`` of a folder.

    Parameters
    ----------
    folder : Path or str

    Returns
    -------
    panel : Panel
        In SI units. What is missing but not needed at once is None. Standard uncertainties not
        stated are viscosity 5 %, pressure 2 %, porosity 2 %, gel time 10 % (common practice, no
        source).

    Raises
    ------
    WetlineError
        If the file or a log is missing, or a value cannot be true, with the mend.

    Examples
    --------
    >>> panel = read_panel("sample_frames/pen_marks")
    >>> panel.part.flow_length_m
    1.2
    """
    path = Path(folder) / "panel.toml"
    document = read_toml(path)
    notes = tuple(_unknown(path, document))
    table = Table.of(path, document, "panel")
    length_mm = table.length("length_mm", above=0)
    vacuum = _vacuum(Table.of(path, document, "vacuum"))
    resin, resin_notes = _resin(Table.of(path, document, "resin"))
    return Panel(
        folder=path.parent,
        name=str(table.text("name", path.parent.resolve().name)),
        flow=str(table.text("flow", "edge", choices=("edge", "point"))),
        length_m=_milli(length_mm),
        width_m=_milli(table.length("width_mm", above=0)),
        feed_radius_m=_milli(table.length("feed_radius_mm", above=0)),
        slope_deg=table.number("slope_deg", 0.0, at_least=-90, at_most=90, unit="degrees") or 0.0,
        stack=_stack(Table.of(path, document, "stack"), vacuum.pressure_pa),
        resin=resin,
        vacuum=vacuum,
        part=_part(Table.of(path, document, "part"), document, length_mm),
        notes=(*notes, *resin_notes),
    )


def _unknown(path: Path, document: dict[str, Any]) -> list[str]:
    """Name fields nobody reads; most are spelling slips."""
    notes = []
    for name, known in FIELDS.items():
        for key in Table.of(path, document, name).values:
            if key not in known:
                near = difflib.get_close_matches(key, known, 1)
                hint = f"; did you mean {near[0]}?" if near else ""
                notes.append(f"panel.toml: [{name}] {key} is not a field Wetline knows{hint}")
    return notes


def _milli(value: float | None) -> float | None:
    return None if value is None else value / 1000.0


def _share(table: Table, key: str, default_percent: float, at_most: float = 100.0) -> float:
    value = table.number(key, default_percent, at_least=0, at_most=at_most, unit="percent")
    return (default_percent if value is None else value) / 100.0


def _minutes(table: Table, key: str, above: float = 0.0) -> float | None:
    value = table.number(key, above=above, unit="minutes")
    return None if value is None else value * 60.0


def _stack(table: Table, drive_pa: float | None) -> Stack:
    layers = table.number("layers", above=0)
    weight = table.number("areal_weight_g_m2", above=0, unit="g/m2")
    density = table.number("fibre_density_kg_m3", at_least=500, at_most=20_000, unit="kg/m3")
    thickness_mm = table.length("thickness_mm", above=0)
    areal = None if weight is None else weight / 1000.0 * (layers or 1.0)
    porosity = table.number("porosity")
    if porosity is not None and not 0 < porosity < 1:
        hint = f": {porosity:g} percent is written {porosity / 100:g}" if porosity < 100 else ""
        raise table.bad("porosity", f"must be between 0 and 1, the open share of the stack{hint}")
    if porosity is None and areal and density and thickness_mm:
        porosity = 1.0 - areal / (density * thickness_mm / 1000.0)
        if not 0 < porosity < 1:
            needed_mm = areal / density * 1000.0
            raise table.bad(
                "thickness_mm",
                f"leaves no room for resin: the fibre alone is {needed_mm:.2f} mm thick; check "
                "layers, areal_weight_g_m2 (one layer) and thickness_mm",
            )
    exponent = table.number("compaction_exponent", at_least=0, at_most=0.3)
    vf_1bar = table.number("compaction_vf_1bar", above=0, at_most=0.85)
    if porosity is None and vf_1bar is not None and drive_pa is not None:
        porosity = 1.0 - float(Compaction(vf_1bar, exponent or 0.0).vf(drive_pa))
    if thickness_mm is None and porosity is not None and areal and density:
        thickness_mm = thickness_m(areal, density, 1.0 - porosity) * 1000.0
    return Stack(
        porosity=porosity,
        porosity_sd=_share(table, "porosity_sd_percent", 2.0),
        thickness_m=_milli(thickness_mm),
        areal_weight_kg_m2=areal,
        fibre_density_kg_m3=density,
        compaction_exponent=exponent,
        media=_media(table),
        kz_m2=table.number("kz_m2", above=0, at_most=1e-6, unit="m2"),
    )


def _media(table: Table) -> Media | None:
    thickness_mm = table.length("media_thickness_mm", above=0)
    porosity = table.number("media_porosity", 0.85, above=0, at_most=0.99)
    k = table.number("media_k_m2", above=0, at_most=1e-5, unit="m2")
    if thickness_mm is None:
        if k is not None:
            raise table.bad("media_thickness_mm", "is needed: it goes with media_k_m2")
        return None
    return Media(thickness_mm / 1000.0, 0.85 if porosity is None else porosity, k)


def _second(table: Table, key: str, temperature: str, factor: float) -> tuple[float, float] | None:
    value, at_c = table.number(key, above=0), table.number(temperature)
    if (value is None) != (at_c is None):
        missing = temperature if at_c is None else key
        raise table.bad(missing, f"is needed: {key} and {temperature} go together")
    return None if value is None or at_c is None else (value * factor, at_c)


def _resin(table: Table) -> tuple[Resin, list[str]]:
    viscosity = table.number("viscosity_mpas", above=0, at_most=1e6, unit="mPa s")
    doubling = _minutes(table, "viscosity_doubling_min")
    gel, gel_sd = _gel(table)
    lead = table.number("mixed_before_start_min", 0.0, at_least=0, unit="minutes") or 0.0
    if gel is not None and lead * 60.0 >= gel:
        raise table.bad(
            "gel_time_min",
            f"is over before the resin starts ({lead:g} min after mixing): check both",
        )
    log_name = table.text("viscosity_log")
    density = table.number("density_kg_m3", at_least=500, at_most=3000, unit="kg/m3")
    limit = table.number("pot_limit_kg", 5.0, above=0, unit="kg")
    resin = Resin(
        name=str(table.text("name", "")),
        viscosity_pa_s=None if viscosity is None else viscosity / 1000.0,
        viscosity_sd=_share(table, "viscosity_sd_percent", 5.0),
        viscosity_growth_per_s=0.0 if doubling is None else math.log(2.0) / doubling,
        viscosity_log=(
            None if log_name is None else read_viscosity_log(table.file.parent / log_name, density)
        ),
        viscosity_temperature_c=table.number("viscosity_temperature_c"),
        viscosity_second=_second(table, "viscosity_2_mpas", "viscosity_2_temperature_c", 1e-3),
        temperature_c=table.number("temperature_c", at_least=-20, at_most=200, unit="degrees C"),
        gel_time_s=gel,
        gel_sd=gel_sd,
        gel_temperature_c=table.number("gel_temperature_c"),
        gel_second=_second(table, "gel_time_2_min", "gel_2_temperature_c", 60.0),
        mixed_before_start_s=lead * 60.0,
        working_share=_share(table, "working_share_percent", 70.0),
        density_kg_m3=density,
        hardener_parts=table.number("hardener_parts", above=0, at_most=200),
        pot_limit_kg=limit if limit is not None else 5.0,
        pot_life_s=_minutes(table, "pot_life_min"),
    )
    return _completed(table, resin)


def _gel(table: Table) -> tuple[float | None, float]:
    sd = _share(table, "gel_sd_percent", 10.0)
    name = table.text("gel_log")
    if name is None:
        return _minutes(table, "gel_time_min"), sd
    gel, log_sd = read_gel_log(table.file.parent / name)
    return gel, math.hypot(log_sd, 0.05)


def _completed(table: Table, resin: Resin) -> tuple[Resin, list[str]]:
    """Fill in from the generic class, carry to the shop's temperature, add a rise."""
    notes = []
    kind = table.text("class", choices=tuple(RESIN_CLASSES))
    if kind is not None:
        if resin.viscosity_pa_s is None and resin.viscosity_log is None:
            notes.append(f"viscosity taken from the class {kind}: measure yours")
        resin = class_values(resin, kind)
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


def _vacuum(table: Table) -> Vacuum:
    ambient = table.number("ambient_mbar", at_least=500, at_most=MAX_AMBIENT_MBAR, unit="mbar")
    ambient_pa = ATMOSPHERE_PA if ambient is None else ambient * MBAR_PA
    sd = _share(table, "pressure_sd_percent", 2.0)
    log_name = table.text("log")
    if log_name is not None:
        log = _vacuum_log(table.file, log_name, ambient_pa)
        return Vacuum(float(_mean_over_time(log)), sd, log, ambient_pa)
    drive = table.number("pressure_difference_mbar")
    limit = ambient_pa / MBAR_PA if ambient is not None else MAX_AMBIENT_MBAR
    if drive is not None and not 0 < drive <= limit:
        raise table.bad(
            "pressure_difference_mbar",
            f"must be above 0 and at most {limit:.0f}, all the air pressure can give: write the "
            "air pressure at the pot less the absolute pressure in the bag",
        )
    bag = table.number("bag_mbar", at_least=0, unit="mbar absolute")
    if bag is not None and bag * MBAR_PA >= ambient_pa:
        raise table.bad(
            "bag_mbar",
            f"must be below the air pressure ({ambient_pa / MBAR_PA:.0f} mbar): write the "
            "absolute pressure in the bag",
        )
    if drive is None and bag is not None:
        drive = ambient_pa / MBAR_PA - bag
    return Vacuum(None if drive is None else drive * MBAR_PA, sd, None, ambient_pa)


def _vacuum_log(file: Path, name: str, ambient_pa: float) -> Log:
    path = file.parent / name
    time_s, bag_mbar = read_log(path, ("time_s", "bag_mbar"))
    if np.any(bag_mbar < 0) or np.any(bag_mbar * MBAR_PA > GAUGE_SLACK * ambient_pa):
        worst = bag_mbar[np.argmax(np.abs(bag_mbar - ambient_pa / 200.0))]
        raise bad_field(
            path,
            "bag_mbar",
            f"{worst:g}",
            f"must be from 0 to the air pressure ({ambient_pa / MBAR_PA:.0f} mbar): write "
            "absolute pressure",
        )
    drive_pa = np.maximum(ambient_pa - bag_mbar * MBAR_PA, 0.0)
    if not np.any(drive_pa > 0):
        raise bad_field(path, "bag_mbar", f"{bag_mbar.min():g}", "shows no vacuum at all")
    return Log(time_s, drive_pa)


def _mean_over_time(log: Log) -> float:
    if len(log.time_s) == 1:
        return float(log.value[0])
    return float(np.trapezoid(log.value, log.time_s) / (log.time_s[-1] - log.time_s[0]))


def _part(table: Table, document: dict[str, Any], panel_length_mm: float | None) -> Part | None:
    flow = "point" if document.get("panel", {}).get("flow") == "point" else "edge"
    length_mm = table.length("flow_length_mm", panel_length_mm, above=0, at_most=1e5)
    if length_mm is None:
        return None
    return Part(
        flow_length_m=length_mm / 1000.0,
        feed=str(table.text("feed", flow, choices=PART_FEEDS)),
        area_m2=table.number("area_m2", above=0, unit="m2"),
        thickness_m=_milli(table.length("thickness_mm", above=0)),
        repeat_sd=_share(table, "repeat_sd_percent", 8.0),
        fibre_fraction=table.number("fibre_fraction", at_least=0.05, at_most=0.85),
    )
