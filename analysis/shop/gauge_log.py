"""Vacuum logs in whatever unit the gauge shows, to absolute pressure."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.panel.tables.gauge_units import (
    CLOCKS,
    COLUMNS,
    STANDARD_MBAR,
    to_absolute_mbar,
)
from vision.common.csv_table import number_column, read_table
from vision.errors import WetlineError, bad_field
from vision.records import FloatArray


@dataclass(frozen=True)
class GaugeLog:
    """Absolute pressure against time; `step_mbar` is the gauge's smallest step seen."""

    time_s: FloatArray
    bag_mbar: FloatArray
    step_mbar: float
    unit: str


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
    clock = next((name for name in CLOCKS if name in table), None)
    if clock is None:
        raise bad_field(path, "header", ", ".join(table), "needs a column time_s or time_min")
    column = next((name for name in COLUMNS if name in table), None)
    if column is None and "reading" in table:
        column = "reading"
    if column is None:
        raise bad_field(
            path,
            "header",
            ", ".join(table),
            f"needs a pressure column: {', '.join(COLUMNS)}, or reading with --unit",
        )
    kind = unit or COLUMNS.get(column)
    if kind is None:
        raise WetlineError(f"{path}: column reading: say what it shows with --unit")
    time = number_column(path, table, clock) * CLOCKS[clock]
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
