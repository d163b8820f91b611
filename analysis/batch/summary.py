"""The summary of a batch: one row per panel, for the screen, as CSV and as JSON."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analysis.batch.batch import Batch
from analysis.batch.one_panel import (
    DONE,
    FAILED,
    NO_TOML,
    PLAN_ONLY,
    STATES,
    STOPPED,
    UP_TO_DATE,
    Outcome,
)
from analysis.runs.parts.part_row import part_row
from vision.common.atomic_files import plain
from vision.common.rounding import Side, rounded, scientific

COLUMNS = (
    "panel", "kind", "state", "verdict", "may_gel_first", "k_m2", "k_low_m2", "k_high_m2",
    "flow_length_mm", "fill_time_s", "fill_time_low_s", "fill_time_high_s", "never_fills",
    "margin", "margin_low", "margin_high", "frames", "frames_used", "length_reached_mm",
    "race_tracking_mm", "wetted_fraction", "places_unlike_plan", "warnings", "reason", "note",
    "spent_s",
)  # fmt: skip
UNKNOWN = "not known"
_LEAD = ("=", "+", "-", "@", "\t")
"""A spreadsheet would take text that begins so for a formula."""


@dataclass(frozen=True)
class Words:
    """One panel in words.

    Attributes
    ----------
    panel, state, verdict, permeability, fill, margin, note : str
    looks : int
        Number of warnings to look at.
    """

    panel: str
    state: str
    verdict: str
    permeability: str
    fill: str
    margin: str
    looks: int
    note: str


def row_of(outcome: Outcome) -> dict[str, Any]:
    """Return one panel's row, by the names of `COLUMNS`; None where it does not apply."""
    answer = outcome.answer
    own = part_row(answer) if "planned" in answer else _panel_row(answer)
    row = dict.fromkeys(COLUMNS) | {
        "panel": outcome.folder,
        "state": outcome.state,
        "note": outcome.note,
        "spent_s": round(outcome.spent_s, 1),
    }
    shaped: dict[str, Any] = plain(row | (own if answer else {}))
    return shaped


def _panel_row(answer: Mapping[str, Any]) -> dict[str, Any]:
    front, k, fill, gel, verdict = (
        _table(answer, key) for key in ("front", "permeability", "fill", "gel", "verdict")
    )
    row = {
        "kind": "panel",
        "verdict": verdict.get("verdict"),
        "may_gel_first": verdict.get("may_gel_first"),
        "reason": verdict.get("reason"),
        "fill_time_s": fill.get("time_s"),
        "fill_time_low_s": fill.get("time_low_s"),
        "fill_time_high_s": fill.get("time_high_s"),
        "flow_length_mm": fill.get("flow_length_mm"),
        "never_fills": fill.get("never"),
        "warnings": len(answer.get("warnings") or ()),
    }
    row |= {key: k.get(key) for key in ("k_m2", "k_low_m2", "k_high_m2")}
    row |= {key: gel.get(key) for key in ("margin", "margin_low", "margin_high")}
    names = ("frames", "frames_used", "length_reached_mm", "race_tracking_mm")
    return row | {key: front.get(key) for key in names}


def _table(answer: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    value = answer.get(key)
    return value if isinstance(value, Mapping) else {}


def words_of(outcome: Outcome) -> Words:
    """Return one panel in words; a bound is rounded away from what it bounds."""
    row = row_of(outcome)
    verdict = row["verdict"] or ""
    if row["may_gel_first"]:
        verdict = f"MAY GEL FIRST ({verdict})"
    note = outcome.note
    if outcome.state in (DONE, UP_TO_DATE) and row["reason"]:
        note = row["reason"]
    return Words(
        outcome.folder,
        outcome.state,
        verdict,
        _interval(row, ("k_m2", "k_low_m2", "k_high_m2"), lambda v, side: scientific(v, 2, side)),
        "never" if row["never_fills"] else _interval(
            row,
            ("fill_time_s", "fill_time_low_s", "fill_time_high_s"),
            lambda v, side: rounded(v / 60.0, 0 if v >= 597.0 else 1, side),
        ),
        _interval(
            row, ("margin", "margin_low", "margin_high"), lambda v, side: rounded(v, 2, side)
        ),
        row["warnings"] or 0,
        note,
    )  # fmt: skip


def _interval(row: Mapping[str, Any], keys: tuple[str, str, str], text: Any) -> str:
    """Return a value with its 95 % interval, empty where there is none."""
    sides: tuple[Side, Side, Side] = ("near", "down", "up")
    value, low, high = (
        None if row[key] is None else text(float(row[key]), side)
        for key, side in zip(keys, sides, strict=True)
    )
    if value is None:
        return ""
    return f"{value} ({low} to {high or 'never'})" if low is not None else value


def counts(batch: Batch) -> str:
    """Return how many panels there are of each state, in one line."""
    states = [outcome.state for outcome in batch.outcomes]
    words = [f"{states.count(state)} {state}" for state in STATES if state in states]
    return ", ".join(words)


def summary_lines(batch: Batch, names: Mapping[str, str]) -> list[str]:
    """Write the summary for the screen.

    Parameters
    ----------
    batch : Batch
    names : mapping of str to str
        The files that were written, by what they are.
    """
    rows = [words_of(outcome) for outcome in batch.outcomes]
    answered = [row for row in rows if row.state in (DONE, UP_TO_DATE)]
    lines = _columns(answered)
    for state, head in (
        (FAILED, "Failed:"),
        ("being watched", "Left alone:"),
        (STOPPED, "Not done yet (the same command goes on):"),
        (NO_TOML, "Not set up yet:"),
        (PLAN_ONLY, "Passed over:"),
    ):
        some = [row for row in rows if row.state == state]
        if some:
            lines += ["", head, *(f"  {row.panel}: {row.note}" for row in some)]
    lines += ["", f"{len(rows)} found: {counts(batch)}"]
    return lines + [f"{what}: {place}" for what, place in names.items()]


def _columns(rows: list[Words]) -> list[str]:
    """Write the panels with an answer in columns."""
    if not rows:
        return []
    head = ("Panel", "Verdict", "K, m2 (95 %)", "Part fills in, min (95 %)", "Look at", "State")
    cells = [
        (
            row.panel,
            row.verdict,
            row.permeability or UNKNOWN,
            row.fill or UNKNOWN,
            str(row.looks or ""),
            "" if row.state == UP_TO_DATE else row.state,
        )
        for row in rows
    ]
    wide = [max(len(line[i]) for line in (head, *cells)) for i in range(len(head))]
    return [
        "  ".join(text.ljust(n) for text, n in zip(line, wide, strict=True)).rstrip()
        for line in (head, *cells)
    ]


def summary_csv(batch: Batch) -> str:
    """Return the summary as CSV with a header row, in SI units unless the name says another."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for outcome in batch.outcomes:
        row = row_of(outcome)
        writer.writerow([_cell(row[name]) for name in COLUMNS])
    return out.getvalue()


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"'{value}" if isinstance(value, str) and value.startswith(_LEAD) else value


def summary_json(batch: Batch) -> dict[str, Any]:
    """Return the summary as plain JSON values."""
    return {
        "all_fine": batch.all_fine,
        "stopped": batch.stopped,
        "spent_s": round(batch.spent_s, 1),
        "panels": [row_of(outcome) for outcome in batch.outcomes],
    }
