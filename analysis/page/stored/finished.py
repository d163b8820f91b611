"""What the page says first of a panel that is done: stored verdict, and the numbers behind it.

Tested in tests/analysis/page/stored/test_finished.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite
from typing import Any

from analysis.record.content import minutes

Row = dict[str, Any]


def verdict_of(results: Mapping[str, Any]) -> tuple[str, str, bool]:
    """Return verdict, reason, and whether the resin may gel first, as results.json holds them.

    Examples
    --------
    >>> verdict_of({"verdict": {"verdict": "fills", "reason": "in 4 min"}})
    ('fills', 'in 4 min', False)
    >>> verdict_of({"verdict": [3]})
    ('', '', False)
    """
    verdict = _table(results, "verdict")
    word, reason = verdict.get("verdict"), verdict.get("reason")
    return (
        word if isinstance(word, str) else "",
        reason if isinstance(reason, str) else "",
        verdict.get("may_gel_first") is True,
    )


def finished_rows(results: Mapping[str, Any]) -> list[Row]:
    """Return the rows that the page shows of a finished panel; what is not known has none.

    Parameters
    ----------
    results : mapping
        As in results.json.

    Returns
    -------
    rows : list of dict
        `label`, `text` and `more`, as the rows of a run that has just ended.
    """
    word, reason, gels = verdict_of(results)
    if not word:
        return []
    shown = f"may gel first: {word}" if gels else word
    rows = [_row("Verdict", shown.upper(), reason)]
    fill, gel, front = (_table(results, name) for name in ("fill", "gel", "front"))
    time_s, low_s, high_s = (_number(fill, k) for k in ("time_s", "time_low_s", "time_high_s"))
    length_mm = _number(fill, "flow_length_mm")
    if time_s is not None and length_mm is not None:
        value, unit = minutes(time_s, time_s)
        span = "" if low_s is None or high_s is None else _span(low_s, high_s, time_s)
        rows.append(_row("Fill time", f"{length_mm:.0f} mm in {value} {unit}{span}"))
    gel_s, working_s = _number(gel, "gel_time_s"), _number(gel, "working_time_s")
    if gel_s is not None and working_s is not None:
        text = f"{' '.join(minutes(gel_s, gel_s, 'down'))}, "
        rows.append(
            _row("Gel", f"{text}working time {' '.join(minutes(working_s, gel_s, 'down'))}")
        )
    reached_mm = _number(front, "length_reached_mm")
    if reached_mm is not None:
        rows.append(_row("Front", f"reached {reached_mm:.0f} mm"))
    warnings = front.get("warnings")
    for line in warnings if isinstance(warnings, list) else []:
        rows.append(_row("Warning", str(line)))
    return rows


def _span(low_s: float, high_s: float, like_s: float) -> str:
    low, high = minutes(low_s, like_s, "down")[0], minutes(high_s, like_s, "up")[0]
    return f" (95 %: {low} to {high})"


def _row(label: str, text: str, *more: str) -> Row:
    return {"label": label, "text": text, "more": [line for line in more if line]}


def _table(results: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    found = results.get(name)
    return found if isinstance(found, dict) else {}


def _number(table: Mapping[str, Any], key: str) -> float | None:
    value = table.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if isfinite(number) and number > 0 else None
