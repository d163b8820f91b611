"""The whole job of one panel folder: track, fit, decide, write the record.

Tested in tests/test_whole_job.py.
"""

from __future__ import annotations

from pathlib import Path

from analysis.forecast.panel_answer import PanelAnswer, answer
from analysis.panel.panel_toml import read_panel
from analysis.record.record import read_settings, wetline_version, write_record
from vision.tracking.job import Progress, track_folder

FORECAST_FILES = ("forecast.json", "levers.png", "resin.json")
"""What other commands made of the front; a run without one takes them away."""


def run_panel(
    folder: Path, *, pdf: bool = False, quiet: bool = True, progress: Progress | None = None
) -> PanelAnswer:
    """Track a panel folder, work out its answer and write its record under ``results``.

    Parameters
    ----------
    folder : Path
        Panel folder.
    pdf : bool
        Also write report.pdf.
    quiet : bool
        Show no bar.
    progress : callable, optional
        Given the frames done and the frames in all, in place of the bar.

    Raises
    ------
    WetlineError
        As reading the settings, tracking and writing.
    """
    panel = read_panel(folder)
    job = track_folder(folder, quiet, progress)
    found = answer(job.tracked, panel)
    pictures = write_record(folder, found, job.photo)
    report = folder / "results" / "report.pdf"
    # What an earlier run left, and this one does not write anew, would mislead.
    report.unlink(missing_ok=True)
    if not found.front.usable:
        for name in FORECAST_FILES:
            (folder / "results" / name).unlink(missing_ok=True)
    if pdf:
        from analysis.record.pdf import write_pdf

        write_pdf(report, found, pictures, read_settings(folder), version=wetline_version())
    return found
