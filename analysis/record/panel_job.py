"""The whole job of one panel folder: track, fit, decide, write the record.

Tested in tests/test_whole_job.py.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.panel.panel_toml import read_panel
from analysis.record.input_files import hash_inputs
from vision.tracking.job import Progress, save_job, track_unsaved

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from analysis.forecast.panel_answer import PanelAnswer


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
    with ThreadPoolExecutor(1) as aside:
        # What fits and draws takes long to load: meanwhile photos decode, without Python's lock.
        page = aside.submit(_ready_to_draw)
        job = track_unsaved(folder, quiet, progress)
        # Drawing on the photo is OpenCV's work, the curves are matplotlib's: both at once.
        saving = aside.submit(save_job, job, folder / "results")
        hashing = aside.submit(hash_inputs, folder)
        from analysis.forecast.panel_answer import answer
        from analysis.record.record import curve_pictures, report_photo, write_record

        shrinking = aside.submit(lambda: report_photo(job.photo))
        found = answer(job.tracked, panel)
        curves = curve_pictures(found, page=page.result())
        saving.result()
    hashes, small = hashing.result(), shrinking.result()
    write_record(folder, found, job.photo, curves, hashes, small_photo=small, pdf=pdf)
    return found


def _ready_to_draw() -> Figure:
    """Load all that fits and draws, and return the page for the curves."""
    import analysis.record.record  # noqa: F401
    from analysis.record.figures import blank_page

    return blank_page()
