"""Vacuum logs in whatever unit the gauge shows, to absolute pressure."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.panel.logs import number_column, read_table
from vision.errors import WetlineError, bad_field
from vision.records import FloatArray

INHG_MBAR = 33.8639
"""Millibar in one inch of mercury at 0 C."""
STANDARD_MBAR = 1013.25

ABSOLUTE = {"mbar": 1.0, "kpa": 10.0, "pa": 0.01}
VACUUM = {"vacuum_mbar": 1.0, "vacuum_kpa": 10.0, "inhg": INHG_MBAR}
UNITS = (*ABSOLUTE, *VACUUM, "percent")
"""mbar, kpa, pa are absolute; vacuum_mbar, vacuum_kpa, inhg count down from the air pressure;
percent is the share of the air pressure taken away."""

_COLUMNS = {
    "bag_mbar": "mbar",
    "pressure_mbar": "mbar",
    "bag_kpa": "kpa",
    "bag_pa": "pa",
    "vacuum_mbar": "vacuum_mbar",
    "vacuum_kpa": "vacuum_kpa",
    "vacuum_inhg": "inhg",
    "vacuum_percent": "percent",
}
_CLOCKS = {"time_s": 1.0, "time_min": 60.0, "time_h": 3600.0}


@dataclass(frozen=True)
class GaugeLog:
    """Absolute pressure against time; `step_mbar` is the gauge's smallest step seen."""

    time_s: FloatArray
    bag_mbar: FloatArray
    step_mbar: float
    unit: str


def to_absolute_mbar(reading: FloatArray, unit: str, ambient_mbar: float) -> FloatArray:
    """Turn gauge readings into absolute mbar.

    Examples
    --------
    >>> float(to_absolute_mbar(np.array(29.0), "inhg", 1013.25).round(2))
    31.2
    >>> float(to_absolute_mbar(np.array(97.0), "percent", 1000.0).round(6))
    30.0
    """
    value = np.asarray(reading, dtype=float)
    if unit in ABSOLUTE:
        return value * ABSOLUTE[unit]
    if unit == "percent":
        return ambient_mbar * (1.0 - value / 100.0)
    # Many gauges show a vacuum below zero; the sign says nothing more.
    return ambient_mbar - np.abs(value) * VACUUM[unit]


def read_gauge(
    path: Path, unit: str | None = None, ambient_mbar: float = STANDARD_MBAR
) -> GaugeLog:
    """Read a drawdown log.

    Columns: ``time_s``, ``time_min`` or ``time_h``, and one of ``bag_mbar``, ``bag_kpa``,
    ``vacuum_inhg``, ``vacuum_percent``, ``vacuum_mbar``, ``vacuum_kpa``, or ``reading`` with
    `unit`.

    Raises
    ------
    WetlineError
        If a column is missing, or a reading is below nothing or above the air pressure.
    """
    table = read_table(path)
    clock = next((name for name in _CLOCKS if name in table), None)
    if clock is None:
        raise bad_field(path, "header", ", ".join(table), "needs a column time_s or time_min")
    column = next((name for name in _COLUMNS if name in table), None)
    if column is None and "reading" in table:
        column = "reading"
    if column is None:
        raise bad_field(
            path,
            "header",
            ", ".join(table),
            f"needs a pressure column: {', '.join(_COLUMNS)}, or reading with --unit",
        )
    kind = unit or _COLUMNS.get(column)
    if kind is None:
        raise WetlineError(f"{path}: column reading: say what it shows with --unit")
    time = number_column(path, table, clock) * _CLOCKS[clock]
    reading = number_column(path, table, column)
    order = np.argsort(time, kind="stable")
    time, reading = time[order], reading[order]
    if np.any(np.diff(time) <= 0):
        raise bad_field(path, clock, "twice the same", "keep one row for each time")
    bag = to_absolute_mbar(reading, kind, ambient_mbar)
    _check(path, column, reading, bag, ambient_mbar)
    return GaugeLog(time, bag, _step_mbar(reading, kind, ambient_mbar), kind)


def _step_mbar(reading: FloatArray, unit: str, ambient_mbar: float) -> float:
    """Step of the gauge: the greatest of which all readings differ by whole numbers.

    Readings are taken to be written to at most four decimals.
    """
    whole = np.rint((reading - reading[0]) * 1e4).astype(np.int64)
    step = float(np.gcd.reduce(np.abs(whole))) / 1e4
    ends = to_absolute_mbar(np.array([0.0, step]), unit, ambient_mbar)
    return float(abs(ends[1] - ends[0]))


def _check(
    path: Path, column: str, reading: FloatArray, bag: FloatArray, ambient_mbar: float
) -> None:
    wrong = (bag < -1.0) | (bag > 1.02 * ambient_mbar)
    if np.any(wrong):
        at = int(np.argmax(wrong))
        rule = "is below nothing" if bag[at] < 0 else "is above the air pressure"
        raise bad_field(
            path,
            f"row {at + 2} {column}",
            f"{reading[at]:g}",
            f"{rule} ({ambient_mbar:.0f} mbar): check the unit (--unit) and --ambient-mbar",
        )
