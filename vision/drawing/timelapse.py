"""An annotated time-lapse of the run: front of the moment, past lines, clock and curve."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, Protocol

import cv2
import numpy as np

from vision.common.atomic_files import replace_file
from vision.drawing.front_lines import FrontLine, choose_times_s, front_lines
from vision.drawing.labels import Box
from vision.drawing.overlay import (
    draw_labels,
    draw_line,
    draw_scale_bar,
    draw_title,
    emptiest_corner,
    line_colours,
    panel_outline_mm,
    round_bar_mm,
)
from vision.drawing.strokes import (
    DARK,
    WHITE,
    YELLOW,
    Image,
    Plane,
    ScaledPlane,
    Sizes,
    backing,
    dashes,
    stroke,
    text_size,
    write,
)
from vision.errors import WetlineError
from vision.records import ArrivalMap, FloatArray, Frame, FrontCurve

FRAMES_PER_S = 8.0
WIDEST_PX = 1280
CRF = 26
"""Constant rate factor of H.264: 23 is x264's own, six more halve the size (x264's guide, from
memory); 26 keeps front lines and labels clean."""
NO_H264 = (
    "The time-lapse is MPEG-4, which some phones and browsers do not play: "
    '`pip install "wetline[video]"` lets Wetline write H.264.'
)
INSET_SHARE = 0.22
"""Width of the curve's inset over that of the picture."""


@dataclass(frozen=True)
class FilmContent:
    """What is drawn on the frames of a run.

    Attributes
    ----------
    arrival : ArrivalMap
        When each spot wetted.
    start_clock_s : float
        Resin start on the clock of the frames.
    title : str
        Panel name.
    flow : {"edge", "point"}
        As in `vision.drawing.front_lines.front_lines`.
    curve : FrontCurve or None
        For the distance under the clock; without it none is shown.
    """

    arrival: ArrivalMap
    start_clock_s: float
    title: str
    flow: str = "edge"
    curve: FrontCurve | None = None


def annotated_video(
    path: Path,
    frames: Iterable[Frame],
    plane_of: Callable[[Frame], Plane],
    content: FilmContent,
    frames_per_s: float = FRAMES_PER_S,
) -> int:
    """Write an mp4 of the run with the front drawn on each frame.

    Parameters
    ----------
    path : Path
        The file to write, ending in ``.mp4``; it appears only when whole.
    frames : iterable of Frame
        In time order; one is held at a time. All are fitted into the size of the first.
    plane_of : callable
        Returns where the panel lies in a frame.
    content : FilmContent
    frames_per_s : float
        Speed of the video.

    Returns
    -------
    written : int
        Number of frames.

    Raises
    ------
    WetlineError
        If there is no frame, or this machine cannot write such a video.
    """
    lines = front_lines(content.arrival, choose_times_s(content.arrival.last_s), flow=content.flow)
    past = [(shown_from_s(line, content.arrival), line) for line in lines]
    count = 0

    def fill_file(part: Path) -> None:
        nonlocal count
        writer: FilmWriter | None = None
        size = (0, 0)
        try:
            for frame in frames:
                image, plane = _fit(frame.image, plane_of(frame), size)
                if writer is None:
                    size = (image.shape[1], image.shape[0])
                    writer = open_film(part, path, frames_per_s, size)
                _annotate(image, plane, content, past, frame.clock_s - content.start_clock_s)
                writer.write(image)
                count += 1
        finally:
            if writer is not None:
                writer.release()
        if count == 0:
            raise WetlineError(f"{path.name}: there is no frame to make a video of")

    replace_file(path, fill_file)
    return count


def shown_from_s(line: FrontLine, arrival: ArrivalMap) -> float:
    """Find from when a line is past: its time, or when resin had closed round a dry spot."""
    if not line.dry:
        return line.time_s
    around = np.rint(line.points_mm / arrival.mm_per_px - 0.5).astype(int)
    rows = np.r_[around[:, 1] - 1, around[:, 1] + 1].clip(0, arrival.time_s.shape[0] - 1)
    cols = np.r_[around[:, 0] - 1, around[:, 0] + 1].clip(0, arrival.time_s.shape[1] - 1)
    times_s = arrival.time_s[rows, cols]
    wetted = times_s[np.isfinite(times_s)]
    return float(wetted.max()) if wetted.size else 0.0


