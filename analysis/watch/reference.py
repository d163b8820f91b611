"""The run beside good ones: ahead or behind, in mm and minutes, against their band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.runs.panels.good_run import Reference
from analysis.runs.repeat.band import USUAL_SD, Band, good_band
from vision.records import FloatArray

AT_END = 0.97
"""Share of the way the good runs are known from which on a late run is as far as they were."""


@dataclass(frozen=True)
class ReferenceComparison:
    """How the run stands against the good ones, now.

    Attributes
    ----------
    ahead_mm : float
        Positive when this run is ahead; once the good runs have ended, of where they ended.
    ahead_min : float or None
        The same in minutes; None where no good run got as far.
    low_mm, high_mm : float
        Band of the good runs at this time.
    inside : bool
    text : str
    """

    ahead_mm: float
    ahead_min: float | None
    low_mm: float
    high_mm: float
    inside: bool
    text: str


def band_mm(
    references: Sequence[Reference], time_s: FloatArray, repeat_sd: float = USUAL_SD
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Compute the middle of the good runs and their band at each time.

    Parameters
    ----------
    references : sequence of Reference
    time_s : ndarray of shape (K,)
    repeat_sd : float
        Relative standard deviation of permeability between lay-ups, as the panel states it; it
        widens the band of one or two runs where it is more than usual.

    Returns
    -------
    mean_mm, low_mm, high_mm : ndarray of shape (K,)
        NaN past the end of the good runs. The band is that of `analysis.runs.repeat.band`.
    """
    return good_band(references, max(USUAL_SD, repeat_sd)).front_mm(time_s)


def compare(
    references: Sequence[Reference], time_s: float, front_mm: float, repeat_sd: float = USUAL_SD
) -> ReferenceComparison | None:
    """Compare this run with the good ones; None where they had ended by now and it is as far."""
    band = good_band(references, max(USUAL_SD, repeat_sd))
    what = "the good run" if len(references) == 1 else f"{len(references)} good runs"
    mean, low, high = (float(v[0]) for v in band.front_mm(np.array([time_s])))
    if not np.isfinite(mean):
        return _late(band, time_s, front_mm, what)
    ahead = front_mm - mean
    minutes = None
    if front_mm <= band.distance_mm[-1]:
        clock, way = np.r_[0.0, band.middle_s], np.r_[0.0, band.distance_mm]
        first = band.middle_s[0] * (front_mm / band.distance_mm[0]) ** 2
        near = front_mm < band.distance_mm[0]
        there = first if near else float(np.interp(front_mm, way, clock))
        minutes = (there - time_s) / 60.0
    inside = low <= front_mm <= high
    side = "ahead of" if ahead >= 0 else "behind"
    tail = "" if minutes is None else f" ({abs(minutes):.1f} min)"
    judged = "inside their band" if inside else "OUTSIDE their band"
    _, usual_low, usual_high = band.front_mm(np.array([time_s]), usual=True)
    if inside and not usual_low[0] <= front_mm <= usual_high[0]:
        judged += ", which is wide for want of runs: like panels rarely differ so much"
    return ReferenceComparison(
        ahead, minutes, low, high, inside, f"{abs(ahead):.0f} mm{tail} {side} {what}, {judged}"
    )


def _late(band: Band, time_s: float, front_mm: float, what: str) -> ReferenceComparison | None:
    """Compare a run with good ones whose middle was at its end by now."""
    far = float(band.distance_mm[-1])
    if front_mm >= AT_END * far:
        return None
    low = float(np.interp(time_s, band.late_s, band.distance_mm))
    inside = front_mm >= low
    judged = "it may still be inside their band" if inside else "it is OUTSIDE their band"
    text = f"by now {what} had got to {far:.0f} mm, this run to {front_mm:.0f} mm: {judged}"
    return ReferenceComparison(front_mm - far, None, low, far, inside, text)
