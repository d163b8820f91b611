"""When the run ends: the recorded-run tracker's result, and how far the live one was from it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from analysis.forecast.panel_answer import answer
from analysis.forecast.panel_text import TextRow, answer_rows
from analysis.panel.panel_toml import read_panel
from analysis.record.record import write_record
from vision.records import FloatArray, Tracked
from vision.tracking.job import track_folder
from vision.tracking.live_tracker import Reading

MOST_OFF_MM = 2.0


def finish_run(
    folder: Path, firm: Sequence[Reading], progress: Callable[[int, int], None] | None = None
) -> tuple[TextRow, ...]:
    """Track the run from disk, write its results, and say what came out.

    Parameters
    ----------
    folder : Path
        Panel folder.
    firm : sequence of Reading
        What the live tracker saw.
    progress : callable, optional
        Given frames done and frames in all.

    Returns
    -------
    rows : tuple of TextRow
        The verdict first, then how far the live front was off.

    Raises
    ------
    WetlineError
        As the tracker.
    """
    panel = read_panel(folder)
    job = track_folder(folder, quiet=True, progress=progress)
    found = answer(job.tracked, panel)
    write_record(folder, found, job.photo)
    told = difference_lines(firm, job.tracked, job.start_clock_s)
    return (*answer_rows(found), *(TextRow("", line) for line in told))


def live_error_mm(firm: Sequence[Reading], tracked: Tracked) -> FloatArray:
    """Live front less recorded front at each frame where both are told."""
    recorded = dict(zip(tracked.curve.frames, tracked.curve.front_mean_mm, strict=True))
    pairs = [(r.front_mm, recorded[r.name]) for r in firm if r.name in recorded]
    return np.array([float(live - final) for live, final in pairs if np.isfinite(final)])


def difference_lines(
    firm: Sequence[Reading], tracked: Tracked, start_clock_s: float
) -> tuple[str, ...]:
    """Write how far the live front was from the final result."""
    error = live_error_mm(firm, tracked)
    if not len(error):
        return ("The live front cannot be compared with the final one: they share no picture.",)
    rms = float(np.sqrt(np.mean(error**2)))
    worst = int(np.argmax(np.abs(error)))
    text = f"Live front against the final result: {rms:.1f} mm apart (rms)"
    if rms <= MOST_OFF_MM:
        return (f"{text}, at most {abs(error[worst]):.1f} mm.",)
    told = np.isfinite(tracked.curve.front_mean_mm)
    shared = {name for name, known in zip(tracked.curve.frames, told, strict=True) if known}
    at = [r for r in firm if r.name in shared][worst]
    minutes = (at.clock_s - start_clock_s) / 60.0
    return (
        f"{text}, most at {minutes:.1f} min ({error[worst]:+.1f} mm). The final result counts.",
    )