def status(time_s: float, curve: FrontCurve | None) -> list[str]:
    """Write clock and distance, such as ``6:05 min`` and ``front at 143 mm``.

    Examples
    --------
    >>> status(365.0, None), status(-20.0, None)
    (['6:05 min'], ['before resin start'])
    """
    if time_s < 0:
        return ["before resin start"]
    clock = f"{int(time_s) // 60}:{int(time_s) % 60:02d} min"
    if curve is None or len(curve.time_s) == 0:
        return [clock]
    known = np.isfinite(curve.front_mean_mm)
    if not known.any():
        return [clock]
    mean_mm = np.interp(time_s, curve.time_s[known], curve.front_mean_mm[known])
    word = "mean radius" if curve.flow == "point" else "front at"
    return [clock, f"{word} {mean_mm:.0f} mm"]


class FilmWriter(Protocol):
    """Anything that takes pictures one by one and makes a film of them."""

    def write(self, image: Image) -> object:
        """Add a picture of shape (height, width, 3), BGR."""
        ...

    def release(self) -> object:
        """Write what is left and close the file."""
        ...


class H264Film:
    """An H.264 film by PyAV, which brings its own encoder."""

    def __init__(self, part: Path, frames_per_s: float, size: tuple[int, int]) -> None:
        import av

        self._frame: Any = av.VideoFrame
        options = {"movflags": "faststart"}  # a phone then shows it before it is loaded whole
        self._file: Any = av.open(str(part), "w", format="mp4", options=options)
        rate = Fraction(frames_per_s).limit_denominator(1000)
        self._stream: Any = self._file.add_stream("libx264", rate=rate)
        self._stream.width, self._stream.height = size
        self._stream.pix_fmt = "yuv420p"  # the one that every phone and browser plays
        self._stream.options = {"crf": str(CRF), "preset": "medium", "threads": "1"}

    def write(self, image: Image) -> None:
        """Add a picture of shape (height, width, 3), BGR."""
        self._file.mux(self._stream.encode(self._frame.from_ndarray(image, format="bgr24")))

    def release(self) -> None:
        """Write what is left and close the file."""
        self._file.mux(self._stream.encode(None))
        self._file.close()


def writes_h264() -> bool:
    """Return whether this installation can write H.264: with the extra ``video``."""
    try:
        import av
    except ImportError:
        return False
    return "libx264" in av.codecs_available


def open_film(part: Path, path: Path, frames_per_s: float, size: tuple[int, int]) -> FilmWriter:
    """Open a film for writing: H.264 where it can be written, else MPEG-4 by OpenCV.

    Raises
    ------
    WetlineError
        If this machine cannot write an mp4.
    """
    if writes_h264():
        return H264Film(part, frames_per_s, size)
    code = cv2.VideoWriter.fourcc(*"mp4v")
    writer = cv2.VideoWriter(str(part), code, frames_per_s, size)
    if not writer.isOpened():
        raise WetlineError(
            f"{path.name}: this machine cannot write an mp4 there: the pictures hold the same lines"
        )
    return writer


