"""What lies on the bench: sealant tape, lines and hoses, scale markers, tools, notes."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_frames._plane import Plane, blur, curve, over, patchy, rectangle, shade

Array = NDArray[np.floating]

AMBER = np.array([0.42, 0.24, 0.055], np.float32)
CLEAR_HOSE = np.array([0.56, 0.59, 0.58], np.float32)


def _round_bar(mask: Array, width_px: float) -> tuple[Array, Array]:
    """Shade a mask as a round bar lit from the upper left: brightness and gloss."""
    inside = cv2.distanceTransform((mask > 0.5).astype(np.uint8), cv2.DIST_L2, 5)
    depth = np.clip(inside / (width_px / 2), 0, 1)
    height = blur(np.sqrt(1 - (1 - depth) ** 2), 1.2) * width_px / 2
    gy, gx = np.gradient(height)
    norm = np.sqrt(1 + gx**2 + gy**2)
    light = (0.80 + 0.42 * gx + 0.52 * gy) / norm
    gloss = np.clip((0.55 + 0.50 * gx + 0.66 * gy) / norm, 0, 1) ** 40
    return np.clip(light, 0.22, 1.15).astype(np.float32), gloss.astype(np.float32)


def sealant_tape(
    canvas: Array,
    plane: Plane,
    frame: tuple[float, float, float, float],
    colour: tuple[float, float, float],
    rng: np.random.Generator,
) -> Array:
    """Press a hand-laid strip of sealant tape around the bag."""
    x0, y0, x1, y1 = frame
    corners = rectangle(x0, y0, x1, y1)
    mask = np.zeros(plane.shape, np.float32)
    for i in range(4):
        a, b = corners[i], corners[(i + 1) % 4]
        unit = (b - a) / np.linalg.norm(b - a)
        t = np.linspace(-7, np.linalg.norm(b - a) + 7, 60)
        wobble = np.cumsum(rng.normal(0, 0.25, 60))
        wobble -= np.linspace(wobble[0], wobble[-1], 60)
        normal = np.array([-unit[1], unit[0]])
        path = a + t[:, None] * unit + wobble[:, None] * normal
        mask = np.maximum(mask, plane.line(path, 11.5))
    near = np.clip(3 * blur(mask, 1.5 * plane.ppm), 0, 1)
    ragged = blur(mask, 2.0) + 0.13 * near * patchy(plane.shape, 2.2 * plane.ppm, rng)
    mask = np.clip((ragged - 0.42) / 0.16, 0, 1)
    light, gloss = _round_bar(mask, 18 * plane.ppm)
    dents = 1 + 0.07 * patchy(plane.shape, 2.0 * plane.ppm, rng)
    body = np.array(colour, np.float32) * (0.25 + 0.75 * light * dents)[..., None]
    canvas = shade(canvas, mask, 0.30, 2.0 * plane.ppm, round(1.2 * plane.ppm))
    return over(canvas, body + 0.10 * gloss[..., None], mask)


def spiral(
    canvas: Array, plane: Plane, x_mm: float, y0_mm: float, y1_mm: float, colour: Array
) -> tuple[Array, Array]:
    """Lay a spiral-cut tube across the panel's end; give the picture and its mask."""
    _, y = plane.xy()
    x, _ = plane.xy()
    mask = plane.line(np.array([(x_mm, y0_mm), (x_mm, y1_mm)]), 8.0)
    light, gloss = _round_bar(mask, 8.0 * plane.ppm)
    turn = 0.5 + 0.5 * np.cos(2 * np.pi * (y + 0.22 * (x - x_mm)) / 5.2)
    body = (
        colour * (light * (0.52 + 0.48 * turn**0.5))[..., None] + 0.32 * (gloss * turn)[..., None]
    )
    canvas = shade(canvas, mask, 0.5, 1.6 * plane.ppm, round(1.8 * plane.ppm))
    return over(canvas, body, mask), mask


