"""Planned and seen front lines on a photo of a part, told apart by dash and by words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis.infusion.answer.front_levels import Level, front_levels
from analysis.infusion.answer.part_run import InfusionAnswer
from analysis.part.plan.plan import PartPlan
from vision.drawing.front_lines import choose_times_s, time_label
from vision.drawing.labels import Box, place_labels
from vision.drawing.overlay import draw_title, emptiest_corner
from vision.drawing.strokes import (
    DARK,
    SKY,
    WHITE,
    YELLOW,
    Colour,
    Image,
    Sizes,
    along_sides,
    backing,
    dashes,
    padded,
    stroke,
    text_size,
    write,
)
from vision.part_records import Lens
from vision.records import FloatArray
from vision.scale.plane_map import photo_px

LINES = 3
LARGE = 2
KINDS = ("planned: dashed", "seen: solid", "filled in, not seen: dotted")


def draw_photo(run: InfusionAnswer, image_bgr: Image, index: int) -> Image:
    """Draw the lines up to a photo on a copy of it.

    Parameters
    ----------
    run : InfusionAnswer
    image_bgr : ndarray of shape (H, W, 3), uint8
        The photo.
    index : int
        Which of the run's photos it is.

    Returns
    -------
    picture : ndarray of shape (H, W, 3), uint8
        Planned lines are dashed and seen ones solid, dotted where the times were filled in from
        around; each carries its time. Where the part was not found in the photo, or nothing could
        be measured, it says so instead.
    """
    image = image_bgr.copy()
    sizes = Sizes.for_image(image)
    plane, now = run.seen.homographies[index], float(run.seen.frame_s[index])
    if run.beside is None or not np.isfinite(plane).all():
        middle = np.array([[image.shape[1] / 2, image.shape[0] / 2]])
        why = "nothing could be measured" if run.beside is None else "the part was not found here"
        draw_title(image, [run.planned.name, why], middle, sizes)
        return image
    times = choose_times_s(now, LINES)
    head = [run.planned.name, f"planned and seen front, up to {time_label(max(now, 0.0))}"]
    lines = planned_lines(run, times), seen_lines(run, times)
    draw_fronts(image, run.job.plan, plane, *lines, head, run.seen.lens)
    return image


def draw_fronts(
    image: Image,
    plan: PartPlan,
    plane: FloatArray,
    planned: Sequence[Level],
    seen: Sequence[Level],
    head: Sequence[str],
    lens: Lens | None = None,
    large: bool = False,
) -> None:
    """Draw a part's outline, and its planned and seen fronts, into a photo of it.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3), uint8
        Drawn into.
    plan : PartPlan
    plane : ndarray of shape (3, 3)
        From the plan's mm to pixels of the photo.
    planned, seen : sequence of Level
    head : sequence of str
        Lines of the title.
    lens : (ndarray of shape (3, 3), ndarray of shape (5,)) or None
        As of `PartSeen`.
    large : bool
        Write larger, and leave out which line is which: for a picture shown small, with words
        beside it that say so.
    """
    sizes = Sizes.for_image(image)
    if large:
        sizes = replace(sizes, text=LARGE * sizes.text)
    outline = np.vstack([plan.outline_mm, plan.outline_mm[:1]])
    for loop in (outline, *plan.holes_mm):
        stroke(image, to_px(plane, along_sides(np.vstack([loop, loop[:1]])), lens), WHITE, 1)
    kept = [(line, to_px(plane, line.points_mm, lens), False) for line in seen]
    kept += [(line, to_px(plane, line.points_mm, lens), True) for line in planned]
    for line, points, is_planned in kept:
        _draw(image, line, points, is_planned, sizes)
    outline_px = to_px(plane, along_sides(outline), lens)
    taken = [draw_title(image, head, outline_px, sizes)]
    unseen = any(not line.seen.all() for line in seen)
    if not large:
        told = KINDS[: 2 + unseen] if seen else KINDS[:1]
        taken.append(_legend(image, told, outline_px, taken, sizes))
    _label(image, kept, taken, sizes)


def planned_lines(run: InfusionAnswer, times_s: list[float]) -> list[Level]:
    """Return the planned front at some times."""
    planned = run.planned
    return front_levels(planned.arrival_s, planned.x_mm, planned.y_mm, times_s)


def seen_lines(run: InfusionAnswer, times_s: list[float]) -> list[Level]:
    """Return the front as seen at some times, none after the last photo."""
    seen = run.seen
    times = [at for at in times_s if at <= seen.last_s]
    return front_levels(seen.time_s, seen.x_mm, seen.y_mm, times, seen.seen)


def to_px(homography: FloatArray, points_mm: FloatArray, lens: Lens | None = None) -> FloatArray:
    """Map the plan's mm to pixels of a photo, through the lens where it is known."""
    return photo_px(points_mm, homography, lens)


