"""Numbers with the units a shop writes: "40 in", "0.3 Pa s", "27 inHg", "72 F", "1,5 mm"."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

_NUMBER_AND_UNIT = re.compile(r"^([-+]?(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:[eE][-+]?\d+)?)\s*(\D?.*)$")
_THOUSANDS = re.compile(r"^[-+]?[1-9]\d{0,2},\d{3}$")
_SAME = {
    "−": "-", "²": "2", "³": "3", "µ": "u", "μ": "u", "°": "", "º": "", "·": "", "⋅": "",
    "*": "", "^": "", "″": '"', "”": '"', "′": "'", "’": "'",
}  # fmt: skip
_POUND_KG, _INCH_M, _GRAVITY = 0.45359237, 0.0254, 9.80665
INCH_MM = 25.4
INHG_MBAR = INCH_MM * 1.33322387415
"""Millibar in a conventional inch of mercury, 3386.389 Pa (NIST SP 811, appendix B.8, from
memory)."""


@dataclass(frozen=True)
class Quantity:
    """A kind of value, the unit it is kept in, and the units it may be written in.

    Attributes
    ----------
    what : str
        As a message names it, e.g. ``"a length"``.
    unit : str
        Unit of a bare number and of the value that is kept.
    factors : mapping of str to float
        What one of each unit is in `unit`. Names are in lower case without blanks and dots.
    example : str
        How to write one.
    offsets : mapping of str to float
        What is added after the factor (temperatures).
    unit_needed : bool
        Whether a bare number is refused.
    """

    what: str
    unit: str
    factors: Mapping[str, float]
    example: str
    offsets: Mapping[str, float] = field(default_factory=dict)
    unit_needed: bool = False


def _named(names: Mapping[str, float], over: float = 1.0) -> dict[str, float]:
    """Spread ``"s sec seconds": 1.0`` over its names; each factor is divided by `over`."""
    return {name: factor / over for group, factor in names.items() for name in group.split()}


# Exact by definition: inch, foot, yard, pound, ounce, standard gravity, poise, darcy apart.
_SECONDS = {"s sec secs second seconds": 1.0, "min mins minute minutes": 60.0,
            "h hr hrs hour hours": 3600.0}  # fmt: skip
_MBAR = {
    "mbar hpa mb millibar": 1.0, "bar": 1000.0, "kpa": 10.0, "pa": 0.01, "inhg \"hg": INHG_MBAR,
    "mmhg": 1.33322387415, "torr": 1013.25 / 760.0, "cmhg": 13.3322387415,
    "psi": _POUND_KG * _GRAVITY / _INCH_M**2 / 100.0, "atm": 1013.25,
}  # fmt: skip

PLAIN = Quantity("a number", "", {}, "0.5")
LENGTH_MM = Quantity(
    "a length",
    "mm",
    _named({"mm": 1.0, "m meter metre meters metres": 1000.0, "cm": 10.0,
            "in inch inches \"": INCH_MM, "ft foot feet '": 304.8}),
    '400 or "40 in"',
)  # fmt: skip
AREA_M2 = Quantity(
    "an area",
    "m2",
    _named({"m2 sqm": 1.0, "cm2": 1e-4, "mm2": 1e-6, "ft2 sqft": 0.3048**2, "in2 sqin": 0.0254**2}),
    '1.5 or "16 ft2"',
)
TIME_S = Quantity("a time", "s", _named(_SECONDS), '30 or "0.5 min"')
TIME_MIN = Quantity("a time", "min", _named(_SECONDS, 60.0), '60 or "1 h"')
DURATION_S = Quantity("a time with its unit", "s", _named(_SECONDS), '"40 min"', unit_needed=True)
TEMPERATURE_C = Quantity(
    "a temperature",
    "C",
    {"c": 1.0, "degc": 1.0, "celsius": 1.0, "f": 5 / 9, "degf": 5 / 9, "fahrenheit": 5 / 9, "k": 1},
    '22 or "72 F"',
    {"f": -160 / 9, "degf": -160 / 9, "fahrenheit": -160 / 9, "k": -273.15},
)
PRESSURE_MBAR = Quantity("a pressure", "mbar", _named(_MBAR), '950 or "0.95 bar"')
VISCOSITY_MPAS = Quantity(
    "a viscosity",
    "mPa s",
    _named({"mpas cp cps": 1.0, "pas": 1000.0, "p poise": 100.0}),
    '300 or "0.3 Pa s"',
)
DENSITY_KG_M3 = Quantity(
    "a density",
    "kg/m3",
    _named({"kg/m3 kgm-3 g/l": 1.0, "g/cm3 g/cc g/ml kg/l kg/dm3 gcm-3": 1000.0,
            "lb/ft3": _POUND_KG / 0.3048**3}),
    '1100 or "1.1 g/cm3"',
)  # fmt: skip
AREAL_G_M2 = Quantity(
    "a weight per area",
    "g/m2",
    _named(
        {"g/m2 gsm gm-2": 1.0, "kg/m2": 1000.0, "oz/yd2 oz/sqyd": _POUND_KG / 16e-3 / 0.9144**2}
    ),
    '600 or "17.7 oz/yd2"',
)
MASS_KG = Quantity(
    "a weight",
    "kg",
    _named({"kg": 1.0, "g": 1e-3, "lb lbs pound pounds": _POUND_KG, "oz": _POUND_KG / 16}),
    '5 or "800 g"',
)
PERMEABILITY_M2 = Quantity(
    "a permeability",
    "m2",
    # A darcy is 9.869233e-13 m2 (NIST SP 811, appendix B.8, from memory).
    _named({"m2": 1.0, "mm2": 1e-6, "um2": 1e-12, "darcy d": 9.869233e-13}),
    "2e-10",
)
ANGLE_DEG = Quantity(
    "an angle", "degrees", _named({"deg degree degrees": 1.0, "rad": math.degrees(1)}), "30"
)
SHARE = Quantity("a share from 0 to 1", "", {"%": 0.01, "percent": 0.01}, '0.48 or "48 %"')
PERCENT = Quantity("a share in percent", "%", {"%": 1.0, "percent": 1.0}, '5 or "5 %"')


def read_quantity(value: object, kind: Quantity) -> float:
    """Return a value in the unit of its kind.

    Parameters
    ----------
    value : object
        A bare number, or text with a number and, if wanted, a unit. A decimal comma counts as a
        decimal point.
    kind : Quantity
        What is wanted.

    Raises
    ------
    ValueError
        With the rule that it breaks, as one clause of a message.

    Examples
    --------
    >>> read_quantity("0.3 Pa·s", VISCOSITY_MPAS), read_quantity("1,5 mm", LENGTH_MM)
    (300.0, 1.5)
    >>> round(read_quantity("27 inHg", PRESSURE_MBAR)), read_quantity(950, PRESSURE_MBAR)
    (914, 950.0)
    >>> read_quantity("5 days", DURATION_S)
    Traceback (most recent call last):
    ...
    ValueError: has the unit days: must be a time with its unit in s, min or h, such as "40 min"
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError(_rule(kind))
    if not isinstance(value, str):
        if kind.unit_needed:
            raise ValueError(f"needs its unit: {_rule(kind)}")
        if not math.isfinite(value):
            raise ValueError("must be a finite number")
        return float(value)
    number, unit = split_number(value, kind)
    if not unit and kind.unit_needed:
        raise ValueError(f"needs its unit: {_rule(kind)}")
    if not unit:
        return number
    if unit not in kind.factors:
        raise ValueError(f"has the unit {_unit_text(value)}: {_rule(kind)}")
    return number * kind.factors[unit] + kind.offsets.get(unit, 0.0)


