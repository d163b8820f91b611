"""Numbers in words, rounded to the side that misleads nobody."""

from __future__ import annotations

import math
from typing import Literal

Side = Literal["near", "down", "up"]
_SLACK = 1e-9


def rounded(value: float, decimals: int = 0, side: Side = "near") -> str:
    """Return a number as text with so many decimals, never as ``-0``.

    Parameters
    ----------
    value : float
    decimals : int
    side : {"near", "down", "up"}
        A bound is rounded away from the estimate it bounds: an upper one up, a lower one down.
        Near: halves away from zero, as people do.

    Examples
    --------
    >>> rounded(31.64), rounded(31.64, side="down"), rounded(31.02, 1, "up"), rounded(-0.04, 1)
    ('32', '31', '31.1', '0.0')
    >>> rounded(30.5), rounded(2.25, 1), rounded(-0.5)
    ('31', '2.3', '-1')
    """
    if not math.isfinite(value):
        return "never" if value > 0 else "not known"
    scale = 10.0**decimals
    step = value * scale
    whole = {
        "near": math.copysign(math.floor(abs(step) + 0.5 + _SLACK), value),
        "down": math.floor(step + _SLACK * max(1.0, abs(step))),
        "up": math.ceil(step - _SLACK * max(1.0, abs(step))),
    }[side]
    text = f"{whole / scale:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


def minutes(seconds: float, side: Side = "near") -> str:
    """Return a time in minutes as a shop says it; infinity is never.

    Parameters
    ----------
    seconds : float
    side : {"near", "down", "up"}
        As in `rounded`.

    Examples
    --------
    >>> minutes(2400.0), minutes(45.0), minutes(45.0, "down"), minutes(float("inf"))
    ('40 min', '0.8 min', '0.7 min', 'never')
    """
    if math.isinf(seconds) and seconds > 0:
        return "never"
    return f"{rounded(seconds / 60.0, minute_decimals(seconds), side)} min"


def lapse(seconds: float) -> str:
    """Return how long something lasts, whatever its sign: seconds, and minutes from two on.

    Examples
    --------
    >>> lapse(-12.2), lapse(119.0), lapse(351.0), lapse(2400.0)
    ('12 s', '119 s', '5.9 min', '40 min')
    """
    span = abs(seconds)
    return minutes(span) if span >= 120.0 else f"{rounded(span)} s"


def minute_decimals(seconds: float) -> int:
    """Return the decimals that suit a time in minutes: one below ten minutes."""
    return 0 if seconds / 60.0 >= 9.95 else 1


def scientific(value: float, decimals: int = 2, side: Side = "near") -> str:
    """Return a positive number as ``1.23e-10``, rounded to a side.

    Examples
    --------
    >>> scientific(1.2345e-10), scientific(1.2301e-10, side="up"), scientific(9.999e-11, 1, "up")
    ('1.23e-10', '1.24e-10', '1.0e-10')
    """
    if not value > 0 or not math.isfinite(value):
        return f"{value:.{decimals}e}"
    power = math.floor(math.log10(value))
    mantissa = float(rounded(value / 10.0**power, decimals, side))
    return f"{mantissa * 10.0**power:.{decimals}e}"
