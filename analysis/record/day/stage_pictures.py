"""The stage photos as the record shows them: small, with the front lines where they can be told."""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from analysis.record.day.day_records import AFTER_RUN, BACK, BEFORE_RUN, Day, StagePhoto
from vision.drawing.pictures import lines_on_last, lines_on_other_photo, read_photo
from vision.drawing.strokes import SMALL_PX, Image, encode_image, small_jpeg
from vision.errors import WetlineError
from vision.frames.reader import Frames
from vision.frames.source import open_frames
from vision.front.results import StoredRun, load_run
from vision.records import Tracked
from vision.settings.panel_settings import PanelSetup, read_setup

FULL_SIZE = 8
"""So many photos are shown at full size; more share the room of these."""
NEEDS_CORNERS = (
    "no front lines: the back shows the panel mirrored: file it with its four corners (--corners) "
    "to have them drawn"
)

Draw = Callable[[Image, StagePhoto], tuple[Image, str]]


@dataclass(frozen=True)
class StagePicture:
    """A stage photo ready to show.

    Attributes
    ----------
    photo : StagePhoto
    jpeg : bytes
        Empty where the file is missing or is no picture.
    words : str
        What the lines rest on, or why there are none; may be empty.
    """

    photo: StagePhoto
    jpeg: bytes
    words: str


def stage_pictures(folder: Path, day: Day, usable: bool, inch: bool = False) -> list[StagePicture]:
    """Draw a day's photos for the record.

    Parameters
    ----------
    folder : Path
        The panel folder.
    day : Day
    usable : bool
        Whether a front was measured: without one nothing is drawn on them.
    inch : bool
        Whether lengths on them are in inches.

    Returns
    -------
    pictures : list of StagePicture
        In the order of the day.
    """
    if not day.photos:
        return []
    with ExitStack() as stack:
        bench = _bench(folder, stack, inch) if usable else None
        return shown_photos(folder, day, None if bench is None else partial(_with_lines, bench))


def shown_photos(folder: Path, day: Day, draw: Draw | None) -> list[StagePicture]:
    """Make a day's photos ready to show.

    Parameters
    ----------
    folder : Path
        Of the panel or part.
    day : Day
    draw : callable or None
        Takes a photo's picture and what is filed of it; returns the picture with lines on it, and
        what they rest on or why there are none.
    """
    widest = widest_px(len(day.photos))
    return [_shown(folder, photo, draw, widest) for photo in day.photos]


def widest_px(count: int) -> int:
    """Return how large each of so many photos may be, for a report that can still be mailed.

    Examples
    --------
    >>> widest_px(7), widest_px(20)
    (1000, 632)
    """
    return min(SMALL_PX, int(SMALL_PX * math.sqrt(FULL_SIZE / max(count, 1))))


@dataclass(frozen=True)
class _Bench:
    """The run that lines are taken from, and its frames where they can be opened."""

    setup: PanelSetup
    run: StoredRun
    frames: Frames | None
    inch: bool


def _bench(folder: Path, stack: ExitStack, inch: bool) -> _Bench | None:
    try:
        setup, run = read_setup(folder), load_run(folder / "results")
    except WetlineError:
        return None
    try:
        return _Bench(setup, run, stack.enter_context(open_frames(setup)), inch)
    except WetlineError:
        return _Bench(setup, run, None, inch)


def _shown(folder: Path, photo: StagePhoto, draw: Draw | None, widest: int) -> StagePicture:
    try:
        image = read_photo(folder / photo.file)
    except WetlineError:
        return StagePicture(photo, b"", "the photo is missing or cannot be read")
    words = ""
    if draw is not None:
        image, words = draw(image, photo)
    return StagePicture(photo, small_jpeg(image, widest), words)


def _with_lines(bench: _Bench, image: Image, photo: StagePhoto) -> tuple[Image, str]:
    """Draw on one photo: a scale bar before the run, the front lines too after it.

    A demoulded panel has left its place, so the run's own camera no longer tells where it lies.
    """
    if photo.stage == BACK and not photo.corners_px:
        return image, NEEDS_CORNERS
    early = photo.stage in BEFORE_RUN
    frames = None if photo.stage in AFTER_RUN else bench.frames
    try:
        drawn, by = lines_on_other_photo(
            image,
            bench.setup,
            bench.run,
            frames,
            corners_px=photo.corners_px,
            times_s=[] if early else None,
            subtitle=photo.stage,
            inch=bench.inch,
        )
    except WetlineError as error:
        return image, "" if early else f"no front lines: {error}"
    return drawn, f"{'scale bar' if early else 'front lines'} {by}"


def last_photo_in_inches(folder: Path, tracked: Tracked) -> bytes | None:
    """Draw a run's last photo with its lines again, lengths in inches, as JPEG.

    None where its photos cannot be opened any more, or show the panel nowhere.
    """
    with ExitStack() as stack:
        bench = _bench(folder, stack, True)
        if bench is None or bench.frames is None:
            return None
        image = lines_on_last(bench.setup, bench.frames, tracked, bench.run, inch=True)
        return None if image is None else encode_image(image, ".jpg")
