"""The plan drawn small, as seen from above, with the points to tap numbered."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision.drawing.labels import Box
from vision.drawing.strokes import (
    DARK,
    SKY,
    VERMILION,
    WHITE,
    YELLOW,
    Image,
    fill,
    padded,
    stroke,
    write,
)
from vision.part_records import PartShape
from vision.parts.part_settings import box_map
from vision.parts.tapping.asked_points import AskedPoint
from vision.records import FloatArray
from vision.scale.plane_map import apply_homography


def plan_sketch(
    shape: PartShape,
    asked: Sequence[AskedPoint],
    size: tuple[int, int],
    now: int | None = None,
    done: Sequence[int] = (),
) -> Image:
    """Draw a part's plan with its feeds and the points to tap.

    Parameters
    ----------
    shape : PartShape
    asked : sequence of AskedPoint
    size : (int, int)
        Width and height of the picture.
    now : int, optional
        The point to tap next: ringed and larger than the others.
    done : sequence of int
        Points already tapped: filled.

    Returns
    -------
    picture : ndarray of shape (H, W, 3), uint8
        Blue, green, red, on dark. As seen from above, whichever way y runs.
    """
    width, height = size
    image = np.full((height, width, 3), DARK, np.uint8)
    text = int(max(10, min(width, height) / 18))
    box = apply_homography(box_map(shape), shape.outline_mm)
    span = np.ptp(box, axis=0)
    margin = 2.6 * text
    factor = float(min((width - 2 * margin) / span[0], (height - 2 * margin) / span[1]))
    corner = (np.array([width, height]) - factor * span) / 2

    def px(points_mm: FloatArray) -> FloatArray:
        points = np.atleast_2d(np.asarray(points_mm, float))
        return apply_homography(box_map(shape), points) * factor + corner

    fill(image, px(shape.outline_mm), (70, 62, 56))
    for hole in shape.holes_mm:
        fill(image, px(hole), DARK)
    for ring in (shape.outline_mm, *shape.holes_mm):
        stroke(image, px(ring), WHITE, 2, closed=True)
    for feed in shape.feeds:
        _feed(image, px(feed.points_mm), feed.name, text)
    for number, point in enumerate(asked):
        _mark(image, px(np.array([point.mm]))[0], number, number == now, number in done, text)
    return image


def _feed(image: Image, points: FloatArray, name: str, text: int) -> None:
    """Draw a feed, a line or a point, with its name in its middle."""
    if len(points) > 1:
        stroke(image, points, SKY, 3)
        middle = (points[0] + points[-1]) / 2
    else:
        ring = np.linspace(0, 2 * np.pi, 25)
        stroke(image, points[0] + 6 * np.column_stack([np.cos(ring), np.sin(ring)]), SKY, 3)
        middle = points[0] + [0, 1.2 * text]
    _label(image, name, middle, round(0.75 * text), SKY)


def _mark(
    image: Image, at: FloatArray, number: int, is_now: bool, is_done: bool, text: int
) -> None:
    turn = np.linspace(0, 2 * np.pi, 33)
    ring = np.column_stack([np.cos(turn), np.sin(turn)])
    if is_done:
        fill(image, at + 0.35 * text * ring, YELLOW)
    if is_now:
        stroke(image, at + 0.8 * text * ring, DARK, 7)
        stroke(image, at + 0.8 * text * ring, YELLOW, 4)
    centre = np.array(image.shape[1::-1]) / 2
    out = (at - centre) / max(float(np.hypot(*(at - centre))), 1.0)
    stroke(image, at + 0.3 * text * ring, VERMILION if is_now else WHITE, 2)
    colour = YELLOW if is_now else WHITE
    _label(image, str(number + 1), at + 1.5 * text * out, text if is_now else round(0.8 * text),
           colour)  # fmt: skip


def _label(
    image: Image, words: str, at: FloatArray, size: int, colour: tuple[int, int, int]
) -> None:
    wide, tall = padded(words, size)
    height, width = image.shape[:2]
    x = float(np.clip(at[0], wide / 2, max(width - wide / 2, wide / 2)))
    y = float(np.clip(at[1], tall / 2, max(height - tall / 2, tall / 2)))
    write(image, words, Box(x, y, wide, tall), size, colour)
