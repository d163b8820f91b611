"""The picture on a part's board: the latest photo, planned and seen front, what was not seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np

from analysis.infusion.ahead.cut_offs import CutOff
from analysis.infusion.answer.front_levels import Level, front_levels
from analysis.infusion.answer.photo_lines import draw_fronts, to_px
from analysis.infusion.outlook.numbers import Forecast
from analysis.part.plan.plan import PartPlan
from vision.common.rounding import rounded
from vision.drawing.front_lines import time_label
from vision.drawing.labels import Box
from vision.drawing.live_picture import SHOWN_WIDTH
from vision.drawing.strokes import DARK, WHITE, Image, Sizes, padded, stroke, write
from vision.part_records import PartSeen
from vision.records import BoolArray, FloatArray

HATCH_PX, STROKE_PX = 14, 2
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


def draw_part(parts: PartPicture, width: int = SHOWN_WIDTH) -> Image:
    """Draw the picture of a part's board.

    Parameters
    ----------
    parts : PartPicture
    width : int
        Greatest width in pixels.

    Returns
    -------
    picture : ndarray of shape (H, W, 3), uint8
        The planned front of now dashed, the seen one solid, dotted where it was filled in; what
        was not seen is hatched, and areas about to be cut off are marked with their minutes.
    """
    height, full = parts.image.shape[:2]
    factor = min(1.0, width / full)
    size = (max(1, round(full * factor)), max(1, round(height * factor)))
    image = np.asarray(cv2.resize(parts.image, size, interpolation=cv2.INTER_AREA), np.uint8)
    seen = parts.seen
    if seen is None or not seen.usable or parts.name not in seen.frames:
        return image
    plane = _smaller(factor) @ seen.homographies[seen.frames.index(parts.name)]
    if not np.isfinite(plane).all():
        return image
    _hatch(image, seen, plane)
    used = seen.frame_s[seen.used]
    now = float(used[-1]) if len(used) else 0.0
    head = [f"at {time_label(max(now, 0.0))}"] if now > 0 else []
    draw_fronts(image, parts.plan, plane, planned_front(parts.planned, now), _seen(seen, now), head)
    _marks(image, plane, parts.cut_offs)
    return image


def planned_front(planned: Forecast, now_s: float) -> list[Level]:
    """Return where the plan has the front at a time."""
    links = planned.links
    field = links.field(np.asarray(planned.arrival_s))
    return front_levels(field, links.grid.x_mm, links.grid.y_mm, [now_s])


def _seen(seen: PartSeen, now_s: float) -> list[Level]:
    return front_levels(seen.time_s, seen.x_mm, seen.y_mm, [now_s], seen.seen)


def _smaller(factor: float) -> FloatArray:
    """Return the map from pixels of a photo to those of the same photo made smaller."""
    shift = 0.5 * factor - 0.5
    return np.array([[factor, 0.0, shift], [0.0, factor, shift], [0.0, 0.0, 1.0]])


def hidden_px(seen: PartSeen, plane: FloatArray, shape: tuple[int, int]) -> BoolArray:
    """Return the pixels of a picture that show a part where it was not seen itself.

    Parameters
    ----------
    seen : PartSeen
    plane : ndarray of shape (3, 3)
        From the plan's mm to pixels.
    shape : (int, int)
        Of the picture.
    """
    hidden = (seen.inside & ~seen.seen).astype(np.uint8)
    steps = [
        float(np.diff(axis).mean()) if len(axis) > 1 else 1.0 for axis in (seen.x_mm, seen.y_mm)
    ]
    to_mm = np.array(
        [[steps[0], 0.0, seen.x_mm[0]], [0.0, steps[1], seen.y_mm[0]], [0.0, 0.0, 1.0]]
    )
    size = (shape[1], shape[0])
    return np.asarray(cv2.warpPerspective(hidden, plane @ to_mm, size, flags=cv2.INTER_NEAREST) > 0)


def _hatch(image: Image, seen: PartSeen, plane: FloatArray) -> None:
    """Hatch what was not seen, light beside dark, so that it reads on every cloth."""
    hidden = hidden_px(seen, plane, image.shape[:2])
    row, col = np.indices(hidden.shape)
    at = (row + col) % HATCH_PX
    image[hidden & (at < STROKE_PX)] = WHITE
    image[hidden & (at >= STROKE_PX) & (at < 2 * STROKE_PX)] = DARK


def _marks(image: Image, plane: FloatArray, cut_offs: Sequence[CutOff]) -> None:
    sizes = Sizes.for_image(image)
    for cut in [cut for cut in cut_offs if not cut.hidden][:MOST_MARKS]:
        x, y = to_px(plane, np.array([[cut.x_mm, cut.y_mm]]))[0]
        turn = np.linspace(0.0, 2 * np.pi, 33)
        ring = np.column_stack([np.cos(turn), np.sin(turn)]) * 0.8 * sizes.text + [x, y]
        stroke(image, ring, DARK, sizes.casing + 2)
        stroke(image, ring, WHITE, sizes.line + 1)
        text = "cut off" if cut.closed else f"cut off in {rounded(cut.minutes_left, 0, 'down')} min"
        text = text if cut.likely else f"may be {text}"
        wide, tall = padded(text, sizes.text)
        middle = float(np.clip(x, wide / 2, max(image.shape[1] - wide / 2, wide / 2)))
        above = y - 1.7 * sizes.text
        write(image, text, Box(middle, above if above > tall else y + 1.7 * sizes.text, wide, tall),
              sizes.text)  # fmt: skip
