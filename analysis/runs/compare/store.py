"""Files of a comparison: page, picture, table for a spreadsheet, and JSON.

Tested in tests/analysis/runs/repeat/test_job.py.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

from analysis.record.figures import png_bytes
from analysis.runs.compare.comparison import Comparison
from analysis.runs.compare.figure import DPI, comparison_figure
from analysis.runs.compare.html import build_page
from analysis.runs.compare.rows import csv_values, ranking_head
from vision.common.atomic_files import plain, replace_file, write_json, write_text
from vision.common.outside.version import wetline_version

PAGE, PICTURE, TABLE, NUMBERS = (
    "comparison.html",
    "comparison.png",
    "comparison.csv",
    "comparison.json",
)


def comparison_json(found: Comparison) -> dict[str, Any]:
    """Return the comparison as plain JSON values, SI unless a key names another unit."""
    ranking = found.ranking
    shaped: dict[str, Any] = plain(
        {
            "answer": ranking_head(found),
            "wish": ranking.wish,
            "best": ranking.best,
            "ranking": [vars(place) for place in ranking.places],
            "not_ranked": [{"letter": letter, "why": why} for letter, why in ranking.unranked],
            "flow_length_mm": found.length_m * 1000.0,
            "scatter": found.scatter,
            "scatter_from_own_repeats": found.scatter_own,
            "setups": [
                {"letter": s.letter, "name": s.name, "panels": list(s.labels())}
                for s in found.setups
            ],
            "panels": _table(found),
            "differences": {
                name: [vars(pair) | {"real": pair.real} for pair in pairs]
                for name, pairs in found.differences.items()
            },
            "not_alike": [
                {"what": one.what, "values": dict(one.values), "remark": one.remark}
                for one in found.unlike
            ],
            "notes": list(found.notes),
        }
    )
    return shaped


def _table(found: Comparison) -> list[dict[str, Any]]:
    return [
        dict(csv_values(label, panel, numbers))
        for setup in found.setups
        for label, panel, numbers in zip(setup.labels(), setup.panels, setup.numbers, strict=True)
    ]


def comparison_csv(found: Comparison) -> str:
    """Write the table for a spreadsheet: a row for each panel, units in the names."""
    rows = _table(found)
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({key: _cell(value) for key, value in row.items()})
    return out.getvalue()


def _cell(value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.6g}" if isinstance(value, float) else value


def write_comparison(folder: Path, found: Comparison) -> Path:
    """Write the four files and return the page.

    Parameters
    ----------
    folder : Path
        Made if missing.
    found : Comparison
    """
    png = png_bytes(
        comparison_figure({setup.letter: setup.panels for setup in found.setups}), dpi=DPI
    )
    replace_file(folder / PICTURE, lambda part: part.write_bytes(png))
    write_text(folder / TABLE, comparison_csv(found))
    write_json(folder / NUMBERS, comparison_json(found))
    write_text(folder / PAGE, build_page(found, png, wetline_version()))
    return folder / PAGE
