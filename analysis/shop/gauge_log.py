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
from vision.records import BoolArray, FloatArray

LEAST_AMBIENT_MBAR, MOST_AMBIENT_MBAR = 500.0, 1085.0
"""The highest place where anybody laminates, and a little above the highest air pressure on record
(from memory)."""
WARMTH = "temperature_c"
FINEST = 10_000
"""Readings are written to at most this part of one."""
CHANCE = 0.125
"""How likely chance may make readings differ by whole steps before that is believed."""


@dataclass(frozen=True)
class GaugeLog:
    """Absolute pressure against time.

    Attributes
    ----------
    time_s, bag_mbar : ndarray of shape (N,), float
    step_mbar : float
        The gauge's smallest step.
    unit : str
        What the gauge shows.
    ambient_mbar : float
        Air pressure.
    temperature_c : ndarray of shape (N,), float, or None
        Of the shop, where it was logged.
    """

    time_s: FloatArray
    bag_mbar: FloatArray
    step_mbar: float
    unit: str
    ambient_mbar: float = STANDARD_MBAR
    temperature_c: FloatArray | None = None


def read_gauge(
    path: Path, unit: str | None = None, ambient_mbar: float = STANDARD_MBAR
) -> GaugeLog:
    """Read a drawdown log.

    Columns: ``time_s``, ``time_min`` or ``time_h``, and one of ``bag_mbar``, ``bag_kpa``,
    ``vacuum_inhg``, ``vacuum_percent``, ``vacuum_mbar``, ``vacuum_kpa``, ``vacuum_bar``, or
    ``reading`` with `unit`. ``temperature_c``, the shop's, may stand beside them.

    Raises
    ------
    WetlineError
        If a column is missing, or a reading is below nothing or above the air pressure.
    """
    if not LEAST_AMBIENT_MBAR <= ambient_mbar <= MOST_AMBIENT_MBAR:
        raise WetlineError(
            f"--ambient-mbar {ambient_mbar:g}: must be the air pressure in the shop, "
            f"{LEAST_AMBIENT_MBAR:g} to {MOST_AMBIENT_MBAR:g} mbar"
        )
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
    warmth = number_column(path, table, WARMTH) if WARMTH in table else None
    order = np.argsort(time, kind="stable")
    time, reading = time[order], reading[order]
    if np.any(np.diff(time) <= 0):
        raise bad_field(path, clock, "twice the same", "keep one row for each time")
    bag = to_absolute_mbar(reading, kind, ambient_mbar)
    _check(path, column, reading, bag, ambient_mbar)
    step = gauge_step(time, reading)
    ends = to_absolute_mbar(np.array([0.0, step]), kind, ambient_mbar)
    step_mbar = float(abs(ends[1] - ends[0]))
    warmth = None if warmth is None else warmth[order]
    return GaugeLog(time, bag, step_mbar, kind, ambient_mbar, warmth)


def gauge_step(time_s: FloatArray, reading: FloatArray) -> float:
    """Find the step of the gauge from what it showed, in the unit of the readings.

    Parameters
    ----------
    time_s, reading : ndarray of shape (N,), float
        Readings are taken to be written to at most four decimals.

    Returns
    -------
    step : float
        The greatest of which all readings differ by whole numbers. Where that may be chance, or
        comes of a steady rise read at even times, the last decimal written.

    Examples
    --------
    >>> minutes = np.arange(5.0)
    >>> gauge_step(minutes, np.array([5.0, 5.0, 6.0, 6.0, 8.0]))
    1.0
    >>> gauge_step(minutes, np.array([5.0, 7.5, 10.0, 12.5, 15.0]))
    0.1
    """
    whole = np.rint((reading - reading[0]) * FINEST).astype(np.int64)
    written = next(d for d in (1, 10, 100, 1000, FINEST) if not np.any(_off(reading * d)))
    common = int(np.gcd.reduce(np.abs(whole)))
    times_written = common * written / FINEST
    if common == 0 or times_written <= 1:
        return 1.0 / written
    by_chance = (1.0 / times_written) ** (len(reading) - 1)
    line = reading[0] + (reading[-1] - reading[0]) * (time_s - time_s[0]) / np.ptp(time_s)
    straight = np.max(np.abs(reading - line)) < 0.5 / written
    return 1.0 / written if straight or by_chance > CHANCE else common / FINEST


def _off(value: FloatArray) -> BoolArray:
    return np.abs(value - np.rint(value)) > 1e-6 * np.maximum(np.abs(value), 1.0)


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
