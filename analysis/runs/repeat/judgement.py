"""A run held against the band of good ones: in or out, when, where, and what usually does that."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.runs.panels.good_run import Reference
from analysis.runs.repeat.band import Band
from vision.records import FloatArray

HOLD = 3
"""So many places in a row outside the band count as having left it; one may be a misread photo."""
EARLY_SHARE = 0.25
"""A run that is off by here was off from the start."""
STEADY = 0.35
"""Share by which the lag may change over the run and still be the same throughout."""

BURST_SHARE = 0.6
"""Share of the whole lag that came within a tenth of the way when it came at once."""
STOOD_SHARE = 0.1
"""Share of the run's time for which the front of a stalled run stood still at the end."""

SLOW_CAUSES = {
    "from the start": "resin colder or thicker than usual, less vacuum, a line pinched from the "
    "start, flow media that ends too early, or a denser or thicker stack",
    "more and more": "resin that thickens (age of the pot, warm shop, wrong hardener), a vacuum "
    "that sags, a feed line that clogs or a pot that runs low",
    "at once": "a pinched line, an empty pot, a leak that opened, or a clamp closed too early",
}
FAST_CAUSES = {
    "from the start": "resin warmer or thinner than usual, a layer missing, flow media that "
    "reaches too far, or a resin start noted too late",
    "more and more": "an edge along which resin races, or a bag that bridges a corner",
    "at once": "an edge or a fold that has opened for the resin, or a misread photo",
}
"""What usually does it: common practice, no source."""


@dataclass(frozen=True)
class RunJudgement:
    """A run beside the band.

    Attributes
    ----------
    word : {"in", "out", "in, but", "cannot tell"}
        "in, but" where the band is wide only because the good runs are few, and the usual scatter
        of like panels would not explain the run.
    side : {"", "slow", "fast"}
    left_mm, left_s : float or None
        Where and when it left the band.
    back_mm : float or None
        Where it came back for good; None where it did not.
    late_s : float or None
        How much later than the middle good run at the place where it left; negative is earlier.
    manner : str
        "from the start", "more and more" or "at once"; empty inside.
    causes : str
    judged_mm : float
        How far the band could be held against it.
    end_ratio : float or None
        Time over that of the middle good run, at the last place judged.
    """

    word: str
    side: str = ""
    left_mm: float | None = None
    left_s: float | None = None
    back_mm: float | None = None
    late_s: float | None = None
    manner: str = ""
    causes: str = ""
    judged_mm: float = 0.0
    end_ratio: float | None = None


def judge_run(band: Band, run: Reference) -> RunJudgement:
    """Judge a run by the band of good runs.

    Parameters
    ----------
    band : Band
    run : Reference
        On the same clock as the band's runs.

    Returns
    -------
    RunJudgement

    Notes
    -----
    A front that stood still is late wherever the band's late end has passed before the run was
    last looked at.
    """
    clock = run.passed_s(band.distance_mm)
    passed = np.isfinite(clock)
    due = ~passed & (band.late_s < run.last_s)
    clock = np.where(due, run.last_s, clock)
    seen = np.isfinite(clock)
    if passed.sum() < HOLD:
        return RunJudgement("cannot tell", judged_mm=float(run.front_mm[-1]))
    clock, distance = clock[seen], band.distance_mm[seen]
    middle = band.middle_s[seen]
    judged, ratio = float(distance[-1]), float(clock[-1] / middle[-1])
    side = _sides(clock, band.early_s[seen], band.late_s[seen])
    at = _first_held(side)
    if at is None:
        beyond = _first_held(_sides(clock, band.usual_early_s[seen], band.usual_late_s[seen]))
        if not band.own or beyond is None:
            return RunJudgement("in", judged_mm=judged, end_ratio=ratio)
        at, word = beyond, "in, but"
        side = _sides(clock, band.usual_early_s[seen], band.usual_late_s[seen])
    else:
        word = "out"
    slow = side[at] > 0
    lag = np.log(clock / middle)[passed[seen]]
    stood = run.last_s - float(run.time_s[-1]) > STOOD_SHARE * run.last_s
    manner = "at once" if slow and stood and at >= EARLY_SHARE * len(lag) else _manner(lag)
    outside = np.flatnonzero(side != 0)
    back = int(outside[-1]) + 1
    return RunJudgement(
        word=word,
        side="slow" if slow else "fast",
        left_mm=float(distance[at]),
        left_s=float(clock[at]),
        back_mm=float(distance[back]) if back <= len(distance) - HOLD else None,
        late_s=float(clock[at] - middle[at]),
        manner=manner,
        causes=(SLOW_CAUSES if slow else FAST_CAUSES)[manner],
        judged_mm=judged,
        end_ratio=ratio,
    )


def _sides(clock: FloatArray, early: FloatArray, late: FloatArray) -> FloatArray:
    """Return 1 where late, -1 where early, 0 inside."""
    return np.where(clock > late, 1.0, np.where(clock < early, -1.0, 0.0))


def _first_held(side: FloatArray) -> int | None:
    """Return the first place from which `HOLD` places in a row lie on one side outside."""
    for i in range(len(side) - HOLD + 1):
        if side[i] != 0 and np.all(side[i : i + HOLD] == side[i]):
            return i
    return None


def _manner(lag: FloatArray) -> str:
    """Return how the lag came about: there from the start, growing, or at once."""
    count = len(lag)
    width = max(int(EARLY_SHARE * count), HOLD)
    first, last = float(np.median(lag[:width])), float(np.median(lag[-width:]))
    same_side = first * last > 0
    if same_side and (abs(last - first) <= STEADY * max(abs(first), abs(last))):
        return "from the start"
    if same_side and abs(first) > abs(last):
        return "from the start"
    window = max(count // 10, 2)
    burst = float(np.max(np.abs(lag[window:] - lag[:-window]))) if count > window else 0.0
    return "at once" if burst > BURST_SHARE * abs(last - first) else "more and more"
