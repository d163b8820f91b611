"""One run as a curve that can be held against others: when the front passed each distance."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vision.errors import WetlineError
from vision.records import FloatArray


@dataclass(frozen=True)
class Reference:
    """One run: front against time since resin start, both rising.

    Attributes
    ----------
    name : str
    time_s, front_mm : ndarray of shape (K,)
        From (0, 0); rows on which the front stood still are left out.
    last_s : float
        How long it was watched; the front may have stood still at the end.
    """

    name: str
    time_s: FloatArray
    front_mm: FloatArray
    last_s: float = 0.0

    def passed_s(self, distance_mm: FloatArray) -> FloatArray:
        """Return when the front passed each distance, in s; NaN where it never got so far."""
        return np.interp(distance_mm, self.front_mm, self.time_s, right=np.nan)


def read_reference(folder: Path) -> Reference:
    """Read a run from its panel folder's results.

    Raises
    ------
    WetlineError
        If it was not tracked yet or never moved.
    """
    from vision.front.front_csv import read_front_csv

    curve = read_front_csv(folder / "results" / "front.csv")
    return reference_from(folder.resolve().name, curve.time_s, curve.front_mean_mm)


def reference_from(name: str, time_s: FloatArray, front_mm: FloatArray) -> Reference:
    """Build a run from a curve; what lies before resin start or after the end goes.

    Raises
    ------
    WetlineError
        If the front never moved.
    """
    good = np.isfinite(time_s) & np.isfinite(front_mm) & (time_s > 0) & (front_mm > 0)
    t, x = time_s[good], np.maximum.accumulate(front_mm[good]) if good.any() else front_mm[:0]
    if len(t) < 3 or x[-1] <= 0:
        raise WetlineError(f"{name}: has no moving front to compare with: choose another run")
    moving = np.r_[True, np.diff(x) > 1e-6]
    return Reference(name, np.r_[0.0, t[moving]], np.r_[0.0, x[moving]], float(t[-1]))
