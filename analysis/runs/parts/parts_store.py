"""Files of parts side by side: page and JSON.

Tested in tests/analysis/runs/parts/test_parts_beside.py.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from analysis.infusion.answer.run_text import ADVICE
from analysis.runs.panels.page import answer_box, bullets, page, section, table
from analysis.runs.parts.parts_beside import PartsBeside
from analysis.runs.parts.parts_text import difference_lines, look_lines, parts_head, parts_rows
from vision.common.atomic_files import plain, write_json, write_text
from vision.common.outside.version import wetline_version

PAGE, NUMBERS = "parts.html", "parts.json"


def parts_json(found: PartsBeside) -> dict[str, Any]:
    """Return the comparison as plain JSON values; each quantity with its unit."""
    ready: dict[str, Any] = plain(
        {
            "answer": parts_head(found),
            "parts": [
                {
                    "label": label,
                    "folder": part.folder.resolve().name,
                    "name": part.name,
                    "left_out": part.left_out,
                    "seen": part.numbers["seen"],
                }
                for label, part in found.parts.items()
            ],
            "numbers": [
                {"what": name, "unit": unit, "parts": {k: vars(n) for k, n in told.items()}}
                for (name, unit), told in found.numbers.items()
            ],
            "differences": [vars(pair) for pair in found.pairs],
            "not_alike": list(found.unlike),
            "scatter": found.scatter,
        }
    )
    return ready


def write_parts(folder: Path, found: PartsBeside) -> Path:
    """Write page and JSON and return the page."""
    labels = [f"{label}: {part.folder.resolve().name}" for label, part in found.parts.items()]
    content = [
        answer_box(parts_head(found), []),
        section("Side by side", table(["", *labels], parts_rows(found))),
        section("What differs", bullets(difference_lines(found))),
        section("Look at", bullets(look_lines(found))),
        section("Caution", bullets(ADVICE)),
    ]
    write_json(folder / NUMBERS, parts_json(found))
    name = next(iter(found.parts.values())).name
    title = f"{name}: {len(labels)} runs side by side"
    write_text(folder / PAGE, page(title, content, wetline_version()))
    return folder / PAGE
