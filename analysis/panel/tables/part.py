"""The [part] table: what is going to be infused."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from analysis.panel.records import Part
from analysis.panel.tables.stack import LIKELY_FIBRE_SHARE, LIKELY_THICKNESS_MM, sd_share
from vision.common.quantity import AREA_M2, LENGTH_MM, SHARE, TEMPERATURE_C, other_units
from vision.common.toml_table import Table

FEEDS = ("edge", "point")
FEED_LINES = ("same", "other", "none")
BATCHES = ("same", "new")
LIKELY_C = (5.0, 80.0)
"""Temperature of resin and part; the rest is most often another unit (common practice)."""
LIKELY_LENGTH_MM = (50.0, 20_000.0)
LIKELY_AREA_M2 = (0.01, 300.0)
"""What is infused in one go (common practice, no source); the rest is questioned, for it is most
often another unit."""
LIKELY_WIDTH_M = (0.05, 30.0)
"""Area over flow length: the width of a part fed along a line (common practice, no source)."""
LEAST_OF_PANEL = 0.3
"""A part that is shorter than this share of its test panel is questioned: the panel is cut as long
as the part's flow (common practice, no source)."""


def read_part_table(
    table: Table, flow: str, panel_length_mm: float | None, panel_c: float | None = None
) -> Part | None:
    """Read the part; None where nothing says how far the resin must run.

    Parameters
    ----------
    table : Table
        The [part] table.
    flow : {"edge", "point"}
        Of the panel; the part is fed alike unless it says otherwise.
    panel_length_mm : float or None
        Taken where no flow length is given; the record then says so.
    panel_c : float or None
        Temperature of resin and panel, which a temperature of the part needs beside it.

    Raises
    ------
    WetlineError
        If a value cannot be true.
    """
    stated_mm = table.length("flow_length_mm", above=0, at_most=1e5, likely=LIKELY_LENGTH_MM)
    if stated_mm is not None and panel_length_mm is not None:
        _against_panel(table, stated_mm, panel_length_mm)
    length_mm = panel_length_mm if stated_mm is None else stated_mm
    thickness = table.length("thickness_mm", above=0, likely=LIKELY_THICKNESS_MM)
    area = table.quantity("area_m2", AREA_M2, above=0, likely=LIKELY_AREA_M2)
    feed = str(table.text("feed", flow, choices=FEEDS))
    repeat_sd = sd_share(table, "repeat_sd_percent", 8.0)
    fibre_fraction = table.quantity(
        "fibre_fraction", SHARE, at_least=0.05, at_most=0.85, likely=LIKELY_FIBRE_SHARE
    )
    if stated_mm is not None and area is not None:
        _width(table, stated_mm, area)
    setup = _setup(table, panel_c)
    if length_mm is None:
        return None
    part = Part(
        flow_length_m=length_mm / 1000.0,
        feed=feed,
        area_m2=area,
        thickness_m=None if thickness is None else thickness / 1000.0,
        repeat_sd=repeat_sd,
        fibre_fraction=fibre_fraction,
        length_stated=stated_mm is not None,
    )
    return replace(part, **setup)


def _width(table: Table, length_mm: float, area_m2: float) -> None:
    """Question an area that makes the part a thread, or many times as wide as it is long."""
    width_m = area_m2 / (length_mm / 1000.0)
    if not LIKELY_WIDTH_M[0] <= width_m <= LIKELY_WIDTH_M[1]:
        table.question(
            "area_m2",
            f"makes a part with a run of {length_mm:g} mm {width_m:.3g} m wide: check both",
        )


def _setup(table: Table, panel_c: float | None) -> dict[str, Any]:
    """Read how the part is infused, where that is not as the panel was."""
    temperature = table.quantity(
        "temperature_c", TEMPERATURE_C, at_least=-20, at_most=200, likely=LIKELY_C
    )
    if temperature is not None and panel_c is None:
        raise table.bad(
            "temperature_c",
            "needs the panel's beside it: add [resin] temperature_c, that of the test",
        )
    doubt = table.number("temperature_sd_c", 0.5, at_least=0, at_most=10)
    return {
        "feed_line": str(table.text("feed_line", "", choices=FEED_LINES)),
        "resin_batch": str(table.text("resin_batch", "", choices=BATCHES)),
        "batch_sd": sd_share(table, "batch_sd_percent", 7.0),
        "temperature_c": temperature,
        "temperature_sd_c": doubt or 0.0,
    }


def _against_panel(table: Table, length_mm: float, panel_mm: float) -> None:
    """Question a part much shorter than the panel that was cut for it."""
    if LIKELY_LENGTH_MM[0] <= length_mm < LEAST_OF_PANEL * panel_mm:
        others = other_units(length_mm, LENGTH_MM, (panel_mm / 2, 30 * panel_mm))[:2]
        ways = " or ".join(f'"{text}"' for text in others)
        meant = f"; write {ways} if that is meant" if ways else ""
        table.question(
            "flow_length_mm",
            f"understood as {length_mm:g} mm, much shorter than the panel ({panel_mm:g} mm){meant}",
        )
