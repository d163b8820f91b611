"""Lays each frame flat: the panel as a canvas of even millimetres, wherever the camera has gone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.errors import WetlineError
from vision.frames.reader import Frames
from vision.records import BoolArray, FloatArray, Frame, ScaleSummary
from vision.rectify.camera_motion import Followed, Follower
from vision.rectify.warp import BORDER_HALF, Warp
from vision.scale.find_scale import FEWEST_MARKERS, find_scale, scale_from_markers
from vision.scale.markers import MARKER_IDS, SeenMarker, find_again, find_markers
from vision.scale.plane_map import PlaneMap, apply_homography, panel_corners_mm
from vision.settings.panel_settings import PanelSetup

FINEST_MM_PER_PX = 0.4
COARSEST_MM_PER_PX = 1.0
MOST_PIXELS = 100_000
"""Canvas size past which nothing is gained: the front is averaged over hundreds of lanes."""

LEAST_COLUMNS = 300
"""Columns of the canvas of a small panel: rims and specks must stay small beside the front."""

LEAST_ALONG_PX, LEAST_ACROSS_PX = 40, 12
"""Panel in the picture below which it is not read: the coarse look wants some cells each way."""

FindScale = Callable[[NDArray[np.uint8], PanelSetup, float | None], PlaneMap]
"""As `vision.scale.find_scale.find_scale`."""

MOVED_PX = 1.0
_FRAMES_TO_POOL = 6
_SIGHTINGS = 2
_BORDER_STEPS = 12


@dataclass(frozen=True)
class Rectified:
    """One frame laid flat.

    Attributes
    ----------
    canvas : ndarray of shape (M, N, 3), uint8
        The panel and nothing else, blue green red; pixel (r, c) is centred at
        x = (c + 0.5) mm_per_px, y = (r + 0.5) mm_per_px.
    in_view : ndarray of shape (M, N), bool, or None
        Where the canvas lies inside the photo; None when all of it does.
    plane : PlaneMap
        The map of this frame.
    moved : bool
        Whether the camera has moved since the frame before.
    lost : bool
        Whether the frame could not be matched to the reference: `plane` is then the last one
        known, and nothing measured in this frame is safe.
    note : str
        What happened, in plain words; may be empty.
    border : ndarray of shape (K, 3), float32
        Colour of the table at `Rectifier.border_mm`; NaN outside the photo.
    taken_still : bool
        Whether nothing fixed told the camera's place, and nothing showed that it had moved.
    """

    canvas: NDArray[np.uint8]
    in_view: BoolArray | None
    plane: PlaneMap
    moved: bool
    lost: bool
    note: str
    border: NDArray[np.float32]
    taken_still: bool = False


class Rectifier:
    """Finds the scale once, then lays frames flat in time order, following the camera.

    Parameters
    ----------
    setup : PanelSetup
        The panel.
    frames : Frames
        The open source; a few frames are read to find the reference.
    find : callable, optional
        Finds the map in one photo where the scale is not a sheet; left out, a panel's.

    Attributes
    ----------
    plane : PlaneMap
        Map of the reference frame.
    reference : Frame
        The frame itself (kept in memory).
    mm_per_px : float
        Of the canvas.
    shape : (int, int)
        Rows and columns of the canvas.
    border_mm : ndarray of shape (K, 2)
        Table positions whose colour each frame reports.

    Raises
    ------
    WetlineError
        As `vision.scale.find_scale.find_scale`, or if the photo named in panel.toml is not there.
    """

    def __init__(self, setup: PanelSetup, frames: Frames, find: FindScale = find_scale) -> None:
        self.setup = setup
        if setup.scale.method == "sheet":
            self.reference, self.plane, self._follower = _pooled_sheet(setup, frames)
            require_large_enough(self.plane, setup)
        else:
            self.reference = frames.read(_reference_index(setup, frames))
            self.plane = find(self.reference.image, setup, frames.focal_35mm)
            require_large_enough(self.plane, setup)
            self._follower = Follower(self.reference.image, self.plane)
            self._follower.keep_only([f.image for f in _early_frames(frames, self.reference.index)])
        self.shape, self.mm_per_px = canvas_size(self.plane)
        self.border_mm = border_points_mm(self.plane)
        self._warp: Warp | None = None
        self._now = self.plane
        self._fixed = setup.frames.camera == "fixed"

    def summary(self) -> ScaleSummary:
        """Return the scale as results.json states it."""
        plane = self.plane
        return ScaleSummary(
            method=plane.method,
            mm_per_px=plane.mm_per_px(),
            error_mm=plane.error_mm,
            relative_sd=plane.relative_sd,
            length_mm=plane.length_mm,
            width_mm=plane.width_mm,
            assumption=plane.assumption,
            question=plane.question,
        )

    def reference_canvas(self) -> NDArray[np.uint8]:
        """Lay the reference frame flat."""
        warp = Warp(self.plane, self.shape, self.border_mm, self.mm_per_px)
        return np.asarray(warp.lay_flat(self.reference.image), np.uint8)

    def lift(self, homography: FloatArray) -> None:
        """Lay flat another plane than that of the scale, parallel to it.

        Parameters
        ----------
        homography : ndarray of shape (3, 3), float
            Its map from mm to ideal pixels in the reference frame.
        """
        self.plane = replace(self.plane, homography=_unit(homography))
        self._now, self._warp = self.plane, None

    def rectify(self, frame: Frame) -> Rectified:
        """Lay one frame flat."""
        followed = self._follower.follow(frame.image)
        if self._fixed:
            return self._as_fixed(frame, followed)
        moved = followed.found and followed.shift_px > 0
        if moved:
            self._now = replace(
                self.plane, homography=_unit(followed.motion @ self.plane.homography)
            )
            self._warp = None
        return self._flat(frame, followed, moved)

    def _as_fixed(self, frame: Frame, followed: Followed) -> Rectified:
        """Lay one frame of a camera that is said to be fixed flat; say so where it seems moved."""
        flat = self._flat(frame, Followed(np.eye(3), 0.0, True, 0), False)
        outline = self.plane.outline_px(4)
        off_px = np.hypot(*(apply_homography(followed.motion, outline) - outline).T)
        if not followed.found or np.median(off_px) <= MOVED_PX:
            return flat
        off_mm = float(np.median(off_px)) * self.plane.mm_per_px()
        return replace(flat, note=f"camera said to be fixed, but seems {off_mm:.1f} mm off")

    def _flat(self, frame: Frame, followed: Followed, moved: bool) -> Rectified:
        """Lay one frame flat, the camera's motion known."""
        if self._warp is None:
            self._warp = Warp(self._now, self.shape, self.border_mm, self.mm_per_px)
        note = ""
        if not followed.found:
            note = "reference hidden: the last camera position is kept"
        elif followed.taken_still and not self._fixed:
            note = "nothing fixed found beside the panel: the camera is taken to stand still"
        elif followed.shift_px > MOVED_PX:
            note = f"camera moved by about {followed.shift_px * self._now.mm_per_px():.1f} mm"
        return Rectified(
            canvas=self._warp.lay_flat(frame.image),
            in_view=self._warp.in_view,
            plane=self._now,
            moved=moved,
            lost=not followed.found,
            note=note,
            border=self._warp.border(frame.image),
            taken_still=followed.taken_still and not self._fixed,
        )


