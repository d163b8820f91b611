"""A part from frames to `PartSeen`, fed a frame at a time or from its folder."""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from vision.check.doubts import Unexplained
from vision.common.progress import bar
from vision.drawing.strokes import encode_image
from vision.errors import WetlineError
from vision.frames.prefetch import prefetch
from vision.frames.reader import Frames, left_out
from vision.frames.source import open_frames, resin_start_clock_s, wall_time_iso
from vision.part_records import Lens, PartSeen
from vision.parts.fit_outline import find_part_scale
from vision.parts.framing.rim_check import with_rim
from vision.parts.framing.view import view_notes
from vision.parts.hand.part_fixes import with_fixes
from vision.parts.height import Height, allow_height
from vision.parts.measure_part import PartMeasured, measure_part
from vision.parts.part_canvas import PartCanvas, lay_part
from vision.parts.part_settings import PartCamera, box_map
from vision.parts.part_words import (
    LOST,
    feeds_beside,
    in_part_words,
    place_doubts,
    warnings_of,
)
from vision.parts.uncertainty import wet_share
from vision.records import FloatArray, Frame
from vision.rectify.rectifier import Rectifier
from vision.scale.plane_map import PlaneMap
from vision.settings.tracker_settings import TrackerSettings
from vision.tracking.canvases import Canvases, RecordedCanvases, flat_frame
from vision.tracking.tracker import MOST_LOST

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class PartRun:
    """A part as far as it was followed.

    Attributes
    ----------
    seen : PartSeen
    last_photo : Frame or None
        The last frame in which the part was found, for drawing on.
    notes : tuple of str
        What was understood and what was left out, in words.
    unexplained : bytes or None
        PNG of the places that were not understood; None unless the run is in doubt or refused.
    """

    seen: PartSeen
    last_photo: Frame | None
    notes: tuple[str, ...] = ()
    unexplained: bytes | None = None


class PartTracker:
    """Follows one part, fed a frame at a time.

    Parameters
    ----------
    camera : PartCamera
    rectifier : Rectifier
    height : Height
        Both as `part_rectifier` makes them.
    canvases : Canvases, optional
        How the canvases are kept; left out, as for a recording, which has ended when it is read.
    """

    def __init__(
        self,
        camera: PartCamera,
        rectifier: Rectifier,
        height: Height,
        canvases: Canvases | None = None,
    ) -> None:
        self.camera, self.rectifier, self.height = camera, rectifier, height
        self.canvases = RecordedCanvases(rectifier) if canvases is None else canvases
        self._ended = canvases is None
        self.unexplained: Unexplained | None = None
        base = TrackerSettings()
        steps = replace(base.steps, follow=camera.frames.follow)
        self.settings = replace(base, steps=steps)
        self.count = 0
        self.last_photo: Frame | None = None
        self._part: PartCanvas | None = None
        self._out_of_view = view_notes(camera, rectifier.plane)

    def add(self, frame: Frame) -> None:
        """Take the next frame in time."""
        flat = flat_frame(self.rectifier, frame)
        self.canvases.add(flat)
        self.count += 1
        if not flat.frame.lost:
            self.last_photo = frame

    def read(self, start_clock_s: float | None = None) -> PartSeen | None:
        """Measure the part as it stands; None while too few frames show it.

        Parameters
        ----------
        start_clock_s : float or None
            Resin start on the frames' clock, if known.
        """
        stack = self.canvases.stack()
        if len(stack) < self.canvases.fewest:
            return None
        if self._part is None or self._part.inside.shape != stack.shape:
            self._part = lay_part(self.camera.shape, stack.shape, self.canvases.mm_per_px)
        place = (self.rectifier.plane.error_mm, self.height.sd_mm, self._joined_mm())
        place_sd = float(np.sqrt(np.sum(np.square(place))))
        found = measure_part(stack, self._part, start_clock_s, place_sd, self.settings)
        self.unexplained = _not_understood(found)
        return self._seen(found, self._part, list(stack.times_s))

    def _joined_mm(self) -> float:
        """Return how well a place is known where pixels are joined; 0 where they are not.

        Live and recorded readings of made-up parts are then apart by half a joined pixel in one
        place of twenty: two of these.
        """
        joined = self.canvases.mm_per_px > 1.05 * self.rectifier.mm_per_px
        return self.canvases.mm_per_px / np.sqrt(12) if joined else 0.0

    def _seen(self, found: PartMeasured, part: PartCanvas, stack_clock_s: list[float]) -> PartSeen:
        frames = list(self.canvases.frames)
        matrix = box_map(self.camera.shape)
        clock = np.array([frame.clock_s for frame in frames])
        lost = np.array([frame.lost for frame in frames])
        frame_s = clock - found.start_s
        doubts = _by_frame(found, stack_clock_s, clock)
        notes = tuple(
            "; ".join(text for text in (frame.note, doubt) if text)
            for frame, doubt in zip(frames, doubts, strict=True)
        )
        maps = [
            np.full((3, 3), np.nan) if frame.lost else frame.plane.homography @ matrix
            for frame in frames
        ]
        x_mm, y_mm = axes_mm(self.camera, part)
        share, unseen_sd = wet_share(found.time_s, found.sd_s, found.seen, part.inside, frame_s)
        reason = LOST if np.mean(lost) > MOST_LOST else found.reason
        feeds = feeds_beside(self.camera.shape, part, found)
        used = np.array([not doubt for doubt in doubts]) & ~lost & (not reason)
        return PartSeen(
            x_mm=x_mm,
            y_mm=y_mm,
            inside=part.inside,
            time_s=found.time_s,
            sd_s=found.sd_s,
            seen=found.seen,
            last_s=float(found.stack_s[-1]),
            start_sd_s=found.start_sd_s,
            frames=tuple(frame.name for frame in frames),
            frame_s=frame_s,
            wetted_share=share,
            wetted_sd=np.hypot(np.interp(frame_s, found.stack_s, found.wetted_sd), unseen_sd),
            used=used,
            notes=notes,
            homographies=np.array(maps),
            scale=self.rectifier.summary(),
            usable=not reason,
            reason=reason,
            doubts=(*place_doubts(self.camera, found), *found.doubts),
            warnings=(
                *self._out_of_view,
                *self.height.notes,
                *warnings_of(self.camera, part, found, feeds, self._ended),
            ),
            start_clock_s=found.start_s,
            feeds_seen=feeds,
            lens=lens_of(self.rectifier.plane),
        )


