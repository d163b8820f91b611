"""A front on a part that stands still though the plan has it going on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.records import FloatArray

STILL_SHARE = 0.15
"""It stands when less than this share of what was due has come."""
LEAST_DUE, LEAST_DUE_SD = 0.02, 5.0
"""Wet share of the part that must have failed to come, and the same in standard uncertainties:
what is due by less may be a place that is tighter than planned. Common practice, no source."""
STANDS_WITHIN = 0.01
"""It stands from where the wet share first came within this share of where it ends up."""
FEWEST_STANDING, FEWEST_MOVING = 4, 3
"""Looks at a front that stands, as what one or two show may be a hand, and at one that moves."""
NEARLY_FULL = 0.97
"""From this wet share on a front that stands has arrived, or has a dry spot behind it."""


@dataclass(frozen=True)
class Standstill:
    """Where a front came to a stop.

    Attributes
    ----------
    share : float
        Wet share of the part.
    since_s : float
        Seconds since resin start.
    due : float
        Wet share that should have come since and did not.
    """

    share: float
    since_s: float
    due: float


def find_standstill(
    time_s: FloatArray,
    wet_share: FloatArray,
    sd: float,
    arrival_s: FloatArray,
    weight: FloatArray,
) -> Standstill | None:
    """Find whether the front stands still where the plan has it going on.

    Parameters
    ----------
    time_s, wet_share : ndarray of shape (K,)
        Looks in time order, seconds since resin start; NaN is left out.
    sd : float
        Standard uncertainty of the wet share.
    arrival_s : ndarray of shape (N,)
        The plan's arrival in each cell; infinity for never.
    weight : ndarray of shape (N,)
        Area of each cell.

    Returns
    -------
    standstill : Standstill or None

    Notes
    -----
    The plan is taken at the pace that the run had until then: what it wets from there on is due.
    So a front that slows because the plan has it slow is none.

    Examples
    --------
    >>> arrival_s, area = np.linspace(0.0, 1000.0, 200), np.ones(200)
    >>> time_s = np.arange(40.0, 800.0, 40.0)
    >>> find_standstill(time_s, time_s / 1000, 0.002, arrival_s, area) is None
    True
    >>> stopped = np.minimum(time_s, 400.0) / 1000
    >>> round(find_standstill(time_s, stopped, 0.002, arrival_s, area).share, 2)
    0.4
    """
    use = np.isfinite(wet_share) & (time_s > 0) & (wet_share > 0)
    time, share = time_s[use], wet_share[use]
    if len(time) < FEWEST_STANDING + FEWEST_MOVING or share[-1] > NEARLY_FULL:
        return None
    level = float(np.median(share[-FEWEST_STANDING:]))
    first = int(np.argmax(share >= (1.0 - STANDS_WITHIN) * level))
    if len(time) - first < FEWEST_STANDING or first < FEWEST_MOVING:
        return None
    order = np.argsort(arrival_s)
    planned_s, planned = arrival_s[order], np.cumsum(weight[order]) / float(weight.sum())
    then_s = float(planned_s[min(int(np.searchsorted(planned, share[first])), len(planned) - 1)])
    if not 0 < then_s < np.inf:
        return None
    now_s = then_s * float(time[-1] / time[first])
    due = float(weight[arrival_s <= now_s].sum() / weight.sum()) - float(share[first])
    come = float(share[-1] - share[first])
    if due < max(LEAST_DUE, LEAST_DUE_SD * sd) or come > STILL_SHARE * due:
        return None
    return Standstill(level, float(time[first]), due - come)