def _fit(image: Image, plane: Plane, size: tuple[int, int]) -> tuple[Image, Plane]:
    """Copy a frame into the video's size (that of the first frame, at most 1280 wide, even)."""
    height, width = image.shape[:2]
    room = size if size[0] else (WIDEST_PX, WIDEST_PX)
    factor = min(room[0] / width, room[1] / height, 1.0 if not size[0] else np.inf)
    if {width - room[0], height - room[1]} <= {0, 1}:  # an odd photo loses its last row or column
        factor = 1.0
    inner = (max(2, round(width * factor)), max(2, round(height * factor)))
    resized = inner != (width, height)
    fitted = cv2.resize(image, inner, interpolation=cv2.INTER_AREA) if resized else image
    if not size[0]:
        size = (inner[0] // 2 * 2, inner[1] // 2 * 2)
    page = np.zeros((size[1], size[0], 3), dtype=np.uint8)
    rows, cols = min(size[1], inner[1]), min(size[0], inner[0])
    page[:rows, :cols] = fitted[:rows, :cols]
    return page, plane if factor == 1.0 else ScaledPlane(plane, factor)


def _annotate(
    image: Image,
    plane: Plane,
    content: FilmContent,
    past: list[tuple[float, FrontLine]],
    time_s: float,
) -> None:
    """Draw one frame's lines and words into `image`."""
    sizes = Sizes.for_image(image)
    thin = Sizes(max(1, sizes.line // 2), max(1, sizes.line // 2) + 2, sizes.text)
    passed = [since_s < time_s for since_s, _ in past]
    old = [line for (_, line), there in zip(past, passed, strict=True) if there]
    all_colours = line_colours([line for _, line in past])
    colours = [colour for colour, there in zip(all_colours, passed, strict=True) if there]
    lines_px = [np.asarray(plane.to_px(line.points_mm), dtype=float) for line in old]
    for line, points, colour in zip(old, lines_px, colours, strict=True):
        draw_line(image, line, points, colour, thin)
    arrival = content.arrival
    for line in front_lines(arrival, [min(time_s, arrival.last_s)], flow=content.flow):
        points = np.asarray(plane.to_px(line.points_mm), dtype=float)
        if not line.dry:
            stroke(image, points, DARK, sizes.casing + sizes.line)
            stroke(image, points, WHITE, sizes.line + 1)
    size_mm = (arrival.length_mm, arrival.width_mm)
    corner_px = np.asarray(plane.to_px(panel_outline_mm(size_mm)))
    taken = [draw_title(image, [content.title, *status(time_s, content.curve)], corner_px, sizes)]
    taken.append(draw_scale_bar(image, plane, size_mm, round_bar_mm(size_mm[0]), sizes, taken))
    if content.curve is not None:
        taken.append(draw_inset(image, content.curve, time_s, corner_px, sizes, taken))
    draw_labels(image, old, lines_px, colours, sizes, taken)


def draw_inset(
    image: Image,
    curve: FrontCurve,
    time_s: float,
    panel_px: FloatArray,
    sizes: Sizes,
    taken: list[Box],
) -> Box:
    """Draw distance against time so far in a free corner, dashed where photos were not used.

    Returns
    -------
    box : Box
        What it covers; nothing where no distance is known.
    """
    known = np.isfinite(curve.front_mean_mm) & (curve.time_s >= 0)
    if np.count_nonzero(known) < 2:
        return Box(0, 0, 0, 0)
    times, fronts = curve.time_s[known], curve.front_mean_mm[known]
    end_s, end_mm = float(times.max()) or 1.0, float(fronts.max()) or 1.0
    wide = INSET_SHARE * image.shape[1]
    box = emptiest_corner(image.shape[:2], (wide, 0.55 * wide), panel_px, taken)
    backing(image, box)
    size = max(9, round(0.8 * sizes.text))
    left, bottom = box.x - box.width / 2 + 0.8 * size, box.y + box.height / 2 - 1.7 * size
    span = np.array([box.width - 1.6 * size, -(box.height - 3.7 * size)])
    at = np.array([left, bottom])
    fine_s = np.linspace(times[0], times[-1], 400)
    fine_mm = np.interp(fine_s, times, fronts)
    line = at + np.column_stack([fine_s / end_s, fine_mm / end_mm]) * span
    stroke(image, np.array([at + span * [0, 1], at, at + span * [1, 0]]), WHITE, 1)
    past = fine_s <= time_s
    nearest = np.rint(np.interp(fine_s[past], times, np.arange(len(times)))).astype(int)
    solid = np.asarray(curve.used, dtype=bool)[known][nearest]
    for piece in dashes(line[past], solid, 3.0 * sizes.line) if past.sum() > 1 else []:
        stroke(image, piece, YELLOW, max(2, sizes.line // 2))
    low, high = f"{end_mm:.0f} mm", f"{end_s / 60:.0f} min" if end_s >= 600 else f"{end_s:.0f} s"
    top = box.y - box.height / 2 + size
    for text, x, y, side in ((low, left, top, 1), (high, left + span[0], bottom + 0.9 * size, -1)):
        text_w, text_h = text_size(text, size)
        write(image, text, Box(x + side * text_w / 2, y, 0, text_h), size)
    return box
