"""Tracking for scripts: a folder or pictures in, the arrival map, front curve and lines out."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.drawing.front_lines import FrontLine
from vision.drawing.pictures import lines_of
from vision.errors import WetlineError, bad_field
from vision.frames.images import ImageFrames
from vision.front.results import read_tracked
from vision.records import Tracked
from vision.settings.frame_settings import CAMERAS, FOLLOWED, FrameSource
from vision.settings.panel_settings import PanelSetup, setup_with
from vision.tracking.job import save_job, track_unsaved
from vision.tracking.tracker import track_frames

_SOURCE = "track_images"


def track(
    folder: str | Path,
    *,
    write: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Tracked:
    """Find the flow front in every frame of a panel folder.

    Parameters
    ----------
    folder : str or Path
        Holds panel.toml and the photos, film or pen marks that it names.
    write : bool
        Also write front.csv, arrival.npz, results.json and the front lines on the last photo
        under ``folder/results``, as the command ``wetline track`` does. Left out, nothing on
        disk changes.
    progress : callable, optional
        Given the frames done and the frames in all, as tracking goes on.

    Returns
    -------
    run : Tracked
        ``run.arrival`` (seconds since resin start at each spot, None for pen marks),
        ``run.curve`` (the front at each frame, in mm), ``run.front`` (the whole run in numbers,
        with its warnings) and ``run.scale``. Where ``run.front.usable`` is False nothing could be
        measured, and ``run.front.reason`` says why.

    Raises
    ------
    WetlineError
        If panel.toml or the frames are missing or wrong, or the scale cannot be found.
    """
    place = Path(folder)
    job = track_unsaved(place, quiet=True, progress=progress)
    if write:
        save_job(job, place / "results")
    return job.tracked


def track_images(
    images: Sequence[NDArray[np.uint8]],
    times_s: ArrayLike,
    corners_px: ArrayLike,
    length_mm: float,
    width_mm: float,
    *,
    flow: str = "edge",
    feed_point_mm: Sequence[float] | None = None,
    feed_radius_mm: float | None = None,
    resin_start_s: float | None = None,
    ignore_mm: Sequence[ArrayLike] = (),
    region_mm: ArrayLike | None = None,
    camera: str = "followed",
    follow: str = "first",
) -> Tracked:
    """Find the flow front in pictures held in memory.

    Parameters
    ----------
    images : sequence of ndarray of shape (H, W) or (H, W, 3), uint8
        Grey, or blue, green, red; at least 4, all of one size, in time order. The first ones
        should show the panel dry, and something around it that does not wet.
    times_s : array_like of shape (K,), float
        Seconds on any clock, one per picture.
    corners_px : array_like of shape (4, 2), float
        The panel's corners (x, y) in the first picture: (0, 0), (length, 0), (length, width),
        (0, width), clockwise as the picture shows them. Pixel centres stand at whole numbers.
    length_mm, width_mm : float
        The panel's size along and across the flow.
    flow : {"edge", "point"}
        Feed along x = 0, or from a point.
    feed_point_mm : (float, float), optional
        Point feed: x and y on the panel; left out, it is found.
    feed_radius_mm : float, optional
        Point feed: radius of the feed hole.
    resin_start_s : float, optional
        When the resin entered, on the clock of `times_s`; left out, it is found.
    ignore_mm : sequence of array_like of shape (N, 2)
        Patches not to look at: polygons in panel mm, or rectangles by two corners.
    region_mm : array_like of shape (N, 2), optional
        The only part of the panel to look at, written alike.
    camera : {"followed", "fixed"}
        Whether the camera may have moved.
    follow : {"first", "second"}
        Which change is the resin where two pass over the panel, one behind the other.

    Returns
    -------
    run : Tracked
        As from `track`. Frames are named ``image 1``, ``image 2``, ...

    Raises
    ------
    WetlineError
        If an argument is wrong; the message names it, its value and the mend.

    Examples
    --------
    A panel of 200 by 100 mm whose front runs as x = sqrt(60 mm2/s t):

    >>> rng = np.random.default_rng(1)
    >>> bench = rng.integers(70, 130, (140, 240)).astype(np.uint8)
    >>> times_s = np.arange(-20.0, 420.0, 20.0)
    >>> images = []
    >>> for front_mm in np.sqrt(60 * times_s.clip(0)):
    ...     image = bench.copy()
    ...     image[20:120, 20:220] += 80
    ...     image[20:120, 20 : 20 + round(front_mm)] -= 50
    ...     images.append(image)
    >>> corners_px = [[19.5, 19.5], [219.5, 19.5], [219.5, 119.5], [19.5, 119.5]]
    >>> run = track_images(images, times_s, corners_px, 200, 100)
    >>> run.front.usable
    True
    >>> off_mm = run.curve.front_mean_mm - np.sqrt(60 * times_s.clip(0))
    >>> bool(np.abs(off_mm).max() < 1.0)
    True
    """
    frames = ImageFrames(images, times_s, _SOURCE)
    start = None if resin_start_s is None else _start_after_first(resin_start_s, frames)
    panel = {
        "length_mm": length_mm,
        "width_mm": width_mm,
        "flow": flow,
        "feed_point_mm": feed_point_mm,
        "feed_radius_mm": feed_radius_mm,
        "ignore_mm": [_plain(outline) for outline in ignore_mm],
        "region_mm": region_mm,
    }
    scale = {"method": "corners", "corners_px": corners_px}
    for name, value, known in (("camera", camera, CAMERAS), ("follow", follow, FOLLOWED)):
        if value not in known:
            raise bad_field(_SOURCE, name, value, f"must be one of {', '.join(known)}")
    place = Path(_SOURCE)
    source = FrameSource(place, "images", resin_start=start, camera=camera, follow=follow)
    setup = _setup(panel, scale, source)
    with frames:
        return track_frames(setup, frames, lambda items: items).tracked


def _start_after_first(resin_start_s: float, frames: ImageFrames) -> float:
    try:
        start = float(resin_start_s) - float(frames.clock_s[0])
    except (TypeError, ValueError):
        start = float("nan")
    if not np.isfinite(start):
        raise bad_field(_SOURCE, "resin_start_s", resin_start_s, "must be a number of seconds")
    last = float(frames.clock_s[-1])
    if resin_start_s >= last:
        rule = f"must be before the last picture ({last:g}), on the clock of times_s"
        raise bad_field(_SOURCE, "resin_start_s", resin_start_s, rule)
    return start


def _setup(panel: dict[str, Any], scale: dict[str, Any], source: FrameSource) -> PanelSetup:
    """Check the arguments by the rules that panel.toml has."""
    document = {
        name: {key: _plain(value) for key, value in table.items() if value is not None}
        for name, table in (("panel", panel), ("scale", scale))
    }
    place = Path(_SOURCE)
    return setup_with(source, document, place, place)


def _plain(value: Any) -> Any:
    """Turn arrays and NumPy's numbers into what a TOML file would hold."""
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value