def _unit(matrix: FloatArray) -> FloatArray:
    return matrix / matrix[2, 2]


def _reference_index(setup: PanelSetup, frames: Frames) -> int:
    wanted = setup.scale.photo.lower()
    if not wanted:
        return 0
    for i, name in enumerate(frames.names):
        if wanted in (name.lower(), name.rpartition(".")[0].lower()):
            return i
    raise WetlineError(
        f"{setup.shown_file}: [scale] photo = {setup.scale.photo}: not among the frames: they are "
        f"named as {frames.names[0]}"
    )


def _early_frames(frames: Frames, after: int) -> list[Frame]:
    chosen = range(after + 1, min(after + 4, len(frames)))
    return [frame for i in chosen if (frame := _try_read(frames, i)) is not None]


def _try_read(frames: Frames, index: int) -> Frame | None:
    try:
        return frames.read(index)
    except WetlineError:
        return None


def _pooled_sheet(setup: PanelSetup, frames: Frames) -> tuple[Frame, PlaneMap, Follower]:
    """Find the sheet in some of the first frames and average, so that no single one decides."""
    reference, reference_markers = _first_sheet(setup, frames)
    size = (int(reference.image.shape[1]), int(reference.image.shape[0]))
    plane = scale_from_markers(reference_markers, size, setup, quick=True)

    def recognise(image: NDArray[np.uint8]) -> tuple[FloatArray, FloatArray] | None:
        return marker_pairs(find_markers(image), reference_markers, plane)

    follower = Follower(reference.image, plane, recognise)
    sightings: dict[int, list[FloatArray]] = {m.id: [m.corners_px] for m in reference_markers}
    for index in _later(frames, reference.index):
        if len(sightings) == 4 and min(map(len, sightings.values())) >= _SIGHTINGS:
            break
        frame = _try_read(frames, index)
        if frame is None:
            continue
        followed = follower.follow(frame.image)
        if not followed.found:
            continue
        back = np.linalg.inv(followed.motion)
        for marker in _found_in(frame.image, reference_markers, plane, followed.motion):
            ideal = apply_homography(back, plane.undistort(marker.corners_px))
            sightings.setdefault(marker.id, []).append(plane.distort(ideal))
    pooled = [SeenMarker(i, np.median(sightings[i], axis=0)) for i in sorted(sightings)]
    plane = scale_from_markers(pooled, plane.image_size, setup)
    reference_markers = tuple(pooled)
    follower.restart(plane)
    follower.keep_only([f.image for f in _early_frames(frames, reference.index)])
    return reference, plane, follower


