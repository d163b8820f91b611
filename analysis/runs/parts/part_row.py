"""A part in one row of a table, from the numbers that its run left.

Tested in tests/analysis/batch/test_summary.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

FULL, MOST_UNSEEN = 0.995, 0.02
"""Wet share from which a part was seen to fill, and its half-width up to which it was (common
practice, no source)."""
K_ENDS = {"": "value", "_low": "low", "_high": "high"}


def part_row(numbers: Mapping[str, Any]) -> dict[str, Any]:
    """Return the few numbers by which a part stands in a table, from its part_run.json.

    Returns
    -------
    dict
        ``kind``, ``verdict``, ``reason``, ``may_gel_first``, K of the stack (m2), time to full (s),
        ``margin`` (working time over it), each with its 95 % interval; photos, warnings,
        ``wetted_fraction`` and ``places_unlike_plan``. What is not known is left out.
    """
    seen, beside = numbers["seen"], numbers.get("beside") or {}
    row = {
        "kind": "part",
        "verdict": numbers.get("answer"),
        "reason": numbers.get("reason"),
        "frames": seen["frames"],
        "frames_used": seen["frames_used"],
        "warnings": len(seen["warnings"]) + len(seen["doubts"]),
        "wetted_fraction": seen["wetted_fraction"],
        "places_unlike_plan": len(beside["places"]) if beside else None,
    }
    learnt = numbers.get("learnt")
    if not learnt or seen["doubts"]:
        return row
    stack = learnt["values"][0]
    row |= {f"k{end}_m2": stack[key] for end, key in K_ENDS.items() if stack["told"]}
    ends = [learnt[f"fill_time{end}_s"] for end in ("", "_low", "_high")]
    row |= {"fill_time_s": ends[0], "fill_time_low_s": ends[1], "fill_time_high_s": ends[2]}
    row["never_fills"] = ends[0] is None
    working, gel = learnt["working_time_s"], learnt["gel_time_s"]
    if working is not None:
        names = ("margin", "margin_high", "margin_low")
        row |= {key: working / end for key, end in zip(names, ends, strict=True) if end is not None}
    full = seen_full(seen)
    row["may_gel_first"] = gel is not None and not full and (ends[2] is None or ends[2] > gel)
    return row


def seen_full(seen: Mapping[str, Any]) -> bool:
    """Return whether a part was seen full, and not too much of it was left unseen for that.

    Parameters
    ----------
    seen : mapping
        `seen` of a part_run.json.
    """
    half = 2.0 * (seen.get("wetted_sd") or 0.0)
    return (seen["wetted_fraction"] or 0.0) >= FULL and half <= MOST_UNSEEN
