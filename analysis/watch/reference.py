"""The run beside good ones: ahead or behind, in mm and minutes, against their band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.special import stdtrit

from analysis.fit.mixture_regression import Z_95
from vision.errors import WetlineError
from vision.records import FloatArray

MANY = 4
"""From this many good runs on their own spread gives the band."""


@dataclass(frozen=True)
class Reference:
    """One good run: front against time since resin start, both rising."""

    name: str
    time_s: FloatArray
    front_mm: FloatArray


@dataclass(frozen=True)
class ReferenceComparison:
    """How the run stands against the good ones, now.

    Attributes
    ----------
    ahead_mm : float
        Positive when this run is ahead.
    ahead_min : float or None
        The same in minutes; None where no good run got as far.
    low_mm, high_mm : float
        Band in which 95 % of good runs lie at this time.
    inside : bool
    text : str
    """

    ahead_mm: float
    ahead_min: float | None
    low_mm: float
    high_mm: float
    inside: bool
    text: str


def read_reference(folder: Path) -> Reference:
    """Read a good run from its panel folder's results.

    Raises
    ------
    WetlineError
        If it was not tracked yet or never moved.
    """
    from vision.front.front_csv import read_front_csv

    curve = read_front_csv(folder / "results" / "front.csv")
    return reference_from(folder.resolve().name, curve.time_s, curve.front_mean_mm)


def reference_from(name: str, time_s: FloatArray, front_mm: FloatArray) -> Reference:
    """Build a reference from a curve; what lies before resin start or after the end goes."""
    good = np.isfinite(time_s) & np.isfinite(front_mm) & (time_s > 0) & (front_mm > 0)
    t, x = time_s[good], np.maximum.accumulate(front_mm[good]) if good.any() else front_mm[:0]
    if len(t) < 3 or x[-1] <= 0:
        raise WetlineError(f"{name}: has no moving front to compare with: choose another run")
    moving = np.r_[True, np.diff(x) > 1e-6]
    return Reference(name, np.r_[0.0, t[moving]], np.r_[0.0, x[moving]])


def band_mm(
    references: Sequence[Reference], time_s: FloatArray, repeat_sd: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Compute the mean of the good runs and the band of the next one at each time.

    Parameters
    ----------
    references : sequence of Reference
    time_s : ndarray of shape (K,)
    repeat_sd : float
        Relative standard deviation of permeability between lay-ups, for fewer than four runs.

    Returns
    -------
    mean_mm, low_mm, high_mm : ndarray of shape (K,)
        NaN past the end of the shortest run.

    Notes
    -----
    Source: prediction interval of one more observation (textbook): mean +- t s sqrt(1 + 1/n).
    With few runs s is ``repeat_sd / 2`` of the distance, which goes as the root of permeability.
    """
    fronts = np.array([np.interp(time_s, r.time_s, r.front_mm, right=np.nan) for r in references])
    n = len(references)
    mean = fronts.mean(axis=0)
    if n >= MANY:
        half = float(stdtrit(n - 1, 0.975)) * fronts.std(axis=0, ddof=1) * np.sqrt(1 + 1 / n)
    else:
        half = Z_95 * 0.5 * repeat_sd * mean * np.sqrt(1 + 1 / n)
    half = np.maximum(half, 2.0)
    return mean, np.maximum(mean - half, 0.0), mean + half


def compare(
    references: Sequence[Reference], time_s: float, front_mm: float, repeat_sd: float
) -> ReferenceComparison | None:
    """Compare this run with the good ones; None where they had ended by now."""
    mean, low, high = (float(v[0]) for v in band_mm(references, np.array([time_s]), repeat_sd))
    if not np.isfinite(mean):
        return None
    ahead = front_mm - mean
    grid = np.linspace(0.0, min(float(r.time_s[-1]) for r in references), 400)
    middle = band_mm(references, grid, repeat_sd)[0]
    minutes = None
    if front_mm <= middle[-1]:
        there = float(np.interp(front_mm, np.maximum.accumulate(middle), grid))
        minutes = (there - time_s) / 60.0
    inside = low <= front_mm <= high
    side = "ahead of" if ahead >= 0 else "behind"
    what = "the good run" if len(references) == 1 else f"{len(references)} good runs"
    tail = "" if minutes is None else f" ({abs(minutes):.1f} min)"
    judged = "inside their band" if inside else "OUTSIDE their band"
    return ReferenceComparison(
        ahead, minutes, low, high, inside, f"{abs(ahead):.0f} mm{tail} {side} {what}, {judged}"
    )