def _found_in(
    image: NDArray[np.uint8], reference: tuple[SeenMarker, ...], plane: PlaneMap, motion: FloatArray
) -> tuple[SeenMarker, ...]:
    """Find the markers in another photo, near where the camera's motion has taken them."""
    if len(reference) < len(MARKER_IDS):
        return find_markers(image)
    return find_again(
        image,
        [
            SeenMarker(
                marker.id,
                plane.distort(apply_homography(motion, plane.undistort(marker.corners_px))),
            )
            for marker in reference
        ],
    )


def _later(frames: Frames, after: int) -> list[int]:
    """The next few frames, then a few spread over the run, for a marker hidden at the start."""
    near = range(after + 1, min(after + 3, len(frames)))
    spread = np.linspace(after + 3, len(frames) - 1, _FRAMES_TO_POOL - 2)
    return sorted({*near, *(int(i) for i in spread if i >= after + 3)})


def _first_sheet(setup: PanelSetup, frames: Frames) -> tuple[Frame, tuple[SeenMarker, ...]]:
    """First frame that shows enough markers, among the first few and some spread over the run."""
    seen: dict[int, int] = {}
    start = _reference_index(setup, frames)
    for index in [start, *_later(frames, start)]:
        frame = _try_read(frames, index)
        if frame is None:
            continue
        markers = find_markers(frame.image)
        seen[index] = len(markers)
        if len(markers) >= FEWEST_MARKERS:
            return frame, markers
    most = max(seen.values(), default=0)
    raise WetlineError(
        f"{setup.shown_file}: [scale] method = sheet: at most {most} of the four markers show in "
        f"{len(seen)} photos tried: at least {FEWEST_MARKERS} must show, flat, sharp and not cut "
        "off; or use the panel's corners (`wetline corners`)"
    )


