"""What a vacuum gauge shows, in absolute pressure.

Tested in tests/analysis/shop/test_drawdown.py.
"""

from __future__ import annotations

import numpy as np

from vision.common.quantity import INHG_MBAR, PRESSURE_MBAR, read_quantity, split_number
from vision.records import FloatArray

STANDARD_MBAR = 1013.25
"""Standard atmosphere at sea level (ISO 2533)."""

ABSOLUTE = {"mbar": 1.0, "kpa": 10.0, "pa": 0.01}
VACUUM = {
    "vacuum_mbar": 1.0,
    "vacuum_kpa": 10.0,
    "vacuum_bar": 1000.0,
    "inhg": INHG_MBAR,
}
UNITS = (*ABSOLUTE, *VACUUM, "percent")
"""mbar, kpa, pa are absolute; vacuum_mbar, vacuum_kpa, vacuum_bar, inhg count down from the air
pressure; percent is the share of the air pressure taken away."""

COLUMNS = {
    "bag_mbar": "mbar",
    "pressure_mbar": "mbar",
    "bag_kpa": "kpa",
    "bag_pa": "pa",
    "vacuum_mbar": "vacuum_mbar",
    "vacuum_kpa": "vacuum_kpa",
    "vacuum_bar": "vacuum_bar",
    "vacuum_inhg": "inhg",
    "vacuum_percent": "percent",
}
"""Columns of a gauge log and the unit of each."""
CLOCKS = {"time_s": 1.0, "time_min": 60.0, "time_h": 3600.0}
"""Columns of time in a log, and the seconds in one of each."""


def to_absolute_mbar(reading: FloatArray, unit: str, ambient_mbar: float) -> FloatArray:
    """Return gauge readings as absolute mbar.

    Parameters
    ----------
    reading : ndarray of shape (N,), float
    unit : str
        One of `UNITS`.
    ambient_mbar : float
        Air pressure, from which a vacuum gauge counts down.

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
        return ambient_mbar * (1.0 - np.abs(value) / 100.0)
    # Many gauges show a vacuum below zero; the sign says nothing more.
    return ambient_mbar - np.abs(value) * VACUUM[unit]


def typed_bag_mbar(text: str, ambient_mbar: float) -> float:
    """Return the absolute pressure in the bag from a gauge reading typed by hand.

    A bare number is absolute mbar. Inches of mercury, percent, and anything below zero count down
    from the air pressure, as such gauges do.

    Raises
    ------
    ValueError
        With the rule, if it is no reading.

    Examples
    --------
    >>> typed_bag_mbar("12,5", 1000.0), round(typed_bag_mbar("29 inHg", 1013.25), 1)
    (12.5, 31.2)
    >>> round(typed_bag_mbar("-0.97 bar", 1000.0), 6), round(typed_bag_mbar("97 %", 1000.0), 6)
    (30.0, 30.0)
    """
    number, unit = split_number(text, PRESSURE_MBAR)
    if unit in ("%", "percent"):
        return ambient_mbar * (1.0 - abs(number) / 100.0)
    value = read_quantity(text, PRESSURE_MBAR)
    down = number < 0 or unit in ("inhg", '"hg')
    return ambient_mbar - abs(value) if down else value