def split_number(text: str, kind: Quantity = PLAIN) -> tuple[float, str]:
    """Return the number at the start of a text and the unit after it, in lower case.

    Raises
    ------
    ValueError
        If the text does not start with a number, or a comma may stand for thousands.

    Examples
    --------
    >>> split_number("-0,93 bar"), split_number("48 %"), split_number("12")
    ((-0.93, 'bar'), (48.0, '%'), (12.0, ''))
    """
    match = _NUMBER_AND_UNIT.match(_plain(text).strip())
    if match is None:
        raise ValueError(_rule(kind))
    digits, unit = match.groups()
    if _THOUSANDS.match(digits):
        whole, point = digits.replace(",", ""), digits.replace(",", ".")
        raise ValueError(f"may be {whole} or {point}: write the one that is meant")
    number = float(digits.replace(",", "."))
    if not math.isfinite(number):
        raise ValueError("must be a finite number")
    return number, re.sub(r"[\s.]", "", unit).lower()


def plain_number(text: str) -> float:
    """Return a number written by hand, without a unit; a decimal comma is understood.

    Raises
    ------
    ValueError
        If it is no number, not finite, or may be read in two ways.

    Examples
    --------
    >>> plain_number("12,5"), plain_number("1.2e-3")
    (12.5, 0.0012)
    """
    number, unit = split_number(text)
    if unit:
        raise ValueError("must be a number")
    return number


def shown(value: float, kind: Quantity) -> str:
    """Return a value with its unit as the user is told what was understood.

    Examples
    --------
    >>> shown(1016.0, LENGTH_MM), shown(0.48, SHARE), shown(2e-10, PERMEABILITY_M2)
    ('1016 mm', '0.48', '2e-10 m2')
    """
    return f"{value:.5g} {kind.unit}".strip()


def other_units(value: float, kind: Quantity, likely: tuple[float, float]) -> list[str]:
    """Return how a bare number might be meant: in units that bring it into the likely range.

    Examples
    --------
    >>> other_units(0.7, LENGTH_MM, (50, 20_000))
    ['0.7 m', '0.7 ft']
    """
    found: dict[float, str] = {}
    for unit, factor in kind.factors.items():
        meant = value * factor + kind.offsets.get(unit, 0.0)
        if likely[0] <= meant <= likely[1] and factor not in found:
            found[factor] = f"{value:g} {_SPELLED.get(unit, unit)}"
    return list(found.values())


_SPELLED = {
    "pas": "Pa s", "mpas": "mPa s", "p": "P", "cp": "cP", "inhg": "inHg", "mmhg": "mmHg",
    "kpa": "kPa", "pa": "Pa", "f": "F", "k": "K", "c": "C", "hpa": "hPa",
}  # fmt: skip


def _plain(text: str) -> str:
    return "".join(_SAME.get(letter, letter) for letter in text)


def _unit_text(text: str) -> str:
    match = _NUMBER_AND_UNIT.match(_plain(text).strip())
    return match.group(2).strip() if match else text


def _rule(kind: Quantity) -> str:
    shown_units: dict[float, str] = {}
    for unit, factor in kind.factors.items():
        shown_units.setdefault(factor, _SPELLED.get(unit, unit))
    units = list(shown_units.values())[:5]
    among = f" in {', '.join(units[:-1])} or {units[-1]}" if len(units) > 1 else ""
    return f"must be {kind.what}{among}, such as {kind.example}"