def marker_pairs(
    seen: tuple[SeenMarker, ...], reference: tuple[SeenMarker, ...], plane: PlaneMap
) -> tuple[FloatArray, FloatArray] | None:
    """Pair marker corners of the reference photo with those seen now, as ideal pixels."""
    known = {marker.id: marker.corners_px for marker in reference}
    both = [marker for marker in seen if marker.id in known]
    if len(both) < 2:
        return None
    old = np.concatenate([known[marker.id] for marker in both])
    new = np.concatenate([marker.corners_px for marker in both])
    return plane.undistort(old), plane.undistort(new)


def require_large_enough(plane: PlaneMap, setup: PanelSetup) -> None:
    """Refuse a panel that the picture shows too small to read.

    Raises
    ------
    WetlineError
        Naming its size in the picture.
    """
    corners = plane.to_px(panel_corners_mm(plane.length_mm, plane.width_mm))
    sides = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    along, across = sides[::2].min(), sides[1::2].min()
    if along < LEAST_ALONG_PX or across < LEAST_ACROSS_PX:
        width, height = plane.image_size
        raise WetlineError(
            f"{setup.shown_file}: the panel is only {along:.0f} x {across:.0f} px in a picture of "
            f"{width} x {height}: at least {LEAST_ALONG_PX} along the flow and "
            f"{LEAST_ACROSS_PX} across are needed: use larger pictures, or move the camera nearer"
        )


def canvas_size(plane: PlaneMap) -> tuple[tuple[int, int], float]:
    """Choose rows, columns and mm per pixel so that the canvas is the panel and no more.

    The resolution about matches the photo's, between 0.4 and 1 mm unless the panel is so small
    that it would have fewer than `LEAST_COLUMNS`, or so large that it would pass `MOST_PIXELS`.
    Columns fill the length exactly; among nearby resolutions the one whose rows fill the width
    best is taken.
    """
    length, width = plane.length_mm, plane.width_mm
    wanted = float(np.clip(plane.mm_per_px(), FINEST_MM_PER_PX, COARSEST_MM_PER_PX))
    wanted = min(wanted, length / LEAST_COLUMNS)
    wanted = max(wanted, float(np.sqrt(length * width / MOST_PIXELS)))
    middle = max(8, int(length / wanted))
    columns = np.arange(max(8, int(0.93 * middle)), middle + 1)
    rows = width / (length / columns)
    best = int(np.argmin(np.abs(rows - np.round(rows)) + 1e-4 * (middle - columns)))
    return (max(1, int(np.round(rows[best]))), int(columns[best])), float(length / columns[best])


def canvas_points_mm(shape: tuple[int, int], mm_per_px: float) -> FloatArray:
    """Panel position of each canvas pixel's centre; shape (M * N, 2)."""
    x, y = np.meshgrid(
        (np.arange(shape[1]) + 0.5) * mm_per_px, (np.arange(shape[0]) + 0.5) * mm_per_px
    )
    return np.stack([x.ravel(), y.ravel()], axis=1)


def border_points_mm(plane: PlaneMap) -> FloatArray:
    """Table positions around the panel that the reference photo shows; shape (K, 2)."""
    length, width = plane.length_mm, plane.width_mm
    rings = []
    for out in (0.08, 0.16, 0.24):
        gap = out * min(length, width)
        x = np.linspace(-gap, length + gap, _BORDER_STEPS)
        y = np.linspace(-gap, width + gap, _BORDER_STEPS)[1:-1]
        rings += [(v, -gap) for v in x] + [(v, width + gap) for v in x]
        rings += [(-gap, v) for v in y] + [(length + gap, v) for v in y]
    points = np.array(rings)
    seen = plane.to_px(points)
    room = np.array(plane.image_size) - 1 - BORDER_HALF
    return points[(seen > BORDER_HALF).all(axis=1) & (seen < room).all(axis=1)]
