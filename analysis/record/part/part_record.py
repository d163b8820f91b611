"""The record of a part in its folder: part_record.html and part_record.pdf from the last run."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from analysis.infusion.answer.run_files import LATE, LINES, RESIN
from analysis.infusion.kept.kept_run import read_kept
from analysis.part.answer.job import answer_job
from analysis.part.answer.part_answer import PartAnswer
from analysis.part.part_folder import MAP, NUMBERS
from analysis.record.input_files import file_hash
from analysis.record.part.part_story import part_report
from analysis.record.render.html import report_html
from analysis.record.render.pdf import write_pdf
from vision.common.atomic_files import write_text
from vision.common.outside.version import wetline_version
from vision.common.toml_table import read_toml
from vision.errors import WetlineError

PICTURES = (
    (LINES, "Planned (dashed) and seen (solid) front, last photo"),
    (LATE, "Minutes early (-) and late (+)"),
    (RESIN, "Resin taken in, planned and seen"),
)
SAME = 1e-3
"""How near times and values must be to be of the same plan."""


def write_part_record(path: Path, paper: str = "A4") -> Path:
    """Write the record of a part from its plan and its last run, and return where.

    Parameters
    ----------
    path : Path
        A part.toml, or the folder it lies in.
    paper : {"A4", "letter"}

    Raises
    ------
    WetlineError
        If the part has no run, was changed since, or a file cannot be read or written.
    """
    kept = read_kept(path)
    job, results, run = kept.job, kept.results, kept.numbers
    planned = answer_job(job, results, lambda text: None)
    if not of_plan(run, planned):
        raise WetlineError(f"{job.path}: has changed since its run: run `wetline run {path}` again")
    stack = read_toml(job.path).get("stack", {})
    shown = [(results / name, caption) for name, caption in PICTURES]
    files = (job.path, results / NUMBERS, results / MAP)
    report = part_report(
        planned,
        run,
        str(stack.get("panel", "")),
        [(place.read_bytes(), caption) for place, caption in shown if place.is_file()],
        [(place.name, file_hash(place)) for place in files if place.is_file()],
        wetline_version(),
    )
    page = results / "part_record.html"
    write_text(page, report_html(report, paper))
    write_pdf(page.with_suffix(".pdf"), report, paper)
    return page


def of_plan(run: Mapping[str, Any], planned: PartAnswer) -> bool:
    """Return whether a run is of a plan as it is now: the same times, resin and values."""
    now: list[tuple[float | None, float]] = [
        (run["planned"]["fill_time_s"], planned.fill_time_s),
        (run["planned"]["fill_time_low_s"], planned.fill_time_low_s),
        (run["planned"]["fill_time_high_s"], planned.fill_time_high_s),
        (run["planned"]["resin_kg"], planned.resin_kg),
    ]
    if run["learnt"] is not None:
        plan, values = planned.plan, run["learnt"]["values"]
        have = [
            *(stack.k1_m2 for stack in plan.stacks),
            *(gap.width_mm for gap in plan.gaps),
            *(feed.resistance_mm for feed in plan.feeds),
        ]
        if len(have) != len(values):
            return False
        now += [(one["planned"], value) for one, value in zip(values, have, strict=True)]
    return all(
        not math.isfinite(value) if old is None else math.isclose(old, value, rel_tol=SAME)
        for old, value in now
    )
