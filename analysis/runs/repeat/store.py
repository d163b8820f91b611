"""Files of a repeat: page, pictures and JSON.

Tested in tests/analysis/runs/repeat/test_job.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from analysis.forecast.panel_text import CAUTION
from analysis.record.figures import png_bytes
from analysis.runs.panels.page import answer_box, bullets, page, picture, section, table
from analysis.runs.repeat.control_chart import ControlChart
from analysis.runs.repeat.figures import DPI, band_figure, charts_figure
from analysis.runs.repeat.judged import Judged
from analysis.runs.repeat.judgement import RunJudgement
from analysis.runs.repeat.text import (
    answer_lines,
    band_rows,
    chart_lines,
    head,
    run_lines,
)
from vision.common.atomic_files import plain, replace_file, write_json, write_text
from vision.common.outside.version import wetline_version

PAGE, NUMBERS, BAND, CHARTS = "repeat.html", "repeat.json", "band.png", "control_charts.png"
ACROSS = {"mm": "distance_mm", "% wet": "wet_percent"}


def repeat_json(found: Judged) -> dict[str, Any]:
    """Return the answer as plain JSON values."""
    band = found.band
    shaped: dict[str, Any] = plain(
        {
            "answer": head(found),
            "judgement": _judgement_json(found.judgement, band.unit),
            "judgement_resin_and_vacuum_taken_out": _judgement_json(found.alike, band.unit),
            "good": [{"run": run.label, "name": run.name} for run in found.good],
            "left_out": [{"name": name, "why": why} for name, why in found.left_out],
            "judged": None if found.judged is None else found.judged.name,
            "band": {
                "rests_on": "own spread" if band.own else "usual scatter of like panels",
                "runs": band.count,
                "coverage": band.coverage,
                "confidence": band.confidence,
                "factor": band.factor,
                ACROSS[band.unit]: band.distance_mm.round(1),
                "middle_s": band.middle_s.round(1),
                "early_s": band.early_s.round(1),
                "late_s": band.late_s.round(1),
            },
            "charts": [_chart_json(chart) for chart in found.charts],
            **found.own_json,
        }
    )
    return shaped


def _judgement_json(told: RunJudgement | None, unit: str) -> dict[str, Any] | None:
    """Return a judgement with the unit of its places in the keys."""
    if told is None:
        return None
    own = "mm" if unit == "mm" else ACROSS[unit]
    return {
        f"{key.removesuffix('mm')}{own}" if key.endswith("_mm") else key: value
        for key, value in asdict(told).items()
    }


def _chart_json(chart: ControlChart) -> dict[str, Any]:
    return {
        "name": chart.name,
        "unit": chart.unit,
        "runs": list(chart.labels),
        "values": chart.values,
        "centre": chart.centre,
        "lower": chart.lower,
        "upper": chart.upper,
        "range_upper": chart.range_upper,
        "firm": chart.firm,
        "reason": chart.reason,
        "signals": [
            {"run": chart.labels[signal.index], "rule": signal.rule, "words": signal.words}
            for signal in chart.signals
        ],
    }


def build_page(
    found: Judged,
    band_png: bytes,
    charts_png: bytes | None,
    version: str = "",
    more: Sequence[str] = (),
) -> str:
    """Build the page of a repeat.

    Parameters
    ----------
    found : Repeat
    band_png, charts_png : bytes
        The pictures; no charts where None.
    version : str
    more : sequence of str
        What else there is to show, already HTML; it stands below the band.
    """
    rows = [
        (far, [(middle, ""), (early, ""), (late, "")])
        for far, middle, early, late in band_rows(found)
    ]
    shown = "" if charts_png is None else picture(charts_png, CHART_CAPTION)
    parts = [
        answer_box(head(found), answer_lines(found)),
        picture(band_png, BAND_CAPTION[found.band.unit]),
        *more,
        section("Runs", bullets(run_lines(found))),
        section(
            "The band in minutes",
            table(["passes", "middle", "earliest", "latest"], rows),
        ),
        *(section(title, bullets(lines)) for title, lines in found.own_sections),
        section("What was not alike", bullets(found.unlike_words)),
        section("From run to run", shown + bullets(chart_lines(found))),
        section("Caution", bullets([CAUTION])),
    ]
    name = "Good runs" if found.judged is None else found.judged.name
    return page(name, parts, version)


BAND_CAPTION = {
    "mm": "Front distance against time: the good runs, their band, the run judged.",
    "% wet": "Wet share of the part against time: the good runs, their band, the run judged.",
}
CHART_CAPTION = (
    "Control charts: each value with the limits of the good runs, and below it the step from the "
    "run before. A square marks what a rule picks out."
)


def write_repeat(folder: Path, found: Judged, more: Sequence[str] = ()) -> Path:
    """Write the files into a folder and return the page.

    Parameters
    ----------
    folder : Path
        Made if missing.
    found : Repeat
    """
    band = png_bytes(band_figure(found), dpi=DPI)
    replace_file(folder / BAND, lambda part: part.write_bytes(band))
    figure = charts_figure(found.charts)
    charts = None if figure is None else png_bytes(figure, dpi=DPI)
    if charts is None:
        (folder / CHARTS).unlink(missing_ok=True)
    else:
        drawn: bytes = charts
        replace_file(folder / CHARTS, lambda part: part.write_bytes(drawn))
    write_json(folder / NUMBERS, repeat_json(found))
    write_text(folder / PAGE, build_page(found, band, charts, wetline_version(), more))
    return folder / PAGE
