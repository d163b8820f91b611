"""The [stack] table: porosity and thickness of the dry lay-up, stated or worked out."""

from __future__ import annotations

from analysis.panel.compaction import Compaction, thickness_m
from analysis.panel.records import Media, Stack
from vision.common.quantity import (
    AREAL_G_M2,
    DENSITY_KG_M3,
    PERCENT,
    PERMEABILITY_M2,
    PLAIN,
    SHARE,
)
from vision.common.toml_table import Table

LIKELY_POROSITY = (0.2, 0.95)
LIKELY_THICKNESS_MM = (0.2, 100.0)
LIKELY_AREAL_G_M2 = (20.0, 6000.0)
LIKELY_FIBRE_KG_M3 = (900.0, 3500.0)
LIKELY_FIBRE_SHARE = (0.1, 0.8)
LIKELY_LAYERS = (1.0, 100.0)
LIKELY_SD_PERCENT = (0.5, 100.0)
"""What a stack of reinforcement is usually like (common practice, no source); the rest is
questioned, for it is most often another unit."""
DISAGREE = 0.1
"""Share by which a stated porosity and that of layers and thickness may differ, of the fibre."""


def sd_share(table: Table, key: str, default_percent: float) -> float:
    """Return a relative standard uncertainty given in percent as a share."""
    value = table.quantity(
        key, PERCENT, default_percent, at_least=0, at_most=100, likely=LIKELY_SD_PERCENT
    )
    return (default_percent if value is None else value) / 100.0


def read_stack_table(table: Table, drive_pa: float | None) -> Stack:
    """Read the lay-up.

    Parameters
    ----------
    table : Table
        The [stack] table.
    drive_pa : float or None
        Pressure difference, for the compaction law.

    Raises
    ------
    WetlineError
        If a value cannot be true, or two say different things.
    """
    if table.has("permeability"):
        raise table.bad("permeability", "is measured here, not stated: take it out")
    layers = table.quantity("layers", PLAIN, above=0, likely=LIKELY_LAYERS)
    weight = table.quantity("areal_weight_g_m2", AREAL_G_M2, above=0, likely=LIKELY_AREAL_G_M2)
    density = table.quantity(
        "fibre_density_kg_m3",
        DENSITY_KG_M3,
        at_least=500,
        at_most=20_000,
        likely=LIKELY_FIBRE_KG_M3,
    )
    thickness_mm = table.length("thickness_mm", above=0, likely=LIKELY_THICKNESS_MM)
    areal = None if weight is None else weight / 1000.0 * (layers or 1.0)
    worked_out = _worked_out(table, areal, density, thickness_mm)
    porosity = _stated(table, worked_out)
    exponent = table.number("compaction_exponent", at_least=0, at_most=0.3)
    vf_1bar = table.quantity(
        "compaction_vf_1bar", SHARE, above=0, at_most=0.85, likely=LIKELY_FIBRE_SHARE
    )
    if porosity is None and vf_1bar is not None and drive_pa is not None:
        porosity = 1.0 - float(Compaction(vf_1bar, exponent or 0.0).vf(drive_pa))
    if thickness_mm is None and porosity is not None and areal and density:
        thickness_mm = thickness_m(areal, density, 1.0 - porosity) * 1000.0
    return Stack(
        porosity=porosity,
        porosity_sd=sd_share(table, "porosity_sd_percent", 2.0),
        thickness_m=None if thickness_mm is None else thickness_mm / 1000.0,
        areal_weight_kg_m2=areal,
        fibre_density_kg_m3=density,
        compaction_exponent=exponent,
        media=_media(table),
        kz_m2=table.quantity("kz_m2", PERMEABILITY_M2, above=0, at_most=1e-6),
        k_confirmed="permeability" in table.confirmed_names(),
    )


def _worked_out(
    table: Table, areal: float | None, density: float | None, thickness_mm: float | None
) -> float | None:
    """Return the porosity that layers, weight, density and thickness leave."""
    if not (areal and density and thickness_mm):
        return None
    porosity = 1.0 - areal / (density * thickness_mm / 1000.0)
    check = "check layers, areal_weight_g_m2 (one layer) and thickness_mm"
    if not 0 < porosity < 1:
        raise table.bad(
            "thickness_mm",
            f"leaves no room for resin: the fibre alone is {areal / density * 1000.0:.2f} mm "
            f"thick; {check}",
        )
    if not LIKELY_POROSITY[0] <= porosity <= LIKELY_POROSITY[1] and not table.has("porosity"):
        table.question("thickness_mm", f"leaves a porosity of {porosity:.2f}, {check}")
    return porosity


def _stated(table: Table, worked_out: float | None) -> float | None:
    """Return the porosity as written, held against what the layers say."""
    porosity = table.quantity("porosity", SHARE)
    if porosity is None:
        return worked_out
    if not 0 < porosity < 1:
        hint = f": {porosity:g} percent is written {porosity / 100:g}" if porosity < 100 else ""
        raise table.bad("porosity", f"must be between 0 and 1, the open share of the stack{hint}")
    if not LIKELY_POROSITY[0] <= porosity <= LIKELY_POROSITY[1]:
        low, high = LIKELY_POROSITY
        table.question("porosity", f"the open share of the stack; {low:g} to {high:g} is usual")
    if worked_out is not None and abs(porosity - worked_out) > DISAGREE * (1.0 - worked_out):
        swapped = abs(1.0 - porosity - worked_out) < 0.03
        hint = ": was the fibre's share meant?" if swapped else ""
        raise table.bad(
            "porosity",
            f"but layers, areal weight, fibre density and thickness leave {worked_out:.2f}{hint}; "
            "mend one of them or take porosity out",
        )
    return porosity


def _media(table: Table) -> Media | None:
    thickness_mm = table.length("media_thickness_mm", above=0, likely=(0.2, 15.0))
    porosity = table.quantity("media_porosity", SHARE, 0.85, above=0, at_most=0.99)
    k = table.quantity("media_k_m2", PERMEABILITY_M2, above=0, at_most=1e-5)
    lead_mm = table.length("media_lead_mm", at_least=0, likely=(0.0, 500.0))
    if thickness_mm is None:
        if k is not None or lead_mm is not None:
            other = "media_k_m2" if lead_mm is None else "media_lead_mm"
            raise table.bad("media_thickness_mm", f"is needed: it goes with {other}")
        return None
    lead_m = None if lead_mm is None else lead_mm / 1000.0
    return Media(thickness_mm / 1000.0, 0.85 if porosity is None else porosity, k, lead_m)
