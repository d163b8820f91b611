"""The pictures of a tracked panel: front lines on a photo, plan view, time-lapse.

Tested in tests/test_whole_job.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np

from vision.common.outside.input_files import MOST_PIXELS, is_there
from vision.drawing.front_lines import FrontLine, choose_times_s, front_lines
from vision.drawing.overlay import draw_front_lines
from vision.drawing.strokes import Image, save_image
from vision.drawing.timelapse import FilmContent, annotated_video
from vision.errors import WetlineError
from vision.frames.exif import read_header
from vision.frames.photo_times import Photo
from vision.frames.photos import decode_photo
from vision.frames.reader import Frames
from vision.front.front_csv import read_front_csv
from vision.front.results import StoredRun
from vision.records import ArrivalMap, Frame, FrontSummary, Tracked
from vision.rectify.other_photo import plane_in_photo
from vision.rectify.rectifier import Rectifier
from vision.scale.plane_map import PlaneMap
from vision.settings.panel_settings import PanelSetup
from vision.settings.scale_settings import Points

SMOOTH_MM = 2.0


def lines_of(arrival: ArrivalMap, flow: str, times_s: list[float] | None = None) -> list[FrontLine]:
    """Return the front lines at chosen times, or at round minutes."""
    chosen = times_s if times_s is not None else choose_times_s(_moving_until(arrival))
    return front_lines(arrival, chosen, flow=flow, smooth_mm=SMOOTH_MM)


def _moving_until(arrival: ArrivalMap) -> float:
    """Time by which nearly all that ever wetted was wet: lines after it would say nothing."""
    wet = arrival.time_s[np.isfinite(arrival.time_s)]
    return float(np.quantile(wet, 0.995)) if wet.size else arrival.last_s


def lines_on_photo(
    image: np.ndarray,
    plane: PlaneMap,
    arrival: ArrivalMap,
    setup: PanelSetup,
    subtitle: str = "",
    times_s: list[float] | None = None,
    inch: bool = False,
) -> np.ndarray:
    """Draw the labelled front lines on one photo at full resolution."""
    return draw_front_lines(
        image,
        plane,
        lines_of(arrival, setup.flow, times_s),
        title=setup.name,
        panel_mm=(plane.length_mm, plane.width_mm),
        subtitle=subtitle,
        inch=inch,
    )


def lines_on_last(
    setup: PanelSetup, frames: Frames, tracked: Tracked, run: StoredRun, inch: bool
) -> Image | None:
    """Draw the front lines on the last photo of a run in which the panel was found.

    Parameters
    ----------
    setup : PanelSetup
    frames : Frames
        Of the run.
    tracked : Tracked
    run : StoredRun
    inch : bool
        Whether lengths are in inches.

    Returns
    -------
    picture : ndarray of shape (H, W, 3), uint8, or None
        None where the panel was found in none of them.
    """
    placed = [k for k, name in enumerate(frames.names) if run.placed.homography(name) is not None]
    if not placed:
        return None
    frame = frames.read(placed[-1])
    plane = plane_for(frame, run, Rectifier(setup, frames))
    times: list[float] | None = None if tracked.front.usable else []
    subtitle = subtitle_of(tracked.front, run.arrival.last_s)
    return lines_on_photo(frame.image, plane, run.arrival, setup, subtitle, times, inch)


def subtitle_of(front: FrontSummary, end_s: float) -> str:
    """Return in a few words what the lines show."""
    if not front.usable:
        return "front not measured"
    start = f"resin start {front.resin_start[11:19]}, " if front.resin_start else ""
    return f"{start}front lines to {end_s / 60:.0f} min"


def choose_photo(frames: Frames, photo: str | None, run: StoredRun) -> Frame:
    """Find the photo to draw on: ``first``, ``last``, the name of a frame, or any file.

    Raises
    ------
    WetlineError
        If there is no such frame or file, or it is no picture.
    """
    if photo in (None, "last"):
        return frames.read(len(frames) - 1)
    if photo == "first":
        return frames.read(0)
    for index, name in enumerate(frames.names):
        if str(photo).lower() in (name.lower(), name.rpartition(".")[0].lower()):
            return frames.read(index)
    path = Path(str(photo))
    if not is_there(path):
        raise WetlineError(
            f"{photo}: neither a frame of this panel nor a file: give first, last, a name such as "
            f"{frames.names[0]}, or the path of a photo"
        )
    return Frame(-1, path.name, math.nan, read_photo(path))


def read_photo(path: Path) -> Image:
    """Read a photo from disk, upright.

    Raises
    ------
    WetlineError
        If it is no picture that can be read.
    """
    try:
        header = read_header(path)
        if math.prod(header.size) > MOST_PIXELS:
            raise WetlineError(
                f"{path}: more than {MOST_PIXELS // 1_000_000} million pixels: save it smaller"
            )
        image = decode_photo(Photo(path, header))
    except OSError:
        image = None
    if image is None:
        raise WetlineError(f"{path}: not a picture that can be read: save it as JPEG or PNG")
    return image


def plane_for(frame: Frame, run: StoredRun, rectifier: Rectifier) -> PlaneMap:
    """Return where the panel lies in a frame of the run.

    Raises
    ------
    WetlineError
        If the panel cannot be found in it.
    """
    homography = run.placed.homography(frame.name)
    if homography is not None:
        return replace(rectifier.plane, homography=homography)
    flat = rectifier.rectify(frame)
    if flat.lost:
        raise WetlineError(f"{frame.name}: the panel could not be found in this photo")
    return flat.plane


def lines_on_other_photo(
    image: Image,
    setup: PanelSetup,
    run: StoredRun,
    frames: Frames | None = None,
    *,
    corners_px: Points = (),
    times_s: list[float] | None = None,
    subtitle: str = "",
    inch: bool = False,
) -> tuple[Image, str]:
    """Draw the front lines and a scale bar on a photo that is not of the run.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3), uint8
        The upright photo, from any camera, also of the demoulded panel.
    setup, run
        The panel and what was tracked.
    frames : Frames, optional
        The run's frames, for a photo from the run's own camera.
    corners_px : tuple of 4 (x, y), optional
        The panel's corners in the photo; they go before the cards.
    times_s : list of float, optional
        Which lines; left out, at round minutes.
    subtitle : str
        What the photo shows.
    inch : bool
        Whether lengths are in inches.

    Returns
    -------
    picture : ndarray of shape (H, W, 3), uint8
    by : str
        What the place of the lines rests on.

    Raises
    ------
    WetlineError
        If the panel cannot be found in it.
    """
    size_mm = (run.arrival.length_mm, run.arrival.width_mm)
    plane, by = plane_in_photo(image, setup, size_mm, frames, corners_px)
    return lines_on_photo(image, plane, run.arrival, setup, subtitle or by, times_s, inch), by


def write_pictures(
    setup: PanelSetup,
    frames: Frames,
    run: StoredRun,
    results: Path,
    *,
    photo: str | None = None,
    times_s: list[float] | None = None,
    video: bool = False,
    progress: Callable[[Iterable[Frame]], Iterable[Frame]] = lambda items: items,
) -> list[Path]:
    """Write front lines on a photo, the plan view and, if wanted, the time-lapse.

    Returns
    -------
    written : list of Path
    """
    from vision.drawing.plan_view import plan_view  # matplotlib

    frame = choose_photo(frames, photo, run)
    tail = "" if photo is None else f"_{Path(frame.name).stem}".replace("@", "_")
    written = [results / f"front_lines{tail}.png", results / "plan_view.png"]
    rectifier = Rectifier(setup, frames)
    if frame.index < 0:
        drawn = _on_other_photo(frame, setup, run, frames, times_s)
        frame = frames.read(len(frames) - 1)
    else:
        plane, minutes = plane_for(frame, run, rectifier), _minutes(frame, run)
        shown = f"photo at {minutes:.0f} min"
        drawn = lines_on_photo(frame.image, plane, run.arrival, setup, shown, times_s)
    save_image(written[0], drawn)
    canvas = rectifier.rectify(frame).canvas
    lines = lines_of(run.arrival, setup.flow, times_s)
    save_image(written[1], plan_view(canvas, run.arrival, lines, title=setup.name, flow=setup.flow))
    if video:
        path = results / "front_lines.mp4"
        curve = read_front_csv(results / "front.csv")
        start_s = run.placed.start_clock_s
        content = FilmContent(run.arrival, start_s, setup.name, setup.flow, curve)
        annotated_video(
            path, progress(frames), lambda item: plane_for(item, run, rectifier), content
        )
        written.append(path)
    return written


def _minutes(frame: Frame, run: StoredRun) -> float:
    return (frame.clock_s - run.placed.start_clock_s) / 60


def _on_other_photo(
    frame: Frame, setup: PanelSetup, run: StoredRun, frames: Frames, times_s: list[float] | None
) -> Image:
    try:
        return lines_on_other_photo(frame.image, setup, run, frames, times_s=times_s)[0]
    except WetlineError as error:
        raise WetlineError(
            f"{frame.name}: {error}; `wetline record` takes the photo with its corners"
        ) from error
