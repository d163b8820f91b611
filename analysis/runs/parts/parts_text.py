"""Parts side by side in words: the rows that screen and page are both drawn from.

Tested in tests/analysis/runs/parts/test_parts_beside.py.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.infusion.answer.run_text import ADVICE
from analysis.runs.parts.part_facts import PartFacts
from analysis.runs.parts.part_row import seen_full
from analysis.runs.parts.parts_beside import Number, Pair, PartsBeside
from vision.common.rounding import minutes, scientific

Row = tuple[str, list[tuple[str, str]]]


def parts_head(found: PartsBeside) -> str:
    """Return what differs in one line."""
    if not found.pairs:
        return "Cannot decide: no number is known of two of these parts."
    real = sum(pair.word == "real" for pair in found.pairs)
    other = sum(pair.word != "within" for pair in found.pairs) - real
    if not real + other:
        return "No difference is beyond the intervals: these runs cannot be told apart."
    if not real:
        return f"{_count(other)} beyond the two intervals, and none proven beyond usual scatter."
    more = f"; {other} more beyond the two intervals, not proven beyond usual scatter"
    return f"{_count(real)} REAL{more if other else ''}."


def _count(number: int) -> str:
    return "One difference is" if number == 1 else f"{number} differences are"


def parts_rows(found: PartsBeside) -> list[Row]:
    """Return the table, a cell (text, small print) per part."""
    parts = list(found.parts.values())
    out: list[Row] = [
        ("wet when last seen", [_wet(part) for part in parts]),
        ("not seen", [(_share(part, "unseen_fraction"), "") for part in parts]),
    ]
    for (name, unit), told in found.numbers.items():
        cells = [_cell(told.get(label), unit, part) for label, part in found.parts.items()]
        out.append((name, cells))
    out.append(("start, gel", [_times(part) for part in parts]))
    out.append(("the plan's verdict", [(str(p.numbers["planned"]["verdict"]), "") for p in parts]))
    return out


def _wet(part: PartFacts) -> tuple[str, str]:
    seen = part.numbers["seen"]
    if seen["wetted_fraction"] is None:
        return "not measured", part.left_out
    share = f"{100 * seen['wetted_fraction']:.0f} %"
    return f"{share} after {minutes(seen['last_s'])}", part.left_out


def _share(part: PartFacts, key: str) -> str:
    beside = part.numbers.get("beside")
    return f"{100 * beside[key]:.0f} %" if isinstance(beside, dict) else "not known"


def _times(part: PartFacts) -> tuple[str, str]:
    gel = (part.numbers.get("learnt") or {}).get("gel_time_s")
    start = str(part.numbers["seen"]["resin_start"] or "start not known")
    return start, "gel not known" if gel is None else f"gel {minutes(gel, 'down')} after it"


def _cell(one: Number | None, unit: str, part: PartFacts) -> tuple[str, str]:
    if one is None:
        return "not in its results", ""
    if one.value is None or one.low is None or one.high is None:
        return "can't be told", one.why
    if unit == "s":
        seen = seen_full(part.numbers["seen"])
        span = f"95 %: {minutes(one.low, 'down')} to {minutes(one.high, 'up')}"
        return minutes(one.value), f"{span}, {'seen full' if seen else 'forecast'}"
    shown = scientific if unit == "m2" else _plain
    return f"{shown(one.value)} {unit}", f"95 %: {shown(one.low)} to {shown(one.high)}"


def _plain(value: float) -> str:
    return f"{value:.3g}"


def difference_lines(found: PartsBeside) -> list[str]:
    """Return each pair that is beyond its two intervals, in words."""
    out = [_line(pair) for pair in found.pairs if pair.word != "within"]
    scatter = f"{100 * found.scatter:.0f} %"
    rest = sum(pair.word == "within" for pair in found.pairs)
    if rest:
        more = " more" if out else ""
        out.append(f"{rest}{more} pairs of numbers lie within their intervals: no difference shown")
    return [*out, f"Like parts are taken to scatter by {scatter} in K and fill time (as panels do)"]


def _line(pair: Pair) -> str:
    size = "" if pair.ratio is None else f", {pair.ratio:.2f} times"
    text = f"{pair.quantity}: {pair.second} against {pair.first}{size}: "
    if pair.word == "real":
        return text + "REAL, beyond the two intervals and the scatter of like parts"
    if pair.scattered:
        return text + "beyond the two intervals, but like parts scatter as much"
    return text + "beyond the two intervals; how much like parts scatter here is not known"


def look_lines(found: PartsBeside) -> list[str]:
    """Return what to know before believing the differences."""
    out = [
        f"{k}: {p.left_out}; held against no other" for k, p in found.parts.items() if p.left_out
    ]
    out += [f"not alike, and not taken out: {text}" for text in found.unlike]
    return [*out, "K hangs on viscosity and vacuum as stated: colder resin looks like a lower K"]


def parts_lines(found: PartsBeside) -> list[str]:
    """Return the comparison as the screen shows it."""
    out = [parts_head(found), ""]
    out += [f"{label}: {part.name} ({part.folder})" for label, part in found.parts.items()]
    for name, cells in parts_rows(found):
        out += ["", name]
        for label, (text, more) in zip(found.parts, cells, strict=True):
            out.append(f"  {label}  {text}" + (f" ({more})" if more else ""))
    for title, lines in (("What differs", difference_lines(found)), ("Look at", look_lines(found))):
        out += ["", title, *_indented(lines)]
    return [*out, "", *ADVICE]


def _indented(lines: Sequence[str]) -> list[str]:
    return [f"  {line}" for line in lines]
