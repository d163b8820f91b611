"""The picture on a part's board: the latest photo, planned and seen front, what was not seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import cv2
import numpy as np

from analysis.infusion.ahead.cut_offs import CutOff
from analysis.infusion.answer.front_levels import Level, front_levels
from analysis.infusion.answer.photo_lines import LARGE, draw_fronts, to_px
from analysis.infusion.outlook.numbers import Forecast
from analysis.part.plan.plan import PartPlan
from vision.common.rounding import rounded
from vision.drawing.front_lines import time_label
from vision.drawing.labels import Box
from vision.drawing.live_picture import SHOWN_WIDTH
from vision.drawing.strokes import DARK, WHITE, Image, Sizes, padded, stroke, write
from vision.part_records import PartSeen
from vision.records import FloatArray

HATCHES, HATCH_POINTS = 40, 400
"""Hatching strokes, and points along each, over the longest side of a part."""
MOST_MARKS = 4


@dataclass(frozen=True, eq=False)
class PartPicture:
    """What the picture is drawn from; kept so that it is drawn only when somebody looks.

    Attributes
    ----------
    name : str
        Of the photo.
    image : ndarray of shape (H, W, 3), uint8
    plan : PartPlan
    planned : Forecast
        The plan's own.
    seen : PartSeen or None
        None while nothing can be measured: the photo is shown alone.
    cut_offs : sequence of CutOff
    """

    name: str
    image: Image
    plan: PartPlan
    planned: Forecast
    seen: PartSeen | None = None
    cut_offs: Sequence[CutOff] = field(default_factory=tuple)


def draw_part(parts: PartPicture, width: int = SHOWN_WIDTH, large: bool = False) -> Image:
    """Draw the picture of a part's board.

    Parameters
    ----------
    parts : PartPicture
    width : int
        Greatest width in pixels.
    large : bool
        As for `draw_fronts`.

    Returns
    -------
    picture : ndarray of shape (H, W, 3), uint8
        The planned front of now dashed, the seen one solid, dotted where it was filled in; what
        was not seen is hatched, and areas about to be cut off are marked with their minutes.
    """
    image, factor = _shrunk(parts.image, width)
    seen = parts.seen
    if seen is None or not seen.usable or parts.name not in seen.frames:
        return image
    small = _smaller(factor)
    plane = small @ seen.homographies[seen.frames.index(parts.name)]
    lens = None if seen.lens is None else (small @ seen.lens[0], seen.lens[1])
    if not np.isfinite(plane).all():
        return image
    for line in hatching(seen):
        _two_toned(image, to_px(plane, line, lens))
    used = seen.frame_s[seen.used]
    now = float(used[-1]) if len(used) else 0.0
    head = [f"at {time_label(max(now, 0.0))}"] if now > 0 else []
    lines = planned_front(parts.planned, now), _seen(seen, now)
    draw_fronts(image, parts.plan, plane, *lines, head, lens, large)
    for cut in [cut for cut in parts.cut_offs if not cut.hidden][:MOST_MARKS]:
        _mark(image, to_px(plane, np.array([[cut.x_mm, cut.y_mm]]), lens)[0], cut, large)
    return image


def _shrunk(image: Image, width: int) -> tuple[Image, float]:
    """Return a copy no wider than that, and by how much it was made smaller."""
    height, full = image.shape[:2]
    factor = min(1.0, width / full)
    size = (max(1, round(full * factor)), max(1, round(height * factor)))
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.uint8), factor


def _smaller(factor: float) -> FloatArray:
    """Return the map from pixels of a photo to those of the same photo made smaller."""
    shift = 0.5 * factor - 0.5
    return np.array([[factor, 0.0, shift], [0.0, factor, shift], [0.0, 0.0, 1.0]])


def planned_front(planned: Forecast, now_s: float) -> list[Level]:
    """Return where the plan has the front at a time."""
    links = planned.links
    field = links.field(np.asarray(planned.arrival_s))
    return front_levels(field, links.grid.x_mm, links.grid.y_mm, [now_s])


def _seen(seen: PartSeen, now_s: float) -> list[Level]:
    return front_levels(seen.time_s, seen.x_mm, seen.y_mm, [now_s], seen.seen)


def hatching(seen: PartSeen) -> list[FloatArray]:
    """Return strokes, in mm, over the places of a part that were not seen themselves."""
    hidden = seen.inside & ~seen.seen
    size = float(max(np.ptp(seen.x_mm), np.ptp(seen.y_mm)))
    x, y = (np.sort(axis) for axis in (seen.x_mm, seen.y_mm))
    hidden = hidden[:, np.argsort(seen.x_mm)][np.argsort(seen.y_mm)]
    step = size / HATCH_POINTS
    along = np.arange(0.0, 2.0 * size, step)
    strokes = []
    for start in np.arange(-2.0 * size, 2.0 * size, size / HATCHES):
        points = np.column_stack([x[0] + start + along, y[0] + along])
        col = np.searchsorted(x, points[:, 0]).clip(0, len(x) - 1)
        row = np.searchsorted(y, points[:, 1]).clip(0, len(y) - 1)
        within = (points[:, 0] <= x[-1]) & (points[:, 0] >= x[0]) & (points[:, 1] <= y[-1])
        index = np.flatnonzero(hidden[row, col] & within)
        runs = np.split(index, np.flatnonzero(np.diff(index) > 1) + 1)
        strokes += [points[run] for run in runs if len(run) > 1]
    return strokes


def _two_toned(image: Image, points: FloatArray) -> None:
    """Draw a line light beside dark, so that it reads on every cloth."""
    sizes = Sizes.for_image(image)
    stroke(image, points, DARK, sizes.line + 1)
    stroke(image, points, WHITE, max(1, sizes.line // 2))


def _mark(image: Image, at_px: FloatArray, cut: CutOff, large: bool) -> None:
    """Draw a ring where the air of an area ends, with the minutes that are left."""
    sizes = Sizes.for_image(image)
    if large:
        sizes = replace(sizes, text=LARGE * sizes.text)
    x, y = (float(value) for value in at_px)
    turn = np.linspace(0.0, 2 * np.pi, 33)
    ring = np.column_stack([np.cos(turn), np.sin(turn)]) * 0.8 * sizes.text + [x, y]
    stroke(image, ring, DARK, sizes.casing + 2)
    stroke(image, ring, WHITE, sizes.line + 1)
    text = "cut off" if cut.closed else f"cut off in {rounded(cut.minutes_left, 0, 'down')} min"
    text = text if cut.likely else f"may be {text}"
    wide, tall = padded(text, sizes.text)
    middle = float(np.clip(x, wide / 2, max(image.shape[1] - wide / 2, wide / 2)))
    above = y - 1.7 * sizes.text
    place = Box(middle, above if above > tall else y + 1.7 * sizes.text, wide, tall)
    write(image, text, place, sizes.text)
