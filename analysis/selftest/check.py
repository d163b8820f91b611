"""One published value and what this installation finds for it.

Tested in tests/analysis/selftest/test_report.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Check:
    """A value to be found again.

    Attributes
    ----------
    what : str
        What is worked out.
    source : str
        Where the value stands; "from memory" where it was not looked up again, "worked out" where
        the source has the formula and the number comes from a second, independent way.
    expected : float
    unit : str
        Empty for a plain number.
    within : float
        How far off it may be, in the unit.
    find : callable
        Works it out.
    digits : int
        Digits that are shown.
    """

    what: str
    source: str
    expected: float
    unit: str
    within: float
    find: Callable[[], float]
    digits: int = 6


@dataclass(frozen=True)
class Result:
    """What came out of a check.

    Attributes
    ----------
    what, source, expected, within, found : str
        As they are shown.
    ok : bool
    """

    what: str
    source: str
    expected: str
    within: str
    found: str
    ok: bool


def run_check(check: Check) -> Result:
    """Find a value again and compare; a fault of any kind is a check that fails."""
    try:
        value = float(check.find())
    except Exception as error:
        found, ok = f"fault: {type(error).__name__}: {error}", False
    else:
        found = _shown(value, check)
        ok = math.isfinite(value) and abs(value - check.expected) <= check.within
    within = f"{check.within:.2g}" if check.within else "exactly"
    return Result(check.what, check.source, _shown(check.expected, check), within, found, ok)


def _shown(value: float, check: Check) -> str:
    return f"{value:.{check.digits}g} {check.unit}".rstrip()
