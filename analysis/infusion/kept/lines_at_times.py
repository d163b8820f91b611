"""Front lines of a part that was run, at asked times on one of its photos.

Tested in tests/analysis/commands/test_camera.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.infusion.answer.front_levels import front_levels
from analysis.infusion.answer.photo_lines import LINES, draw_fronts
from analysis.infusion.answer.run_files import LENS, MAP, PHOTOS
from analysis.infusion.kept.kept_run import KeptRun, read_kept
from analysis.infusion.seen.part_setup import part_camera
from analysis.part.answer.job import answer_job
from vision.common.outside.stored_results import read_arrays
from vision.drawing.front_lines import choose_times_s, time_label
from vision.drawing.strokes import save_image
from vision.errors import WetlineError
from vision.frames.source import open_frames

PLACES = ("frames", "frame_s", "homographies")
"""Arrays of the map's file that tell where each photo shows the part."""


def write_lines(path: Path, photo: str | None, times_s: list[float] | None) -> Path:
    """Draw planned and seen front at asked times on a photo of a part's run, and write it.

    Parameters
    ----------
    path : Path
        A part.toml, or the folder it lies in.
    photo : str or None
        first, last (as left out), or the name of one of its photos.
    times_s : list of float or None
        Seconds since resin start; a few round ones up to the photo where None.

    Returns
    -------
    picture : Path
        In ``results/part_lines``.

    Raises
    ------
    WetlineError
        If the part was not run or could not be measured, or there is no such photo.
    """
    kept = read_kept(path)
    photos = _places(kept)
    index = _index_of(photos, photo)
    plane = photos["homographies"][index]
    name, now = str(photos["frames"][index]), float(photos["frame_s"][index])
    if not kept.numbers["seen"]["usable"]:
        raise WetlineError(f"{kept.job.path}: was {kept.left_out}: there are no lines to draw")
    if not np.isfinite(plane).all():
        raise WetlineError(f"{name}: the part was not found in this photo: choose another")
    camera = part_camera(kept.job)
    with open_frames(camera.setup()) as frames:
        image = frames.read(frames.names.index(name)).image
    times = choose_times_s(now, LINES) if times_s is None else sorted(times_s)
    planned = answer_job(kept.job, kept.results, lambda text: None)
    seen = kept.arrival
    lit = [at for at in times if at <= seen.last_s]
    seen_lines = front_levels(seen.time_s, seen.x_mm, seen.y_mm, lit, seen.seen)
    planned_lines = front_levels(planned.arrival_s, planned.x_mm, planned.y_mm, times)
    lens = (photos[LENS[0]], photos[LENS[1]]) if LENS[0] in photos else None
    until = time_label(max(times, default=0.0))
    head = [planned.name, f"planned and seen front, up to {until}"]
    if times and max(times) > seen.last_s:
        head.append(f"after {time_label(seen.last_s)} (last photo): planned only")
    draw_fronts(image, kept.job.plan, plane, planned_lines, seen_lines, head, lens)
    picture = kept.results / PHOTOS / f"{Path(name).stem}{_named(times_s)}.jpg"
    picture.parent.mkdir(parents=True, exist_ok=True)
    save_image(picture, image)
    return picture


def _named(times_s: list[float] | None) -> str:
    """Return what asked times add to the picture's name, so that it is not the run's own.

    Examples
    --------
    >>> _named([60.0, 150.0]), _named(None)
    ('_1_2.5_min', '')
    """
    if times_s is None:
        return ""
    return "_" + "_".join(f"{at / 60:.3g}" for at in times_s[:8]) + "_min"


def _places(kept: KeptRun) -> Mapping[str, NDArray[Any]]:
    """Return where each photo of a run shows the part."""
    try:
        photos = read_arrays(kept.results / MAP)
    except (OSError, ValueError):
        photos = {}
    count = photos["frames"].size if "frames" in photos else -1
    shapes = ((count,), (count,), (count, 3, 3))
    if not all(
        key in photos and photos[key].shape == shape
        for key, shape in zip(PLACES, shapes, strict=True)
    ):
        raise WetlineError(
            f"{kept.results / MAP}: does not say where the photos show the part: run "
            f"`wetline run {kept.path}` again"
        )
    return photos


def _index_of(photos: Mapping[str, NDArray[Any]], photo: str | None) -> int:
    """Return which of the run's photos is meant."""
    names = [str(name) for name in photos["frames"]]
    shown = np.flatnonzero(np.isfinite(photos["homographies"]).all(axis=(1, 2)))
    if photo in (None, "last"):
        return int(shown[-1]) if len(shown) else len(names) - 1
    if photo == "first":
        return int(shown[0]) if len(shown) else 0
    wanted = Path(str(photo)).name.lower()
    for index, name in enumerate(names):
        if wanted in (name.lower(), Path(name).stem.lower()):
            return index
    raise WetlineError(f"{photo}: not among the part's photos: they are named as {names[0]}")
