"""What the page shows of a part before and after its run.

Tested in tests/analysis/page/routes/test_part_page.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from analysis.infusion.seen.made_from import plan_stamp
from analysis.page.stored.recorded import recorded
from analysis.part.part_folder import NUMBERS, has_scale
from analysis.part.plan.part_toml import read_part
from vision.common.atomic_files import read_json
from vision.common.outside.input_files import shown_name
from vision.common.toml_table import read_toml
from vision.errors import WetlineError

CHANGED = "part.toml, or a file that it rests on, has changed since this run: run it again"


def describe_part(name: str, folder: Path, files: Sequence[str], pictures: bool) -> dict[str, Any]:
    """Return what the list shows for a part; a bad one says so in its own place.

    Parameters
    ----------
    name : str
        Its id.
    folder : Path
    files : sequence of str
        Names of its results.
    pictures : bool
        Whether it has any.
    """
    shown: dict[str, Any] = {
        "id": name,
        "kind": "part",
        "name": shown_name(folder),
        "verdict": None,
        "reason": "",
        "files": list(files),
        "pictures": pictures,
    }
    try:
        shown["scale"] = has_scale(folder)
        told = read_toml(folder / "part.toml")
        table = told.get("part")
        named = told.get("name") or (table.get("name") if isinstance(table, dict) else None)
        shown["name"] = str(named or shown["name"])
        shown |= recorded(folder, told, pictures, shown["scale"], True)
        if NUMBERS in files:
            shown |= _seen(read_json(folder / "results" / NUMBERS), folder)
    except WetlineError as error:
        shown["reason"] = str(error)
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        shown["reason"] = f"{NUMBERS} cannot be read: run `wetline run` on this part again"
    return shown


def _seen(numbers: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Return what the result of a run on a part says first: its word, what it rests on, doubts."""
    seen, word, reason = numbers["seen"], str(numbers["answer"]), str(numbers["reason"])
    doubts = [str(doubt) for doubt in seen["doubts"]]
    more = [reason, *(doubt for doubt in doubts if doubt not in reason)]
    made = numbers.get("made_from") or {}
    if made.get("part_toml", "") not in ("", plan_stamp(folder / "part.toml")):
        more = [CHANGED, f"Before that: {word.upper()}", *more]
        word, reason = "out of date", CHANGED
    row = {"label": "Verdict", "text": word.upper(), "more": more}
    return {"verdict": word, "reason": reason, "rows": [row, *_warnings(numbers)]}


def _warnings(numbers: dict[str, Any]) -> list[dict[str, Any]]:
    warnings = [str(text) for text in numbers["seen"]["warnings"]]
    return [{"label": "Warning", "text": text, "more": []} for text in warnings]


def part_size_mm(folder: Path) -> tuple[float | None, float | None]:
    """Return length and width of the box around a part's outline; None where it can't be read."""
    try:
        size = np.ptp(read_part(folder).plan.outline_mm, axis=0)
    except WetlineError:
        return None, None
    return float(size[0]), float(size[1])
