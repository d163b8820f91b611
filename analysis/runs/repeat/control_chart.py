"""Control chart of single values and their moving ranges, with the usual four rules."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.records import FloatArray

D2, D4 = 1.128, 3.267
"""Mean of the range of two values over their standard deviation, and the upper limit of a moving
range over its mean (ISO 7870-2:2013, from memory; both are integrals of the normal law)."""
LEAST_FOR_LIMITS = 5
"""Fewer runs give no limits (common practice, no source)."""
FIRM = 20
"""From this many runs on limits are firm (common practice; 20 to 25 in most handbooks)."""


@dataclass(frozen=True)
class Signal:
    """A point that a rule picks out: its place, the rule's number and the rule in words."""

    index: int
    rule: int
    words: str


@dataclass(frozen=True)
class ControlChart:
    """Values of one quantity over the runs, in the order given.

    Attributes
    ----------
    name, unit : str
    labels : tuple of str
        One for each run.
    values : ndarray of shape (N,), float
        NaN where it was not measured.
    baseline : int
        The first so many are the good runs, which give the limits.
    centre, sd : float or None
        Mean of the good runs, and their sd from the moving ranges; None without limits.
    signals : tuple of Signal
    reason : str
        Why there are no limits; empty where there are.
    """

    name: str
    unit: str
    labels: tuple[str, ...]
    values: FloatArray
    baseline: int
    centre: float | None = None
    sd: float | None = None
    signals: tuple[Signal, ...] = ()
    reason: str = ""

    @property
    def lower(self) -> float | None:
        """Lower limit, three sd below the centre."""
        return None if self.centre is None or self.sd is None else self.centre - 3.0 * self.sd

    @property
    def upper(self) -> float | None:
        """Upper limit, three sd above the centre."""
        return None if self.centre is None or self.sd is None else self.centre + 3.0 * self.sd

    @property
    def range_upper(self) -> float | None:
        """Upper limit of the moving range."""
        return None if self.sd is None else D4 * D2 * self.sd

    @property
    def firm(self) -> bool:
        """Whether there are enough good runs for limits that hold."""
        return int(np.isfinite(self.values[: self.baseline]).sum()) >= FIRM


def control_chart(
    name: str, unit: str, labels: Sequence[str], values: Sequence[float | None], baseline: int
) -> ControlChart:
    """Compute a chart of individuals and moving ranges.

    Parameters
    ----------
    name, unit : str
    labels : sequence of str of length N
    values : sequence of length N
        In the order of the runs; None where not measured.
    baseline : int
        How many of the first runs give the limits.

    Returns
    -------
    ControlChart

    Notes
    -----
    Source: ISO 7870-2:2013, chart of individuals (from memory); worked example in the
    NIST/SEMATECH e-Handbook, 6.3.2.2. Rules: Western Electric, Statistical Quality Control
    Handbook, 1956 (from memory); listed in the NIST/SEMATECH e-Handbook, 6.3.2.

    Examples
    --------
    >>> chart = control_chart("K", "m2", "abcdef", [1.0, 1.1, 0.9, 1.0, 1.1, 2.0], 5)
    >>> [(s.index, s.rule) for s in chart.signals]
    [(5, 1), (5, 0)]
    """
    numbers = np.array([np.nan if v is None else float(v) for v in values])
    chart = ControlChart(name, unit, tuple(labels), numbers, baseline)
    good = numbers[:baseline][np.isfinite(numbers[:baseline])]
    if len(good) < LEAST_FOR_LIMITS:
        reason = f"known for {len(good)} of the good runs; limits need {LEAST_FOR_LIMITS} or more"
        return replace(chart, reason=reason)
    spread = float(np.mean(np.abs(np.diff(good)))) / D2
    if not spread > 0:
        return replace(chart, reason="the good runs are all alike to the last figure")
    limits = replace(chart, centre=float(np.mean(good)), sd=spread)
    return replace(limits, signals=tuple(find_signals(limits)))


def known_charts(
    labels: Sequence[str], rows: Sequence[tuple[str, str, Sequence[float | None]]], good: int
) -> tuple[ControlChart, ...]:
    """Compute the chart of each quantity (name, unit, values) that at least one run knows.

    Parameters
    ----------
    labels, good
        As for `control_chart`.
    rows : sequence of (str, str, sequence of (float or None))
    """
    return tuple(
        control_chart(name, unit, labels, values, good)
        for name, unit, values in rows
        if any(value is not None for value in values)
    )


def find_signals(chart: ControlChart) -> list[Signal]:
    """Find the points that the four rules pick out, and moving ranges above their limit.

    Rule 0 stands for the moving range. Points that were not measured are passed over.
    """
    if chart.centre is None or chart.sd is None:
        return []
    places = np.flatnonzero(np.isfinite(chart.values))
    steps = (chart.values[places] - chart.centre) / chart.sd
    out = []
    for i, place in enumerate(places):
        for rule, words in _rules_at(steps[: i + 1]):
            out.append(Signal(int(place), rule, words))
        if i and abs(steps[i] - steps[i - 1]) > D4 * D2:
            out.append(Signal(int(place), 0, "a jump from the run before above its limit"))
    return out


def _rules_at(steps: FloatArray) -> list[tuple[int, str]]:
    """Return the rules that the last of these points completes; steps are in sd."""
    side = 1.0 if steps[-1] >= 0 else -1.0
    way = steps * side
    where = "above" if side > 0 else "below"
    out = []
    if way[-1] > 3.0:
        out.append((1, f"{where} the limit"))
    if len(way) >= 3 and way[-1] > 2.0 and np.sum(way[-3:] > 2.0) >= 2:
        out.append((2, f"2 of 3 runs far {where} the middle"))
    if len(way) >= 5 and way[-1] > 1.0 and np.sum(way[-5:] > 1.0) >= 4:
        out.append((3, f"4 of 5 runs {where} the middle"))
    if len(way) >= 8 and np.all(way[-8:] > 0.0):
        out.append((4, f"8 runs in a row {where} the middle"))
    return out
