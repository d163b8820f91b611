"""Single numbers of a run beside those of the good ones: fill time, K of zones, gap widths.

Tested in tests/analysis/runs/part_repeat/test_part_repeat.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.infusion.learn.learnt import WHAT
from analysis.record.day.day_toml import read_day
from analysis.runs.part_repeat.part_runs import PartRun
from analysis.runs.parts.parts_beside import Number, numbers_of
from analysis.runs.repeat.band import CONFIDENCE, COVERAGE, LEAST_OWN
from analysis.runs.repeat.control_chart import ControlChart, known_charts
from analysis.runs.repeat.judged import passed_min, with_judged
from analysis.runs.repeat.tolerance import tolerance_factor
from vision.common.rounding import minutes, scientific

WIDEST = 2.0
"""Ratio of the ends of an interval past which a number is not followed (common practice, no
source)."""
KEYS = ("s", "m2", "mm")


@dataclass(frozen=True)
class NumberBand:
    """One quantity.

    Attributes
    ----------
    name, unit : str
    middle, low, high : float
        Of the good runs that know it: their middle and the tolerance band.
    runs : int
    own : Number
        Of the run judged; its value None where it is not known.
    word : {"in", "out", "not known"}
        Out only where all of its own interval is beyond the band.
    """

    name: str
    unit: str
    middle: float
    low: float
    high: float
    runs: int
    own: Number
    word: str


def number_bands(
    good: Sequence[PartRun],
    judged: PartRun | None,
    coverage: float = COVERAGE,
    confidence: float = CONFIDENCE,
) -> tuple[NumberBand, ...]:
    """Compute the band of each number that three good runs know, and hold a run's own against it.

    Notes
    -----
    In the logarithm, as scatter of K is a factor; exact two-sided tolerance factor.
    """
    told = [dict(numbers_of(run.facts)) for run in good]
    own = {} if judged is None or judged.reference is None else dict(numbers_of(judged.facts))
    out = []
    for name, unit in dict.fromkeys(key for one in told for key in one):
        values = [v for one in told if (v := _sure(one.get((name, unit)))) is not None]
        if len(values) < LEAST_OWN:
            continue
        logs = np.log(values)
        half = tolerance_factor(len(values), coverage, confidence) * float(logs.std(ddof=1))
        middle = float(logs.mean())
        low, high = math.exp(middle - half), math.exp(middle + half)
        one = own.get((name, unit), Number(None))
        out.append(
            NumberBand(
                name, unit, math.exp(middle), low, high, len(values), one, _word(one, low, high)
            )
        )
    return tuple(out)


def _word(own: Number, low: float, high: float) -> str:
    if own.value is None:
        return "not known"
    ends = (own.value if own.low is None else own.low, math.inf if own.high is None else own.high)
    return "out" if ends[0] > high or ends[1] < low else "in"


def _sure(number: Number | None) -> float | None:
    """Return a number's value; None where it is not known, or not well enough to follow."""
    if number is None or not number.value or number.low is None or number.high is None:
        return None
    sure = number.low > 0 and number.high <= WIDEST * number.low
    return number.value if sure else None


def number_lines(bands: Sequence[NumberBand]) -> tuple[str, ...]:
    """Return each number beside its band, in words."""
    out = []
    for one in bands:
        band = f"{_shown(one.low, one.unit, 'down')} to {_shown(one.high, one.unit, 'up')}"
        text = f"{one.name}: band {band}, middle {_shown(one.middle, one.unit)}"
        if one.own.value is not None:
            beyond = "OUTSIDE" if one.word == "out" else "inside"
            text += f"; this run {_shown(one.own.value, one.unit)}, {beyond}"
        elif one.own.why:
            text += f"; this run can't be told: {one.own.why}"
        out.append(f"{text}.")
    return tuple(out)


def _shown(value: float, unit: str, side: str = "near") -> str:
    if unit == "s":
        return minutes(value, side)  # type: ignore[arg-type]
    return f"{scientific(value)} m²" if unit == "m2" else f"{value:.3g} {unit}"


def charts(
    good: Sequence[PartRun], judged: PartRun | None, end_percent: float
) -> tuple[ControlChart, ...]:
    """Compute control charts of what most runs know; a quantity that no run knows has none."""
    runs = with_judged(good, judged)
    labels = [run.label for run in runs]
    told = [dict(numbers_of(run.facts)) if run.reference is not None else {} for run in runs]
    rows: list[tuple[str, str, list[float | None]]] = [
        (f"Time to {end_percent:.0f} % wet", "min", [passed_min(run, end_percent) for run in runs])
    ]
    for name, unit in dict.fromkeys(key for one in told for key in one):
        if unit not in KEYS or name.startswith(WHAT["feed"]):
            continue
        values = [_sure(one.get((name, unit))) for one in told]
        known = [value for value in values if value is not None]
        if known:
            shown, factor = _scale(unit, min(known))
            scaled = [None if value is None else value / factor for value in values]
            rows.append((name[:1].upper() + name[1:], shown, scaled))
    weighed = [read_day(run.facts.kept.job.path.parent).findings.resin_used_kg for run in runs]
    rows.append(("Resin weighed", "kg", weighed))
    return known_charts(labels, rows, len(good))


def _scale(unit: str, least: float) -> tuple[str, float]:
    """Return in what a number is charted, and what to divide by."""
    if unit == "s":
        return "min", 60.0
    if unit == "m2":
        power = math.floor(math.log10(least))
        return f"x 1e{power} m²", 10.0**power
    return unit, 1.0