def hose(
    canvas: Array, plane: Plane, path: Array, colour: Array, width_mm: float = 10.0
) -> tuple[Array, Array]:
    """Lay a hose along a path; give the picture and its mask."""
    mask = plane.line(path, width_mm)
    light, gloss = _round_bar(mask, width_mm * plane.ppm)
    body = colour * (0.35 + 0.65 * light)[..., None] + 0.5 * gloss[..., None]
    canvas = shade(canvas, mask, 0.55, 3.0 * plane.ppm, round(3.5 * plane.ppm))
    return over(canvas, body, mask), mask


def strip(canvas: Array, plane: Plane, corners: Array, colour: Array, alpha: float) -> Array:
    """Lay a strip of open flow media (a fine net) under a line."""
    x, y = plane.xy()
    net = 0.55 + 0.45 * np.abs(np.sin(np.pi * (x + y) / 3.0)) * np.abs(
        np.sin(np.pi * (x - y) / 3.0)
    )
    return over(canvas, colour * net[..., None].astype(np.float32), plane.polygon(corners) * alpha)


def marker_card(
    canvas: Array,
    plane: Plane,
    number: int,
    at_mm: tuple[float, float],
    marker_mm: float,
    rng: np.random.Generator,
) -> Array:
    """Lay one marker of the printed scale sheet (ArUco DICT_4X4_50)."""
    (cx, cy), half = at_mm, marker_mm * 0.70
    x, y = plane.xy()
    paper = 0.80 * (1 + 0.012 * patchy(plane.shape, 2.0, rng))
    card = plane.polygon(rectangle(cx - half, cy - half, cx + half, cy + half + 5))
    canvas = shade(canvas, card, 0.35, 1.5 * plane.ppm, round(0.8 * plane.ppm))
    canvas = over(canvas, paper[..., None] * np.array([1.0, 1.0, 0.975], np.float32), card)
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    cells = cv2.aruco.generateImageMarker(book, number, 6)
    ink = np.zeros(plane.shape, np.float32)
    for dx, dy in itertools.product((-0.4, -0.2, 0.0, 0.2, 0.4), repeat=2):  # shares of a pixel
        col = np.floor((x + dx / plane.ppm - cx) / marker_mm * 6 + 3).astype(int)
        row = np.floor((y + dy / plane.ppm - cy) / marker_mm * 6 + 3).astype(int)
        inside = (col >= 0) & (col < 6) & (row >= 0) & (row < 6)
        ink += inside & (cells[np.clip(row, 0, 5), np.clip(col, 0, 5)] == 0)
    canvas = over(canvas, np.array([0.035, 0.035, 0.04]), blur(ink / 25, 0.6))
    note = plane.text(f"{number}   {marker_mm:g} mm", (cx - half + 4, cy + half + 3), 4.0, 1)
    return over(canvas, np.array([0.15, 0.15, 0.15]), 0.8 * note)


def steel_rule(
    canvas: Array,
    plane: Plane,
    at_mm: tuple[float, float],
    long_mm: float,
    tilt: float,
    rng: np.random.Generator,
) -> Array:
    """Lay a steel rule with a mark each millimetre."""
    x, y = plane.xy()
    u = (x - at_mm[0]) * np.cos(tilt) + (y - at_mm[1]) * np.sin(tilt)
    v = -(x - at_mm[0]) * np.sin(tilt) + (y - at_mm[1]) * np.cos(tilt)
    mask = np.clip(np.minimum.reduce([u, long_mm - u, v, 24 - v]) * plane.ppm + 0.5, 0, 1)
    canvas = shade(canvas, mask, 0.4, 1.2 * plane.ppm, round(1.0 * plane.ppm))
    brushed = (
        1
        + 0.05
        * cv2.GaussianBlur(
            rng.standard_normal(plane.shape).astype(np.float32), (0, 0), sigmaX=25, sigmaY=0.8
        )
        * 8
    )
    body = np.array([0.42, 0.43, 0.45], np.float32) * (brushed * (0.9 + 0.2 * v / 24))[..., None]
    whole = np.round(u).astype(int)
    reach = np.where(whole % 10 == 0, 9.0, np.where(whole % 5 == 0, 6.5, 4.0))
    tick = (np.abs(u - whole) < 0.16) & (v < reach) & (whole > 4) & (whole < long_mm - 4)
    body = over(body, np.array([0.04, 0.04, 0.04]), blur(tick.astype(np.float32), 0.5))
    return over(canvas, body, mask)


