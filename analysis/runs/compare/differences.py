"""Which differences between set-ups are real: beyond intervals and the scatter of like panels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from analysis.fit.mixture_regression import Z_95

SCATTER = 0.12
"""Relative sd of permeability between like panels of one shop. One laboratory saw 8 % with a
non-crimp and 12 % with a woven fabric (May et al. 2019, Compos. Part A 121, 100-114, from
memory); the larger, so that like panels are not called different."""
LEVEL = 0.95
"""Chance that no pair of like set-ups in one comparison is called different."""
_HALVINGS = 44


@dataclass(frozen=True)
class Estimate:
    """A positive quantity and its 95 % interval; `sd` is the relative sd of its measurement.

    `sd` leaves out what differs from one like panel to the next.
    """

    value: float
    low: float
    high: float
    sd: float


@dataclass(frozen=True)
class Mean:
    """A set-up's mean over its panels: logarithm, its sd, and how many panels."""

    log: float
    sd: float
    count: int

    @property
    def value(self) -> float:
        """The mean itself (geometric)."""
        return math.exp(self.log)

    @property
    def ends(self) -> tuple[float, float]:
        """95 % interval of what the set-up does on average, scatter between panels counted."""
        return math.exp(self.log - Z_95 * self.sd), math.exp(self.log + Z_95 * self.sd)


@dataclass(frozen=True)
class Difference:
    """One set-up against another.

    Attributes
    ----------
    first, second : str
        Their letters.
    ratio : float
        Value of the second over that of the first.
    needed : float
        The ratio, above one, from which a difference counts as real here.
    real : bool
    """

    first: str
    second: str
    ratio: float
    needed: float

    @property
    def real(self) -> bool:
        """Whether the difference is more than intervals and scatter explain."""
        return max(self.ratio, 1.0 / self.ratio) > self.needed


def estimate(value: float | None, low: float | None, high: float | None) -> Estimate | None:
    """Return an estimate from a value and its 95 % interval; None where one is not known."""
    if value is None or low is None or high is None:
        return None
    if not (0 < low <= value <= high and math.isfinite(high)):
        return None
    return Estimate(value, low, high, math.log(high / low) / (2.0 * Z_95))


def mean_of(estimates: Sequence[Estimate], scatter: float) -> Mean:
    """Compute the mean of like panels.

    Parameters
    ----------
    estimates : sequence of Estimate
        At least one.
    scatter : float
        Relative sd between like panels.

    Notes
    -----
    The scatter between panels averages out over them; the errors of measurement do not, for
    like panels often share resin, gauge and ruler.
    """
    logs = [math.log(one.value) for one in estimates]
    measured = float(np.mean([one.sd**2 for one in estimates]))
    count = len(estimates)
    return Mean(sum(logs) / count, math.sqrt(measured + scatter**2 / count), count)


@lru_cache(maxsize=64)
def range_quantile(count: int, level: float = LEVEL) -> float:
    """Compute the quantile of the range of `count` standard normals.

    Source: P(range <= q) = n integral of phi(z) (Phi(z) - Phi(z - q))^(n - 1) dz (Tukey; table
    in Harter 1960, Ann. Math. Statist. 31, 1122).

    Examples
    --------
    >>> round(range_quantile(2), 3)
    2.772
    """
    z = np.linspace(-8.0, 8.0 + 8.0, 3201)
    density = np.exp(-0.5 * z**2) / math.sqrt(2.0 * math.pi)
    step = float(z[1] - z[0])
    low, high = 0.0, 12.0
    for _ in range(_HALVINGS):
        q = 0.5 * (low + high)
        held = count * step * float(density @ (ndtr(z) - ndtr(z - q)) ** (count - 1))
        low, high = (q, high) if held < level else (low, q)
    return 0.5 * (low + high)


def differences(means: dict[str, Mean], level: float = LEVEL) -> list[Difference]:
    """Compare every pair of set-ups.

    Parameters
    ----------
    means : dict of str to Mean
        By letter.
    level : float
        Chance that no pair of like ones is called different.

    Notes
    -----
    Source: Tukey's range for pairs of unlike sd (Kramer 1956, Biometrics 12, 307, from memory);
    for two set-ups it is the ordinary 1.96 sd of the difference.
    """
    letters = list(means)
    if len(letters) < 2:
        return []
    reach = range_quantile(len(letters), level) / math.sqrt(2.0)
    out = []
    for i, first in enumerate(letters):
        for second in letters[i + 1 :]:
            a, b = means[first], means[second]
            needed = math.exp(reach * math.hypot(a.sd, b.sd))
            out.append(Difference(first, second, math.exp(b.log - a.log), needed))
    return out


def own_scatter(groups: Sequence[Sequence[Estimate]]) -> tuple[float, int]:
    """Compute the scatter that repeated panels of the same set-ups themselves show.

    Returns
    -------
    sd : float
        Relative, pooled over the set-ups; NaN without repeats.
    freedom : int
        Degrees of freedom.
    """
    logs = [np.log([one.value for one in group]) for group in groups if len(group) > 1]
    freedom = sum(len(values) - 1 for values in logs)
    if not freedom:
        return float("nan"), 0
    squares = sum(float(np.sum((values - values.mean()) ** 2)) for values in logs)
    return math.sqrt(squares / freedom), freedom
