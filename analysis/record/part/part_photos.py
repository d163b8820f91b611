"""The photos of a part's day, with planned and seen front where the part is found in them."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from analysis.infusion.answer.front_levels import Level, front_levels
from analysis.infusion.answer.photo_lines import LINES, draw_fronts
from analysis.infusion.kept.kept_run import KeptRun
from analysis.infusion.seen.part_setup import camera_to_place, part_camera
from analysis.infusion.seen.tap_outline import Tapping, tapped
from analysis.part.answer.part_answer import PartAnswer
from analysis.part.plan.part_toml import read_part
from analysis.part.plan.plan import PartPlan
from analysis.record.day.day_records import (
    AFTER_RUN,
    BACK,
    BEFORE_RUN,
    Day,
    Points,
    StagePhoto,
)
from analysis.record.day.stage_pictures import StagePicture, shown_photos
from vision.drawing.front_lines import choose_times_s, time_label
from vision.drawing.strokes import Image
from vision.errors import WetlineError
from vision.frames.source import open_frames
from vision.parts.elsewhere.other_photo import part_in_photo
from vision.parts.part_settings import PartCamera, box_map
from vision.parts.tapping.asked_points import AskedPoint, points_to_tap
from vision.parts.tapping.tap_check import Pixel
from vision.parts.track_part import lens_of, part_rectifier
from vision.records import Frame
from vision.rectify.rectifier import Rectifier

MIRRORED = "no lines: the back shows the part mirrored"


@dataclass(frozen=True)
class _Bench:
    """The run that lines are taken from, and its eyes where its photos can be opened."""

    camera: PartCamera
    run: Rectifier | None
    plan: PartPlan
    planned: Sequence[Level]
    seen: Sequence[Level]
    last_s: float


def corners_to_tap(folder: Path) -> tuple[PartCamera, tuple[AskedPoint, ...]]:
    """Return a part's camera, its scale left open, and the corners to tap in a photo of it.

    Raises
    ------
    WetlineError
        If part.toml has no [frames], cannot be read, or has too few corners.
    """
    camera = camera_to_place(read_part(folder))
    return camera, points_to_tap(camera.shape, camera.setup().shown_file)


def tapped_in(
    folder: Path, image: Image, taps: Sequence[Pixel | None], said: str = "corners"
) -> tuple[Points, Points]:
    """Check corners tapped in one photo of a part against its plan.

    Parameters
    ----------
    folder : Path
        The part's folder.
    image : ndarray of shape (H, W, 3), uint8
        The upright photo.
    taps : sequence of (x, y) or None
        In the order of `corners_to_tap`; None for one that does not show.
    said : str
        How a fault names them, such as ``"--corners"``.

    Returns
    -------
    points_px, points_mm : tuple of (x, y)
        In the photo and on the plan.

    Raises
    ------
    WetlineError
        If they are too few, in another order, or do not fit the plan.
    """
    camera, asked = corners_to_tap(folder)
    if len(taps) > len(asked):
        raise WetlineError(f"{said}: {len(asked)} are asked for, no more")
    found = tapped(Tapping(camera, Frame(0, said, 0.0, image), None, asked, said), taps)
    return found.camera.scale.points_px, found.camera.scale.points_mm


def part_pictures(kept: KeptRun, planned: PartAnswer, day: Day) -> list[StagePicture]:
    """Draw a day's photos for the record of a part.

    Parameters
    ----------
    kept : KeptRun
    planned : PartAnswer
        The plan, filled.
    day : Day

    Returns
    -------
    pictures : list of StagePicture
        In the order of the day; without lines where nothing was measured.
    """
    folder = kept.job.path.parent
    if not day.photos or not kept.numbers["seen"]["usable"]:
        return shown_photos(folder, day, None)
    with ExitStack() as stack:
        try:
            bench = _bench(kept, planned, stack)
        except WetlineError as error:
            why = f"no lines: {error}"
            return shown_photos(folder, day, lambda image, photo: (image, why))
        return shown_photos(folder, day, partial(_with_lines, bench))


def _bench(kept: KeptRun, planned: PartAnswer, stack: ExitStack) -> _Bench:
    camera, seen = part_camera(kept.job), kept.arrival
    try:
        frames = stack.enter_context(open_frames(camera.setup()))
        run = part_rectifier(camera, frames)[0]
    except WetlineError:
        run = None
    times_s = choose_times_s(seen.last_s, LINES)
    return _Bench(
        camera=camera,
        run=run,
        plan=kept.job.plan,
        planned=front_levels(planned.arrival_s, planned.x_mm, planned.y_mm, times_s),
        seen=front_levels(seen.time_s, seen.x_mm, seen.y_mm, times_s, seen.seen),
        last_s=seen.last_s,
    )


def _with_lines(bench: _Bench, image: Image, photo: StagePhoto) -> tuple[Image, str]:
    """Draw on one photo: the planned front before the run, the seen one too after it.

    A demoulded part has left its place, so the run's own camera no longer tells where it lies.
    """
    if photo.stage == BACK:
        return image, MIRRORED
    points = (photo.corners_px, photo.points_mm) if photo.points_mm else None
    run = None if photo.stage in AFTER_RUN else bench.run
    try:
        plane, by = part_in_photo(image, bench.camera, run, points)
    except WetlineError as error:
        return image, f"no lines: {error}"
    early = photo.stage in BEFORE_RUN
    head = [bench.plan.name, f"{photo.stage}, up to {time_label(bench.last_s)}"]
    on_photo = plane.homography @ box_map(bench.camera.shape)
    drawn = np.ascontiguousarray(image.copy())
    seen = [] if early else bench.seen
    draw_fronts(drawn, bench.plan, on_photo, bench.planned, seen, head, lens_of(plane))
    return drawn, f"{'planned front' if early else 'planned and seen front'} {by}"
