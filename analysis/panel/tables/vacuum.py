"""The [vacuum] table: what drives the resin, from whichever reading the shop has."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from analysis.panel.logs import read_log
from analysis.panel.records import ATMOSPHERE_PA, Log, Vacuum
from analysis.panel.tables.gauge_units import ABSOLUTE, CLOCKS, COLUMNS, to_absolute_mbar
from analysis.panel.tables.stack import sd_share
from vision.common.csv_table import read_table
from vision.common.quantity import PRESSURE_MBAR, other_units, split_number
from vision.common.toml_table import Table
from vision.errors import bad_field

MBAR_PA = 100.0
MAX_AMBIENT_MBAR = 1085.0
"""A little above the highest air pressure on record at sea level (from memory)."""
LIKELY_AMBIENT_MBAR = (780.0, MAX_AMBIENT_MBAR)
"""From a town some 2000 m up to the highest on record (ISO 2533: 795 mbar at 2000 m)."""
GAUGE_SLACK = 1.01
"""A vented bag may read this much above the stated air pressure."""
LEAST_DRIVE_MBAR, WEAK_DRIVE_MBAR = 500.0, 800.0
"""Infusion is done with 800 to 1000 mbar of drive; below the first a reading of another kind was
most likely meant (common practice, no source)."""
LEAST_BAG_MBAR = 1.0
"""No shop pump holds a bag below this (common practice, no source)."""
LATE_LOG_S = 3600.0
"""A gauge log that begins later after resin start most often counts from somewhere else."""
AGREE_MBAR = 30.0
"""Two statements of the drive that differ by less say the same."""
_WAYS = ("pressure_difference_mbar", "vacuum_gauge", "bag_mbar", "log")


def read_vacuum_table(table: Table) -> tuple[Vacuum, list[str]]:
    """Read what drives the resin: pressure at the feed less pressure in the dry stack.

    One of

    - ``pressure_difference_mbar``: that difference itself;
    - ``vacuum_gauge = "27 inHg"``, ``"0.93 bar"``, ``"-930 mbar"``, ``"92 %"``: a gauge at the bag
      that counts down from the air pressure;
    - ``bag_mbar``: absolute pressure in the bag, with ``ambient_mbar`` (standard if left out);
    - ``log``: a gauge log of any of these.

    Returns
    -------
    vacuum : Vacuum
    notes : list of str
        What was taken as given.

    Raises
    ------
    WetlineError
        If a value cannot be true, or two of them disagree.
    """
    ambient = table.quantity(
        "ambient_mbar",
        PRESSURE_MBAR,
        at_least=500,
        at_most=MAX_AMBIENT_MBAR,
        likely=LIKELY_AMBIENT_MBAR,
    )
    ambient_pa = ATMOSPHERE_PA if ambient is None else ambient * MBAR_PA
    sd = sd_share(table, "pressure_sd_percent", 2.0)
    ways = {key: way for key in _WAYS if (way := _drive(table, key, ambient_pa)) is not None}
    if not ways:
        return Vacuum(None, sd, None, ambient_pa), []
    log = _vacuum_log(table.file, str(table.text("log")), ambient_pa) if "log" in ways else None
    key = "log" if log is not None else next(iter(ways))
    if log is not None and log.time_s[0] > LATE_LOG_S:
        table.question(
            "log",
            f"begins {log.time_s[0] / 60:.0f} min after resin start: its times must count from "
            "resin start",
        )
    _agree(table, key, ways)
    _question(table, key, ways[key], ambient_pa / MBAR_PA)
    notes = _notes(ways[key], ambient is None and key in ("bag_mbar", "log"), table, key)
    return Vacuum(ways[key] * MBAR_PA, sd, log, ambient_pa), notes


def _drive(table: Table, key: str, ambient_pa: float) -> float | None:
    """Return the drive in mbar as one field states it; None where it is not there."""
    if not table.has(key):
        return None
    if key == "log":
        log = _vacuum_log(table.file, str(table.text("log")), ambient_pa)
        return float(_mean_over_time(log)) / MBAR_PA
    if key == "vacuum_gauge":
        return _gauge(table, ambient_pa / MBAR_PA)
    value = table.quantity(key, PRESSURE_MBAR)
    if key == "pressure_difference_mbar":
        return _difference(table, float(value or 0.0), ambient_pa / MBAR_PA)
    return _absolute(table, float(value or 0.0), ambient_pa / MBAR_PA)


def _difference(table: Table, drive: float, ambient: float) -> float:
    key = "pressure_difference_mbar"
    limit = ambient if table.has("ambient_mbar") else MAX_AMBIENT_MBAR
    if drive < 0:
        raise table.bad(
            key,
            "must be above 0: for a gauge that reads below zero write "
            f'vacuum_gauge = "{drive:g} mbar"',
        )
    if not 0 < drive <= limit:
        raise table.bad(
            key,
            f"must be above 0 and at most {limit:.0f}, all the air pressure can give: write the "
            "air pressure at the pot less the absolute pressure in the bag",
        )
    return drive


def _absolute(table: Table, bag: float, ambient: float) -> float:
    if bag < 0:
        raise table.bad(
            "bag_mbar",
            "must be at least 0, the absolute pressure in the bag: for a gauge that reads below "
            f'zero write vacuum_gauge = "{bag:g} mbar"',
        )
    if bag >= ambient:
        raise table.bad(
            "bag_mbar",
            f"must be below the air pressure ({ambient:.0f} mbar): write the absolute pressure in "
            "the bag",
        )
    if bag < LEAST_BAG_MBAR:
        others = other_units(bag, PRESSURE_MBAR, (LEAST_BAG_MBAR, 500.0))[:2]
        meant = f"; write {' or '.join(others)} in quotes if that is meant" if others else ""
        table.question(
            "bag_mbar",
            f"understood as {bag:g} mbar absolute, which no shop pump holds in a bag{meant}",
        )
    return ambient - bag


def _gauge(table: Table, ambient: float) -> float:
    key = "vacuum_gauge"
    example = 'must be what the gauge shows with its unit, such as "27 inHg", "-0.93 bar", "92 %"'
    text = table.values[key]
    if not isinstance(text, str):
        raise table.bad(key, f"needs its unit: {example}")
    try:
        number, unit = split_number(text, PRESSURE_MBAR)
    except ValueError:
        raise table.bad(key, example) from None
    if unit in ("%", "percent"):
        drive = ambient * abs(number) / 100.0
    elif unit in PRESSURE_MBAR.factors:
        drive = abs(number) * PRESSURE_MBAR.factors[unit]
    else:
        raise table.bad(key, f"needs its unit: {example}" if not unit else example)
    if not 0 < drive <= min(GAUGE_SLACK * ambient, MAX_AMBIENT_MBAR):
        raise table.bad(
            key,
            f"is {drive:.0f} mbar below the air pressure, of which there is {ambient:.0f} mbar: "
            "mend the reading or its unit",
        )
    table.understood.append(f'{table.label(key)} = "{text}": {drive:.0f} mbar of drive')
    return min(drive, ambient)


def _agree(table: Table, key: str, ways: dict[str, float]) -> None:
    """Refuse two statements of the drive that differ."""
    for other, drive in ways.items():
        if abs(drive - ways[key]) > AGREE_MBAR:
            raise table.bad(
                other,
                f"says {drive:.0f} mbar of drive, but {key} says {ways[key]:.0f} mbar: keep the "
                "one that is right",
            )


def _question(table: Table, key: str, drive: float, ambient: float) -> None:
    """Question a drive too weak for infusion: most often another kind of reading."""
    if drive >= LEAST_DRIVE_MBAR:
        return
    usual = f"understood as {drive:.0f} mbar of drive, where 800 to 1000 is usual"
    value = table.values[key]
    hints = []
    if key == "pressure_difference_mbar" and not isinstance(value, str):
        likely = (LEAST_DRIVE_MBAR, ambient)
        hints += [f'vacuum_gauge = "{text}"' for text in other_units(drive, PRESSURE_MBAR, likely)]
        if LEAST_DRIVE_MBAR <= drive / 100.0 * ambient <= ambient:
            hints.append(f'vacuum_gauge = "{value:g} %"')
        if LEAST_BAG_MBAR <= drive <= ambient - LEAST_DRIVE_MBAR:
            hints.append(f"bag_mbar = {value:g} for an absolute pressure")
    elif key == "bag_mbar":
        shown = value if isinstance(value, str) else f"{value:g} mbar"
        hints.append(f'vacuum_gauge = "{shown}" for a gauge that counts down from the air pressure')
    elif key == "log":
        hints.append(f"as column head one of {', '.join(COLUMNS)}, whichever the gauge shows")
    meant = f"; write {', or '.join(hints[:4])} if that is meant" if hints else ""
    table.question(key, usual + meant)


def _notes(drive: float, standard: bool, table: Table, key: str) -> list[str]:
    notes = []
    share = key == "vacuum_gauge" and "%" in str(table.values[key])
    if standard or (share and not table.has("ambient_mbar")):
        notes.append("air pressure taken as 1013 mbar: give [vacuum] ambient_mbar")
    if LEAST_DRIVE_MBAR <= drive < WEAK_DRIVE_MBAR:
        notes.append(f"the vacuum is weak: {drive:.0f} mbar of drive, where 800 to 1000 is usual")
    return notes


def _vacuum_log(file: Path, name: str, ambient_pa: float) -> Log:
    """Read a gauge log as driving pressure against time since resin start."""
    path = file.parent / name
    head = read_table(path)
    clock = head.pick(tuple(CLOCKS), "time_s, time_min or time_h")
    column = head.pick(tuple(COLUMNS), f"one of {', '.join(COLUMNS)}")
    time, reading = read_log(path, (clock, column))
    unit = COLUMNS[column]
    bag_pa = to_absolute_mbar(reading, unit, ambient_pa / MBAR_PA) * MBAR_PA
    if np.any(bag_pa < 0) or np.any(bag_pa > GAUGE_SLACK * ambient_pa):
        worst = reading[np.argmax(np.abs(bag_pa - ambient_pa / 2.0))]
        what = "write absolute pressure" if unit in ABSOLUTE else "check the unit of the gauge"
        raise bad_field(
            path,
            column,
            f"{worst:g}",
            f"must be from 0 to the air pressure ({ambient_pa / MBAR_PA:.0f} mbar): {what}",
        )
    drive_pa = np.maximum(ambient_pa - bag_pa, 0.0)
    if not np.any(drive_pa > 0):
        raise bad_field(path, column, f"{reading.min():g}", "shows no vacuum at all")
    return Log(time * CLOCKS[clock], drive_pa)


def _mean_over_time(log: Log) -> float:
    if len(log.time_s) == 1:
        return float(log.value[0])
    return float(np.trapezoid(log.value, log.time_s) / (log.time_s[-1] - log.time_s[0]))
