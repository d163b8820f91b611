"""What a run on a part leaves in its results folder: the map, the table, pictures and page."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import numpy as np

from analysis.infusion.answer.late_map import late_map, resin_picture
from analysis.infusion.answer.part_run import InfusionAnswer
from analysis.infusion.answer.photo_lines import draw_photo
from analysis.infusion.answer.run_json import run_json
from analysis.infusion.answer.run_page import page
from analysis.part.answer import figures
from analysis.part.part_folder import MAP, NUMBERS, PAGE, TABLE
from vision.common.atomic_files import (
    remove_file,
    replace_file,
    sweep_leftovers,
    write_json,
    write_text,
)
from vision.drawing.strokes import Image, save_image

LINES, LATE, RESIN = "part_lines.jpg", "part_late.png", "part_resin_seen.png"
PHOTOS = "part_lines"
"""The folder for the lines on each photo."""
LENS = ("lens_camera", "lens_distortion")
"""Arrays of the map's file that hold the lens, where it is known."""

HEADER = ("frame", "time_s", "wetted_fraction", "wetted_sd", "resin_in_kg", "used", "note")


def write_run(run: InfusionAnswer, results: Path, last_photo: tuple[int, Image] | None) -> None:
    """Write everything about a run but the lines on all photos.

    Parameters
    ----------
    run : InfusionAnswer
    results : Path
    last_photo : (int, ndarray of shape (H, W, 3)), optional
        The last photo and its number among the run's frames. Pictures of an earlier run that this
        one has no ground for are taken away.
    """
    sweep_leftovers(results)
    write_arrival(run, results / MAP)
    write_text(results / TABLE, table(run))
    pictures: list[tuple[Path, str]] = []
    if last_photo is not None:
        save_image(results / LINES, draw_photo(run, last_photo[1], last_photo[0]))
        pictures.append((results / LINES, "Planned (dashed) and seen (solid) front, last photo"))
    else:
        remove_file(results / LINES)
    if run.beside is None:
        for name in (LATE, RESIN):
            remove_file(results / name)
    else:
        figures.save(late_map(run), [results / LATE])
        figures.save(resin_picture(run), [results / RESIN])
        pictures.append((results / LATE, "Minutes early (-) and late (+); the numbers are above"))
        pictures.append((results / RESIN, "Resin taken in, planned and seen"))
    write_json(results / NUMBERS, run_json(run))
    write_text(results / PAGE, page(run, pictures))


def write_photo(run: InfusionAnswer, results: Path, index: int, image: Image) -> Path:
    """Write the lines on one photo of the run and return where."""
    path = results / PHOTOS / f"{Path(run.seen.frames[index]).stem}.jpg"
    path.parent.mkdir(parents=True, exist_ok=True)
    save_image(path, draw_photo(run, image, index))
    return path


def write_arrival(run: InfusionAnswer, path: Path) -> None:
    """Write the arrival map as seen, on the part's own grid, and where each photo shows it."""
    seen = run.seen
    lens: dict[str, Any] = {} if seen.lens is None else dict(zip(LENS, seen.lens, strict=True))

    def write(part: Path) -> None:
        with part.open("wb") as file:
            np.savez_compressed(
                file,
                time_s=seen.time_s,
                seen=seen.seen,
                sd_s=seen.sd_s,
                x_mm=seen.x_mm,
                y_mm=seen.y_mm,
                inside=seen.inside,
                last_s=seen.last_s,
                start_sd_s=seen.start_sd_s,
                frames=np.array(seen.frames, dtype=np.str_),
                frame_s=seen.frame_s,
                homographies=seen.homographies,
                **lens,
            )

    replace_file(path, write)


def table(run: InfusionAnswer) -> str:
    """Return part_front.csv: a row per photo, empty where a number is not known."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADER)
    seen = run.seen
    for k, name in enumerate(seen.frames):
        mass = float("nan") if run.resin is None else run.resin.resin_in_kg[k]
        numbers = (
            _text(seen.frame_s[k], 1),
            _text(seen.wetted_share[k], 5),
            _text(seen.wetted_sd[k], 5),
            _text(mass, 4),
        )
        writer.writerow([name, *numbers, "yes" if seen.used[k] else "no", seen.notes[k]])
    return out.getvalue()


def _text(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}" if np.isfinite(value) else ""