def load(folder: str | Path) -> Tracked:
    """Read what was tracked before in a panel folder.

    Parameters
    ----------
    folder : str or Path
        A panel folder with ``results`` by ``wetline run``, ``wetline track`` or
        ``track(folder, write=True)``.

    Returns
    -------
    run : Tracked
        As from `track`; lengths and times are rounded to 0.001 mm and s as in front.csv.

    Raises
    ------
    WetlineError
        If nothing was tracked there yet, the files are not what Wetline writes, or panel.toml's
        [panel], [frames] or [scale] have changed since.

    Examples
    --------
    >>> import shutil, tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     folder = shutil.copytree("sample_frames/pen_marks", f"{place}/panel")
    ...     tracked = track(folder, write=True)
    ...     load(folder).front.length_reached_mm == tracked.front.length_reached_mm
    True
    """
    return read_tracked(Path(folder))


def front_lines(run: Tracked, times_s: Iterable[float]) -> list[FrontLine]:
    """Return where the front stood at chosen times, as polylines in panel mm.

    Parameters
    ----------
    run : Tracked
        From `track`, `track_images` or `load`.
    times_s : iterable of float
        Seconds since resin start, from 0 to the last frame (``run.arrival.last_s``).

    Returns
    -------
    lines : list of FrontLine
        In time order. A time may have several pieces, the longest first, or none where the front
        had not begun or had left the panel. ``points_mm`` of shape (N, 2) holds x along the flow
        and y across it; ``seen`` is False where the front was hidden and filled in from around;
        ``sd_mm`` is the line's standard uncertainty, the doubt of resin start in it, and
        ``is_rough`` whether it may be off by more than 5 mm (95 %).

    Raises
    ------
    WetlineError
        If the run has no arrival map, could not be measured, or a time lies outside of it.

    Notes
    -----
    Method: see `vision.drawing.front_lines.front_lines`. Loops that enclose less than 150 mm2
    and pieces shorter than 8 mm are left out.
    """
    if run.arrival is None:
        raise WetlineError(
            "front_lines: the run has no arrival map (pen marks): read run.curve instead"
        )
    if not run.front.usable:
        raise WetlineError(f"front_lines: the front cannot be measured: {run.front.reason}")
    times = sorted(float(time_s) for time_s in times_s)
    for time_s in times:
        if not 0 <= time_s <= run.arrival.last_s:
            raise WetlineError(
                f"front_lines: times_s = {time_s:g}: outside of the run: give seconds since resin "
                f"start from 0 to {run.arrival.last_s:g}"
            )
    return [line for line in lines_of(run.arrival, run.curve.flow, times) if not line.dry]
