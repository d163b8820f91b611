"""What gauge readings typed at the board say: the drawdown before the start, the vacuum after."""

from __future__ import annotations

import numpy as np

from analysis.shop.drawdown import assess_drawdown
from analysis.shop.gauge_log import GaugeLog, gauge_step
from vision.errors import WetlineError


def drawdown_text(
    readings: list[tuple[float, float]], start_clock_s: float | None
) -> tuple[str, str]:
    """Find whether the bag was tight before the start.

    Returns
    -------
    verdict : {"go", "look again", "no-go", ""}
    text : str
    """
    before = [(t, p) for t, p in readings if start_clock_s is None or t <= start_clock_s]
    if not before:
        return "", "No drawdown yet: pump off, then type the gauge reading each few minutes."
    array = np.array(sorted(dict(before).items()))
    if len(array) < 2:
        return "", f"{len(array)} of at least 2 gauge readings"
    time_s = array[:, 0] - array[0, 0]
    log = GaugeLog(time_s, array[:, 1], gauge_step(time_s, array[:, 1]), "mbar")
    try:
        found = assess_drawdown(log)
    except WetlineError as error:
        return "", str(error)
    return found.verdict, found.reason


def vacuum_lost(
    readings: list[tuple[float, float]], start_clock_s: float | None, ambient_mbar: float
) -> float:
    """Share of the driving pressure lost since resin start, from the last reading after it."""
    if start_clock_s is None:
        return 0.0
    before = [p for t, p in readings if t <= start_clock_s]
    after = [p for t, p in readings if t > start_clock_s]
    if not after:
        return 0.0
    best = min([*before[-1:], *after])
    pull = ambient_mbar - best
    return max(0.0, (after[-1] - best) / pull) if pull > 0 else 0.0