def _draw(image: Image, line: Level, points: FloatArray, planned: bool, sizes: Sizes) -> None:
    """Draw one line: dark casing round a light core."""
    points = _dense(points)
    if planned:
        parts = dashes(points, np.zeros(len(points), bool), 5.0 * sizes.casing)
    else:
        share = np.linspace(0, len(line.seen) - 1, len(points))
        parts = dashes(points, line.seen[np.rint(share).astype(int)], 1.2 * sizes.casing)
    for part in parts:
        stroke(image, part, DARK, sizes.casing)
    for part in parts:
        stroke(image, part, _colour(planned), sizes.line)


def _colour(planned: bool) -> Colour:
    return SKY if planned else YELLOW


def _dense(points: FloatArray) -> FloatArray:
    """Return a polyline with points a pixel or two apart, so that dashes can be cut."""
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(points, axis=0).T))]
    ticks = np.linspace(0.0, along[-1], max(2, int(along[-1] / 1.5)))
    return np.column_stack([np.interp(ticks, along, axis) for axis in points.T])


def _label(
    image: Image, kept: list[tuple[Level, FloatArray, bool]], taken: list[Box], sizes: Sizes
) -> None:
    """Write each time once on a seen line and once, as planned, on a planned one."""
    first: dict[tuple[float, bool], FloatArray] = {}
    for line, points, planned in kept:
        first.setdefault((line.time_s, planned), points)
    texts = [f"planned {time_label(t)}" if plan else time_label(t) for t, plan in first]
    size_px = [padded(text, sizes.text) for text in texts]
    picture = (float(image.shape[1]), float(image.shape[0]))
    places = place_labels(list(first.values()), size_px, picture, taken, gap=0.15 * sizes.text)
    for text, (_, planned), place in zip(texts, first, places, strict=True):
        if place is not None:
            write(image, text, place, sizes.text, _colour(planned))


def _legend(
    image: Image, rows: tuple[str, ...], outline_px: FloatArray, taken: list[Box], sizes: Sizes
) -> Box:
    """Write which line is which, each beside a sample of itself."""
    size, sample = sizes.text, 4.0 * sizes.text
    row_px = 1.5 * size
    wide = max(text_size(row, size)[0] for row in rows) + sample + 1.8 * size
    box = emptiest_corner(
        (image.shape[0], image.shape[1]), (wide, row_px * len(rows) + 0.5 * size), outline_px, taken
    )
    backing(image, box)
    left, top = box.x - box.width / 2, box.y - box.height / 2
    for k, row in enumerate(rows):
        y = top + 0.25 * size + (k + 0.5) * row_px
        ends = np.array([[left + 0.6 * size, y], [left + 0.6 * size + sample, y]])
        flags = np.full(2, k == 1)
        _draw(image, Level(0.0, ends, flags), ends, k == 0, sizes)
        width, height = text_size(row, size)
        write(image, row, Box(left + sample + 1.2 * size + width / 2, y, 0, height), size)
    return box
