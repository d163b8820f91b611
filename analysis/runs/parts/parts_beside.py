"""Parts side by side: each number with its interval, and which differences are beyond them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.infusion.learn.learnt import WHAT
from analysis.runs.compare.differences import SCATTER, differences, estimate, mean_of
from analysis.runs.parts.part_facts import PartFacts, read_part_facts, refuse_unlike
from vision.errors import WetlineError


@dataclass(frozen=True)
class Number:
    """One number of one part with its 95 % interval; `value` is None where it is not told."""

    value: float | None
    low: float | None = None
    high: float | None = None
    why: str = ""


@dataclass(frozen=True)
class Pair:
    """Two parts in one quantity.

    Attributes
    ----------
    quantity, first, second : str
    word : {"real", "intervals only", "within"}
        Beyond intervals and scatter of like parts; beyond the two intervals alone; neither.
    ratio : float or None
        Second over first.
    scattered : bool
        Whether a scatter of like parts was counted.
    """

    quantity: str
    first: str
    second: str
    word: str
    ratio: float | None
    scattered: bool


@dataclass(frozen=True)
class PartsBeside:
    """Parts by letter, their numbers by quantity (name, unit), and their differences."""

    parts: dict[str, PartFacts]
    numbers: dict[tuple[str, str], dict[str, Number]]
    pairs: tuple[Pair, ...]
    unlike: tuple[str, ...]
    scatter: float


def compare_part_folders(folders: Sequence[Path], scatter: float | None = None) -> PartsBeside:
    """Compare parts by their folders.

    Raises
    ------
    WetlineError
        If there are fewer than two, one comes twice or holds a copy, or they are different parts.
    """
    if len(folders) < 2:
        raise WetlineError("compare: name the folders of two parts or more")
    places = [folder.resolve() for folder in folders]
    for k, place in enumerate(places):
        if place in places[:k]:
            raise WetlineError(f"{folders[k]}: named twice: leave one out")
    return compare_parts([read_part_facts(folder) for folder in folders], scatter)


def compare_parts(parts: Sequence[PartFacts], scatter: float | None = None) -> PartsBeside:
    """Compare runs of one part.

    Parameters
    ----------
    parts : sequence of PartFacts
    scatter : float, optional
        Relative sd of K and fill time between like parts; that of like panels if left out.
    """
    refuse_unlike(parts)
    named = {f"P{k}": part for k, part in enumerate(parts, start=1)}
    numbers: dict[tuple[str, str], dict[str, Number]] = {}
    for label, part in named.items():
        for key, number in numbers_of(part):
            numbers.setdefault(key, {})[label] = number
    counts = SCATTER if scatter is None else scatter
    fair = [label for label, part in named.items() if not part.left_out]
    pairs = [
        pair
        for (name, unit), told in numbers.items()
        for pair in _pairs(name, {k: told[k] for k in fair if k in told}, counts, unit)
    ]
    return PartsBeside(named, numbers, tuple(pairs), tuple(unlike_stated(named)), counts)


def numbers_of(part: PartFacts) -> list[tuple[tuple[str, str], Number]]:
    """Return each number that a run gives of a part, by name and unit."""
    learnt = part.numbers.get("learnt")
    if not isinstance(learnt, dict):
        why = part.left_out or part.numbers.get("not_learnt") or "nothing was learnt"
        return [(("full after", "s"), Number(None, why=why))]
    ends = (learnt["fill_time_s"], learnt["fill_time_low_s"], learnt["fill_time_high_s"])
    out = [(("full after", "s"), Number(*ends))]
    for one in learnt["values"]:
        key = (f"{WHAT[one['kind']]} {one['name']}", one["unit"])
        out.append((key, Number(one["value"], one["low"], one["high"], one["why"])))
    return out


def _pairs(name: str, told: dict[str, Number], scatter: float, unit: str) -> list[Pair]:
    """Return every pair of parts that know a number."""
    known = {label: one for label, one in told.items() if one.value is not None}
    scattered = unit in ("s", "m2")
    guesses = {k: estimate(one.value, one.low, one.high) for k, one in known.items()}
    means = {k: mean_of([e], scatter) for k, e in guesses.items() if e is not None}
    real = {(d.first, d.second) for d in differences(means) if d.real} if scattered else set()
    out, labels = [], list(known)
    for i, a in enumerate(labels):
        for b in labels[i + 1 :]:
            one, two = known[a], known[b]
            apart = _above(one, two) or _above(two, one)
            word = "within" if not apart else "real" if (a, b) in real else "intervals only"
            ratio = two.value / one.value if one.value and two.value is not None else None
            out.append(Pair(name, a, b, word, ratio, scattered))
    return out


def _above(one: Number, two: Number) -> bool:
    low = -math.inf if one.low is None else one.low
    return low > (math.inf if two.high is None else two.high)


def unlike_stated(parts: Mapping[str, PartFacts]) -> list[str]:
    """Return what part.toml states of resin, vacuum and height that was not alike."""
    keys = sorted({key for part in parts.values() for key in part.stated})
    out = []
    for key in keys:
        values = {k: part.stated.get(key, "not stated") for k, part in parts.items()}
        if len({str(value) for value in values.values()}) > 1:
            out.append(f"{key}: " + ", ".join(f"{k} {value}" for k, value in values.items()))
    return out
