"""How much of the part is left, until when, and whether that is before gel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.infusion.ahead.front_ahead import Ahead

FULL = 0.998
"""A part counts as full from this wet share on: a smaller rest is beneath what is seen."""


@dataclass(frozen=True)
class TimeLeft:
    """What is left of a filling.

    Attributes
    ----------
    left_share : float
        Dry share of the part's area.
    end_s, low_s, high_s : float
        When the last of it wets, in seconds since resin start, and the interval; infinity for
        never. Once full, the time at which the last cell was seen wet.
    filled : bool
    gel_s : float or None
        From resin start.
    margin_s : float or None
        Gel less end.
    before_gel : {"yes", "perhaps", "no", "not known"}
    """

    left_share: float
    end_s: float
    low_s: float
    high_s: float
    filled: bool
    gel_s: float | None
    margin_s: float | None
    before_gel: str


def time_left(ahead: Ahead, gel_s: float | None = None, doubt: float = 0.15) -> TimeLeft:
    """Work out what is left of a filling.

    Parameters
    ----------
    ahead : Ahead
    gel_s : float, optional
        From resin start.
    doubt : float
        Relative half-width of the interval of the time still to come.
    """
    cells = slice(0, ahead.links.cells)
    dry = ahead.dry[cells]
    left = ahead.dry_share
    filled = left <= 1.0 - FULL
    if filled:
        wet = ahead.time_s[cells][~dry]
        end = low = high = float(wet.max()) if wet.size else ahead.last_s
    else:
        end = float(ahead.time_s[cells][dry].max())
        to_come = end - ahead.last_s
        low, high = ahead.last_s + to_come * np.exp(-doubt), ahead.last_s + to_come * np.exp(doubt)
    before = "not known"
    if gel_s is not None:
        before = "yes" if high < gel_s else "no" if low > gel_s else "perhaps"
    margin = None if gel_s is None else gel_s - end
    return TimeLeft(left, end, float(low), float(high), filled, gel_s, margin, before)
