"""When the run ends: the recorded-run tracker's result, and how far the live one was from it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import numpy as np

from analysis.answer import answer, plain_lines
from analysis.panel import read_panel
from analysis.plots import distance_figure, png_bytes
from analysis.report import build_report
from vision.files import replace_file, write_json, write_text
from vision.frames import open_frames
from vision.front_csv import write_front_csv
from vision.lines import choose_times_s, front_lines
from vision.live import Reading
from vision.live_picture import jpeg_bytes
from vision.overlay import draw_front_lines
from vision.records import FloatArray, Frame, Tracked
from vision.setup import read_setup
from vision.stamps import RESIN_OPEN, read_stamps, stamped_clock_s
from vision.tracker import Tracker, track_frames

MOST_OFF_MM = 2.0


def finish_run(
    folder: Path, firm: Sequence[Reading], progress: Callable[[int, int], None] | None = None
) -> tuple[str, ...]:
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
    lines : tuple of str
        The verdict first, then how far the live front was off.

    Raises
    ------
    WetlineError
        As the tracker.
    """
    setup = read_setup(folder)
    stamped = stamped_clock_s(read_stamps(folder), RESIN_OPEN)
    with open_frames(setup) as frames:
        count = len(frames)
        first_s = float(frames.clock_s[0])
        if setup.frames.resin_start is None and stamped is not None and frames.has_clock:
            source = replace(setup.frames, resin_start=stamped - first_s)
            setup = replace(setup, frames=source)

        def told(source: Iterable[Frame]) -> Iterable[Frame]:
            for k, frame in enumerate(source):
                if progress is not None:
                    progress(k, count)
                yield frame

        tracked, tracker = track_frames(setup, frames, told)
        last = frames.read(len(frames) - 1)
    write_results(folder, tracked, tracker, last)
    results = answer(read_panel(folder), tracked.curve, tracked.front, tracked.scale)
    return (*plain_lines(results), *difference_lines(firm, tracked, tracker.start_clock_s))


def write_results(folder: Path, tracked: Tracked, tracker: Tracker, last: Frame) -> None:
    """Write front.csv, results.json, the pictures and the report into ``results``."""
    panel, results = read_panel(folder), folder / "results"
    document = answer(panel, tracked.curve, tracked.front, tracked.scale)
    write_front_csv(results / "front.csv", tracked.curve)
    write_json(results / "results.json", document)
    pictures: dict[str, bytes] = {}
    curve = tracked.curve
    figure = distance_figure(curve.time_s, curve.front_mean_mm, curve.used, flow=curve.flow)
    pictures["curve"] = png_bytes(figure)
    if tracked.arrival is not None:
        times = choose_times_s(tracked.arrival.last_s)
        size = (tracked.scale.length_mm, tracked.scale.width_mm)
        drawn = draw_front_lines(
            last.image,
            tracker.planes[-1],
            front_lines(tracked.arrival, times, flow=curve.flow),
            title=panel.name,
            panel_mm=size,
        )
        pictures["front_lines"] = jpeg_bytes(drawn, 90)
    for name, data in pictures.items():
        _write(results / f"{name}.{'jpg' if name == 'front_lines' else 'png'}", data)
    settings = (folder / "panel.toml").read_text(encoding="utf-8", errors="replace")
    page = build_report(
        document,
        pictures,
        {"Panel": panel.name},
        settings,
        title=panel.name,
        version=_version(),
        made=f"{datetime.now():%Y-%m-%d %H:%M}",
    )
    write_text(results / "report.html", page)


def _write(path: Path, data: bytes) -> None:
    replace_file(path, lambda part: part.write_bytes(data))


def _version() -> str:
    try:
        return version("wetline")
    except PackageNotFoundError:
        return ""


def live_error_mm(firm: Sequence[Reading], tracked: Tracked) -> FloatArray:
    """Live front less recorded front at each frame both know."""
    recorded = dict(zip(tracked.curve.frames, tracked.curve.front_mean_mm, strict=True))
    pairs = [(r.front_mm, recorded[r.name]) for r in firm if r.name in recorded]
    return np.array([float(live - final) for live, final in pairs])


def difference_lines(
    firm: Sequence[Reading], tracked: Tracked, start_clock_s: float
) -> tuple[str, ...]:
    """Say how far the live front was from the final result."""
    error = live_error_mm(firm, tracked)
    if not len(error):
        return ("The live front has no frame in common with the final result.",)
    rms = float(np.sqrt(np.mean(error**2)))
    worst = int(np.argmax(np.abs(error)))
    text = f"Live front against the final result: {rms:.1f} mm apart (rms)"
    if rms <= MOST_OFF_MM:
        return (f"{text}, at most {abs(error[worst]):.1f} mm.",)
    at = [r for r in firm if r.name in set(tracked.curve.frames)][worst]
    minutes = (at.clock_s - start_clock_s) / 60.0
    return (
        f"{text}, most at {minutes:.1f} min ({error[worst]:+.1f} mm). The final result counts.",
    )