def lens_of(plane: PlaneMap) -> Lens | None:
    """Return camera matrix and distortion of a map; None for a lens taken as free of it."""
    if plane.camera is None or plane.distortion is None:
        return None
    return plane.camera, plane.distortion


def _not_understood(found: PartMeasured) -> Unexplained | None:
    """Return where on the part a doubtful or refused run was not understood, if anywhere."""
    places = found.unexplained
    doubtful = bool(found.reason or found.doubts)
    return places if doubtful and places is not None and places.is_telling else None


def _picture(tracker: PartTracker) -> bytes | None:
    """Draw the places that were not understood over the part as seen from above, as PNG."""
    places, photo = tracker.unexplained, tracker.last_photo
    if places is None or photo is None:
        return None
    from vision.drawing.unexplained_view import photo_from_above, unexplained_view  # matplotlib

    frames = reversed(tracker.canvases.frames)
    plane = next(frame.plane for frame in frames if frame.name == photo.name)
    flat, camera = photo_from_above(photo.image, plane), tracker.camera
    drawn = unexplained_view(flat, places, camera.size_mm, title=camera.shape.name, flow="point")
    return encode_image(drawn)


def axes_mm(camera: PartCamera, part: PartCanvas) -> tuple[FloatArray, FloatArray]:
    """Return the plan's x of the columns and y of the rows."""
    rows, cols = part.inside.shape
    matrix = box_map(camera.shape)
    x = (np.arange(cols) + 0.5) * part.mm_per_px - matrix[0, 2]
    y = ((np.arange(rows) + 0.5) * part.mm_per_px - matrix[1, 2]) / matrix[1, 1]
    return x, y


def _by_frame(found: PartMeasured, stack_clock_s: list[float], clock: FloatArray) -> list[str]:
    """Return each frame's doubt: that of the canvas that was kept next to it."""
    near = np.searchsorted(stack_clock_s, clock - 1e-9)
    return [found.row_doubts[min(int(k), len(found.row_doubts) - 1)] for k in near]


