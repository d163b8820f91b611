"""The record of a part in its folder: part_record.html and part_record.pdf from the last run."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from analysis.infusion.answer.late_map import late_map, resin_picture
from analysis.infusion.answer.part_run import InfusionAnswer
from analysis.infusion.answer.run_files import LATE, LINES, RESIN
from analysis.infusion.kept.as_run import as_run
from analysis.infusion.kept.kept_run import KeptArrival, read_kept
from analysis.part.answer.figures import DPI
from analysis.part.answer.job import answer_job
from analysis.part.answer.part_answer import PartAnswer
from analysis.part.part_folder import MAP, NUMBERS, RECORDS, TABLE
from analysis.record.day.day_records import Day
from analysis.record.day.kept_results import kept_result
from analysis.record.day.mark_flow import MarkFlow
from analysis.record.day.seal import write_seal
from analysis.record.figures import png_bytes
from analysis.record.part.part_marks import flow_on_part, part_marks_figure
from analysis.record.part.part_photos import part_pictures
from analysis.record.part.part_story import PartFiled, part_report
from analysis.record.render.html import report_html
from analysis.record.render.pdf import write_pdf
from analysis.record.story.filed import DRAWDOWN, Filed, gather_stamped
from analysis.record.story.inch_axes import chart_in_inches, map_in_inches
from analysis.record.story.inches import report_in_inches
from vision.common.atomic_files import write_text
from vision.common.outside.input_files import file_hash, read_text
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


@dataclass(frozen=True)
class PartRecord:
    """The record of a part as it was written.

    Attributes
    ----------
    page : Path
        part_record.html; part_record.pdf lies beside it.
    day : Day
        What was filed.
    marks : tuple of MarkFlow
        The marks filed, with what the front did there.
    """

    page: Path
    day: Day
    marks: tuple[MarkFlow, ...]


def write_part_record(path: Path, paper: str = "A4", inch: bool = False) -> PartRecord:
    """Write the record of a part from its plan, its last run and what was filed; seal its files.

    Parameters
    ----------
    path : Path
        A part.toml, or the folder it lies in.
    paper : {"A4", "letter"}
    inch : bool
        Whether inches, inHg and pounds stand beside the metric values.

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
    arrival = kept.arrival if run["seen"]["usable"] else None
    filed = replace(gather_part(job.path.parent, planned, arrival), inch=inch)
    filed = replace(filed, pictures=tuple(part_pictures(kept, planned, filed.day)))
    shown = {name: results / name for name, _ in PICTURES}
    drawn = {name: file.read_bytes() for name, file in shown.items() if file.is_file()}
    if inch and arrival is not None:
        drawn |= _in_inches(as_run(kept, planned))
    measured = {
        f"results/{name}": file_hash(results / name)
        for name in (NUMBERS, TABLE, MAP)
        if (results / name).is_file()
    }
    report = part_report(
        planned,
        run,
        PartFiled(
            panel=str(read_toml(job.path).get("stack", {}).get("panel", "")),
            pictures=[(drawn[name], words) for name, words in PICTURES if name in drawn],
            filed=filed,
            marked=part_marks_figure(job.plan, arrival, filed.marks, inch) if filed.marks else b"",
            hashes=[*filed.hashes.items(), *measured.items()],
            settings=read_text(job.path),
        ),
        wetline_version(),
    )
    report = report_in_inches(report) if inch else report
    page = results / RECORDS[0]
    write_text(page, report_html(report, paper))
    write_pdf(page.with_suffix(".pdf"), report, paper)
    if results == job.path.parent / "results":
        write_seal(job.path.parent, filed.hashes)
    return PartRecord(page, filed.day, filed.marks)


def _in_inches(run: InfusionAnswer) -> dict[str, bytes]:
    """Draw the run's map and its resin again, with inches and pounds on their axes too."""
    if run.beside is None:
        return {}
    late, resin = map_in_inches(late_map(run)), chart_in_inches(resin_picture(run))
    return {LATE: png_bytes(late, DPI), RESIN: png_bytes(resin, DPI)}


def gather_part(folder: Path, planned: PartAnswer, arrival: KeptArrival | None) -> Filed:
    """Return all that a part's folder holds beside its run, but for its photos.

    Parameters
    ----------
    folder : Path
    planned : PartAnswer
        The plan, filled.
    arrival : KeptArrival or None
        As seen; None where nothing could be measured.
    """
    filed = gather_stamped(folder)
    return replace(
        filed,
        of="part",
        marks=tuple(flow_on_part(mark, arrival, planned) for mark in filed.day.marks),
        drawdown=kept_result(folder, DRAWDOWN, "log_file"),
    )


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
