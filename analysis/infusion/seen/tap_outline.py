"""A part's outline tapped on one of its photos, and written into part.toml as its scale.

Tested in tests/analysis/commands/test_camera.py.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.infusion.seen.part_setup import camera_to_place
from analysis.part.plan.part_toml import read_part
from vision.common.atomic_files import write_text
from vision.common.outside.input_files import read_text
from vision.common.toml_table import read_toml
from vision.drawing.strokes import Image, save_image
from vision.errors import WetlineError
from vision.frames.reader import Frames
from vision.frames.source import open_frames
from vision.parts.part_settings import PartCamera
from vision.parts.tapping.asked_points import AskedPoint, points_to_tap
from vision.parts.tapping.plan_sketch import plan_sketch
from vision.parts.tapping.tap_check import (
    Pixel,
    draw_back,
    far_off,
    fit_taps,
    fits_turned,
    with_taps,
)
from vision.parts.tapping.tap_window import prompts_of
from vision.records import Frame
from vision.scale.corner_picker import write_grid_picture
from vision.scale.sheet_lines import replace_scale

GRID, PLAN, DRAWN = "tap_photo.png", "tap_plan.png", "tap_drawn_back.jpg"
"""Pictures in the results folder: the photo with a grid of pixels, the plan, the plan on it."""

PASSED = "-"


@dataclass(frozen=True)
class Tapping:
    """What is tapped, and on what.

    Attributes
    ----------
    camera : PartCamera
        Of the part, its scale still to be found.
    photo : Frame
    focal_35mm : float or None
        Where the photos tell it.
    asked : tuple of AskedPoint
    said : str
        How a fault names the points, such as ``"--points"``; the photo where empty.
    """

    camera: PartCamera
    photo: Frame
    focal_35mm: float | None
    asked: tuple[AskedPoint, ...]
    said: str = ""


@dataclass(frozen=True)
class Tapped:
    """Tapped points that fit the plan.

    Attributes
    ----------
    camera : PartCamera
        With the points as its scale.
    drawn : Image
        The plan drawn back on the photo.
    error_mm : float
        Expected error of places on the part.
    warnings : tuple of str
    """

    camera: PartCamera
    drawn: Image
    error_mm: float
    warnings: tuple[str, ...]


def begin(path: Path, photo: str | None = None) -> Tapping:
    """Choose the photo and the points to tap on it.

    Parameters
    ----------
    path : Path
        A part.toml, or the folder it lies in.
    photo : str, optional
        Name of one of the part's photos, or its path; the first where left out.

    Raises
    ------
    WetlineError
        If the plan or the photos cannot be read, or the plan has too few corners.
    """
    camera = camera_to_place(read_part(path))
    setup = camera.setup()
    asked = points_to_tap(camera.shape, setup.shown_file)
    with open_frames(setup) as frames:
        frame = frames.read(_index_of(frames, photo))
        return Tapping(camera, frame, camera.scale.focal_35mm or frames.focal_35mm, asked)


def _index_of(frames: Frames, photo: str | None) -> int:
    if photo is None:
        return 0
    wanted = Path(photo).name.lower()
    for index, name in enumerate(frames.names):
        if wanted in (name.lower(), Path(name).stem.lower()):
            return index
    raise WetlineError(f"{photo}: not among the part's photos: they are named as {frames.names[0]}")


def tapped(tapping: Tapping, taps: Sequence[Pixel | None]) -> Tapped:
    """Check tapped points against the plan and draw it back on the photo.

    Parameters
    ----------
    tapping : Tapping
    taps : sequence of (x, y) or None
        Pixels of the photo by the order of `asked`; None for a point that was passed over.

    Raises
    ------
    WetlineError
        If they are too few, in another order, or do not fit the plan.
    """
    image = tapping.photo.image
    camera = with_taps(tapping.camera, tapping.asked, taps, tapping.photo.name, tapping.said)
    plane = fit_taps(camera, image, tapping.focal_35mm, tapping.said)
    warnings = [text for text in (far_off(camera, plane), plane.question) if text]
    if fits_turned(camera, plane.image_size):
        warnings.append(
            "these points fit the plan turned or mirrored as well: see that the feeds are drawn "
            "where they are on the part"
        )
    return Tapped(camera, draw_back(camera, plane, image), plane.error_mm, tuple(warnings))


def write_drawn(found: Tapped, results: Path) -> Path:
    """Write the plan drawn back on the photo and return where."""
    path = results / DRAWN
    path.parent.mkdir(parents=True, exist_ok=True)
    save_image(path, found.drawn)
    return path


def write_scale(found: Tapped) -> list[str]:
    """Write tapped points into part.toml as its scale; all else in it stays as it is.

    Returns
    -------
    lines : list of str
        What was written under `[scale]`.

    Raises
    ------
    WetlineError
        If the file cannot be changed safely.
    """
    path = found.camera.file
    lines = outline_lines(found)
    told = read_toml(path).get("scale")
    other = isinstance(told, dict) and told.get("method") != "outline"
    write_text(path, replace_scale(read_text(path), lines, path.name, keep_old=other))
    return lines


def outline_lines(found: Tapped) -> list[str]:
    """Return the lines of part.toml, under `[scale]`, for tapped points."""
    scale = found.camera.scale
    lines = [
        'method = "outline"',
        f"photo = {json.dumps(scale.photo, ensure_ascii=False)}",
        f"points_px = {_listed(scale.points_px)}",
        f"points_mm = {_listed(scale.points_mm)}",
    ]
    if scale.focal_35mm is not None:
        lines.append(f"focal_35mm = {scale.focal_35mm:g}")
    return lines


def _listed(points: Sequence[Pixel]) -> str:
    return "[" + ", ".join(f"[{x:.10g}, {y:.10g}]" for x, y in points) + "]"


def read_taps(text: str, tapping: Tapping) -> list[Pixel | None]:
    """Read points as typed: ``"120,80 900,85 - 118,610"``, a dash for one that does not show.

    Raises
    ------
    WetlineError
        If it is not so written, or has more points than were asked for.
    """
    taps: list[Pixel | None] = []
    for one in text.split():
        pair = one.split(",")
        try:
            taps.append(None if one == PASSED else (float(pair[0]), float(pair[1])))
            known = one == PASSED or len(pair) == 2
        except (ValueError, IndexError):
            known = False
        if not known:
            raise WetlineError(
                f'--points {one}: must be the pixels x,y of a corner, as "120,80", or - for one '
                "that does not show"
            )
    if len(taps) > len(tapping.asked):
        raise WetlineError(
            f"--points: {len(taps)} points, but {len(tapping.asked)} corners are asked for"
        )
    return taps


def how_to_tap(tapping: Tapping, path: Path, results: Path) -> list[str]:
    """Write photo and plan as pictures, and return how to read the points off them by hand."""
    write_grid_picture(results / GRID, tapping.photo.image)
    save_image(results / PLAN, plan_sketch(tapping.camera.shape, tapping.asked, (900, 700)))
    return [
        "No window can be opened here. Read the corners by hand:",
        f"1  Open {results / PLAN}: the plan as seen from above, with the corners numbered.",
        f"2  Open {results / GRID}: {tapping.photo.name} with a grid of its pixels, x to the "
        "right and y down.",
        "3  Read off the pixels of each corner, in this order (four at least, more are surer):",
        *(f"   {line}" for line in prompts_of(tapping.asked)),
        f'4  wetline corners {path} {tapping.photo.name} --points "x,y x,y x,y x,y ..."'
        "   (- for a corner that does not show)",
    ]