def part_rectifier(camera: PartCamera, frames: Frames) -> tuple[Rectifier, Height]:
    """Return what lays frames of a part flat, and what its height does.

    Raises
    ------
    WetlineError
        If the scale does not show or contradicts itself, the part leaves the picture, or it
        stands too high to be placed.
    """
    try:
        rectifier = Rectifier(camera.setup(), frames, find_part_scale)
    except WetlineError as error:
        raise WetlineError(in_part_words(str(error))) from error
    focal = camera.scale.focal_35mm or frames.focal_35mm
    height = allow_height(rectifier.plane, camera.shape, rectifier.setup.shown_file, focal)
    if height.shift_mm:
        rectifier.lift(height.homography)
    return rectifier, height


def track_part(
    camera: PartCamera,
    frames: Frames,
    progress: Callable[[Iterable[Frame]], Iterable[Frame]] | None = None,
) -> PartRun:
    """Track a recorded part.

    Parameters
    ----------
    camera : PartCamera
    frames : Frames
        Open source.
    progress : callable, optional
        Wraps the frames as they are read, for a progress bar.
    """
    wrap = progress or (lambda source: source)
    source = iter(frames) if frames.decodes_ahead else prefetch(frames)
    with contextlib.closing(source) as turn:  # type: ignore[type-var]
        first = list(itertools.islice(turn, 1)) if frames.decodes_ahead else []
        tracker = PartTracker(camera, *part_rectifier(camera, frames))
        for frame in wrap(itertools.chain(first, turn)):
            tracker.add(frame)
    seen = tracker.read(resin_start_clock_s(camera.setup(), frames))
    if seen is None:
        seen = never_found(tracker)
    scale = tracker.rectifier.summary()
    asked = (scale.question,) if scale.question else ()
    seen = with_fixes(camera, seen, frames)
    names = list(frames.names)
    seen = with_rim(camera.shape, seen, lambda name: frames.read(names.index(name)).image)
    seen = replace(
        seen,
        resin_start=wall_time_iso(seen.start_clock_s, frames),
        warnings=(*asked, *frames.warnings, *left_out(frames.notes), *seen.warnings),
    )
    notes = (*camera.understood, *frames.notes)
    return PartRun(seen, tracker.last_photo, notes, _picture(tracker))


def track_part_folder(
    camera: PartCamera, quiet: bool = True, progress: Progress | None = None
) -> PartRun:
    """Track a part's folder without writing anything.

    Raises
    ------
    WetlineError
        As opening the frames and tracking.
    """
    with open_frames(camera.setup()) as frames:
        count = len(frames)

        def wrap(source: Iterable[Frame]) -> Iterable[Frame]:
            for done, frame in enumerate(source):
                if progress is not None:
                    progress(done, count)
                yield frame

        return track_part(camera, frames, bar("Tracking", count, quiet) if not progress else wrap)


def never_found(tracker: PartTracker) -> PartSeen:
    """Return a part that could not be found in enough frames."""
    shape, mm_per_px = tracker.rectifier.shape, tracker.rectifier.mm_per_px
    part = lay_part(tracker.camera.shape, shape, mm_per_px)
    frames = list(tracker.canvases.frames)
    clock = np.array([frame.clock_s for frame in frames])
    start = float(clock[0]) if len(clock) else 0.0
    x_mm, y_mm = axes_mm(tracker.camera, part)
    count = len(frames)
    return PartSeen(
        x_mm=x_mm,
        y_mm=y_mm,
        inside=part.inside,
        time_s=np.where(part.inside, np.inf, np.nan),
        sd_s=np.full(shape, np.nan),
        seen=np.zeros(shape, bool),
        last_s=float(clock[-1] - start) if count else 0.0,
        start_sd_s=0.0,
        frames=tuple(frame.name for frame in frames),
        frame_s=clock - start,
        wetted_share=np.full(count, np.nan),
        wetted_sd=np.full(count, np.nan),
        used=np.zeros(count, bool),
        notes=tuple(frame.note for frame in frames),
        homographies=np.full((count, 3, 3), np.nan),
        scale=tracker.rectifier.summary(),
        usable=False,
        reason=LOST,
        start_clock_s=start,
    )