def note(
    canvas: Array,
    plane: Plane,
    at_mm: tuple[float, float],
    lines: tuple[str, ...],
    rng: np.random.Generator,
) -> Array:
    """Stick on masking tape with handwriting."""
    x, y = at_mm
    long = 9 + 5.1 * max(map(len, lines))
    tall = 6 + 11 * len(lines)
    ends = [(x + rng.normal(0, 0.7), y + f * tall) for f in np.linspace(1, 0, 14)]
    corners = np.array([(x, y), (x + long, y - 2), (x + long + 1, y + tall - 2), *ends])
    mask = plane.polygon(corners)
    canvas = shade(canvas, mask, 0.22, 1.0 * plane.ppm, round(0.5 * plane.ppm))
    crepe = (
        1
        + 0.035
        * cv2.GaussianBlur(
            rng.standard_normal(plane.shape).astype(np.float32), (0, 0), sigmaX=0.9, sigmaY=6
        )
        * 4
    )
    canvas = over(canvas, np.array([0.60, 0.53, 0.33], np.float32) * crepe[..., None], mask)
    for i, words in enumerate(lines):
        ink = plane.text(words, (x + 5, y + 11 + 11 * i), 7.5, 3)
        canvas = over(canvas, np.array([0.03, 0.04, 0.09]), 0.9 * ink)
    return canvas


def tape_roll(
    canvas: Array,
    plane: Plane,
    at_mm: tuple[float, float],
    radius_mm: float,
    colour: tuple[float, float, float],
) -> Array:
    """Set down a roll of sealant tape."""
    x, y = plane.xy()
    r = np.hypot(x - at_mm[0], y - at_mm[1])
    ring = np.clip((radius_mm - r) * plane.ppm + 0.5, 0, 1)
    ring = ring * np.clip((r - 0.55 * radius_mm) * plane.ppm + 0.5, 0, 1)
    canvas = shade(canvas, ring, 0.6, 5 * plane.ppm, round(6 * plane.ppm))
    angle = np.arctan2(y - at_mm[1], x - at_mm[0])
    winding = 0.80 + 0.10 * np.cos(2 * np.pi * r / 1.7) - 0.16 * np.sin(angle + 0.7)
    paper = np.clip(np.cos(np.pi * (r / 3.4)), 0, 1) ** 6 * 0.25
    body = np.array(colour, np.float32) * winding[..., None].astype(np.float32)
    return over(canvas, body + paper[..., None].astype(np.float32) * 0.5, ring)


def marker_pen(canvas: Array, plane: Plane, at_mm: tuple[float, float], tilt: float) -> Array:
    """Leave a felt pen on the bench."""
    unit = np.array([np.cos(tilt), np.sin(tilt)])
    parts = [(0, 96, 14.0, (0.62, 0.62, 0.60)), (58, 104, 15.5, (0.03, 0.035, 0.05))]
    for start, end, width, colour in parts:
        path = np.array(at_mm) + np.array([[start], [end]]) * unit
        canvas, _ = hose(canvas, plane, path, np.array(colour, np.float32), width)
    return canvas


def hose_paths(
    plane: Plane, length_mm: float, width_mm: float, feed_y: float, vent_y: float
) -> tuple[Array, Array]:
    """Give the feed hose (ends at the feed line) and the vacuum hose (starts at the vent)."""
    middle = width_mm / 2
    feed = curve(
        [
            (plane.x0_mm - 20, feed_y),
            (plane.x0_mm * 0.62, feed_y + 25),
            (-90, middle + 6),
            (-16, middle),
        ]
    )
    vent = curve(
        [
            (length_mm + 16, middle),
            (length_mm + 80, middle - 4),
            (plane.x1_mm - 70, vent_y + 30),
            (plane.x1_mm + 20, vent_y),
        ]
    )
    return feed, vent
