"""One bagged panel on its bench, and what the camera sees of it at a given moment."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_frames import _objects as objects
from sample_frames import _textures as textures
from sample_frames._camera import (
    HEIGHT,
    OVERSAMPLE,
    WIDTH,
    Camera,
    Lamp,
    develop,
    glare,
    hand,
    soft_shadow,
    warp,
)
from sample_frames._flow import Flow
from sample_frames._plane import Plane, blur, over, patchy, rectangle, shifted

Array = NDArray[np.floating]

NEVER = 1e4


@dataclass(frozen=True)
class Reach:
    """A gloved hand in the picture: where its fingertips are, and from which way it comes."""

    at_px: tuple[float, float]
    heading_deg: float
    size: float = 1.0
    pointing: bool = True


@dataclass(frozen=True)
class Look:
    """How a panel and its shop look; `deepen_mm` is how far the wet look goes on deepening."""

    camera: Camera
    bench: str
    fabric: str
    pitch_mm: float
    twill: bool
    tape: tuple[float, float, float]
    lamps: tuple[Lamp, ...]
    note: tuple[str, ...]
    marker_mm: float | None = None
    marker_gap_mm: float = 70.0
    margin_mm: float = 34.0
    wrinkles: int = 100
    bench_gloss: float = 0.5
    deepen_mm: float = 9.0
    brightness: float = 1.0
    noise: float = 1.0
    ppm: float = 3.0


def marker_centres_mm(flow: Flow, look: Look) -> Array:
    """Give the marker centres in corner order (0, 0), (length, 0), (length, width), (0, width)."""
    gap = look.marker_gap_mm
    return rectangle(0.0, -gap, flow.length_mm, flow.width_mm + gap)


@dataclass(frozen=True)
class Scene:
    """What the camera sees, oversampled: all dry, all wet, the film's glare, and where it wets.

    `reach_mm` is the front distance (in an even stack) at which a spot wets; `feed_s` the time at
    which the hose and feed line fill.
    """

    dry: Array
    wet: Array
    glare_dry: Array
    glare_wet: Array
    reach_mm: Array
    feed_s: Array


def _lines(canvas: Array, plane: Plane, flow: Flow, wet: bool) -> tuple[Array, Array, Array]:
    """Lay feed and vacuum lines; give the picture, when the feed fills, and how high they stand."""
    long, wide = flow.length_mm, flow.width_mm
    feed_path, vent_path = objects.hose_paths(plane, long, wide, 0.62 * wide, 0.25 * wide)
    fill = objects.AMBER if wet else objects.CLEAR_HOSE
    net = np.array([0.20, 0.32, 0.20], np.float32) * (0.55 if wet else 1.0)
    under_feed, under_vent = (
        rectangle(-20, -4, 0, wide + 4),
        rectangle(long, -4, long + 20, wide + 4),
    )
    canvas = objects.strip(canvas, plane, under_feed, net, 0.85)
    canvas = objects.strip(canvas, plane, under_vent, np.array([0.52, 0.52, 0.50]), 0.9)
    canvas, vent = objects.spiral(canvas, plane, long + 13, -5, wide + 5, objects.CLEAR_HOSE)
    canvas, feed = objects.spiral(canvas, plane, -12, -5, wide + 5, fill)
    canvas, vent_hose = objects.hose(canvas, plane, vent_path, objects.CLEAR_HOSE)
    canvas, feed_hose = objects.hose(canvas, plane, feed_path, fill)
    x, y = plane.xy()
    feed_s = np.full(plane.shape, NEVER, np.float32)
    feed_s[plane.polygon(under_feed) > 0.5] = 0.0
    spiral = feed > 0.5
    feed_s[spiral] = (-2.5 + 2.5 * np.abs(y - wide / 2) / (wide / 2))[spiral]
    inside = feed_hose > 0.5
    feed_s[inside] = (-2.5 + 9.0 * np.minimum(x + 16, 0) / (16 - plane.x0_mm))[inside]
    return canvas, feed_s, 5.0 * np.maximum.reduce([vent, feed, vent_hose, feed_hose])


def _furnish(canvas: Array, plane: Plane, flow: Flow, look: Look, seed: int) -> Array:
    """Put the scale sheet, the note and the tools around the bag."""
    rng = np.random.default_rng([seed, 3])
    long, wide, out = flow.length_mm, flow.width_mm, look.margin_mm
    canvas = canvas.copy()

    def put(x: float, y: float, spare: float, draw: Callable[[Array, Plane], Array]) -> None:
        part, rows, cols = plane.window((x - spare, y - spare, x + spare, y + spare))
        if min(part.shape) > 0:
            canvas[rows, cols] = draw(canvas[rows, cols], part)

    size = look.marker_mm or 0.0
    for number, (x, y) in enumerate(marker_centres_mm(flow, look) if size else ()):
        put(x, y, 1.6 * size, partial(_card, number, (x, y), size, rng))
    x, y = 0.42 * long, -out - 48
    put(x + 50, y, 75, lambda c, p: objects.note(c, p, (x, y), look.note, rng))
    x_rule, y_rule = 0.16 * long, wide + out + 18
    put(
        x_rule + 145,
        y_rule,
        165,
        lambda c, p: objects.steel_rule(c, p, (x_rule, y_rule), 290, 0.012, rng),
    )
    x_roll, y_roll = long + out + 70, -0.18 * wide
    put(x_roll, y_roll, 85, lambda c, p: objects.tape_roll(c, p, (x_roll, y_roll), 46, look.tape))
    x_pen, y_pen = long + out + 26, 0.80 * wide
    put(x_pen + 40, y_pen + 40, 90, lambda c, p: objects.marker_pen(c, p, (x_pen, y_pen), 0.9))
    return canvas


def _card(
    number: int,
    at_mm: tuple[float, float],
    size_mm: float,
    rng: np.random.Generator,
    canvas: Array,
    plane: Plane,
) -> Array:
    return objects.marker_card(canvas, plane, number, at_mm, size_mm, rng)


def build(flow: Flow, look: Look, arrival_s: Array, seed: int) -> Scene:
    """Draw the panel plane all dry and all wet, and look at it through the camera."""
    rng = np.random.default_rng([seed, 2])
    plane = look.camera.plane(look.ppm)
    view = look.camera.view_mm()
    long, wide, out = flow.length_mm, flow.width_mm, look.margin_mm
    frame = (-out - 6, -out, long + out + 6, wide + out)
    bench = textures.BENCHES[look.bench](plane, rng)
    weave = textures.Weave(plane, look.pitch_mm, look.twill, rng)
    cloth = textures.FABRICS[look.fabric](plane, weave, bench, rng)
    soft = blur(plane.polygon(rectangle(0, 0, long, wide)), 1.2)
    ragged = 0.10 * patchy(plane.shape, 1.5, rng) * ((soft > 0.02) & (soft < 0.95))
    fray = np.clip(soft + ragged, 0, 1)
    pictures, feed_s, stand = [], np.zeros(0), np.zeros(0)
    for is_wet in (False, True):
        canvas, feed_s, stand = _lines(bench, plane, flow, is_wet)
        canvas = over(canvas * (1 - 0.30 * blur(fray, 5.0))[..., None], cloth[is_wet], fray)
        canvas = canvas * 0.965 + 0.010
        canvas = objects.sealant_tape(
            canvas, plane, frame, look.tape, np.random.default_rng([seed, 4])
        )
        pictures.append(_furnish(canvas, plane, flow, look, seed))
    glares = _film_glare(plane, flow, look, frame, weave, fray, stand, rng)
    bare = np.abs(pictures[0] - bench).max(axis=2) < 0.05
    glares = tuple(np.where(bare | _under_film(plane, frame), g, 0.0) for g in glares)
    even_mm = np.sqrt(np.asarray(arrival_s, np.float32)) * flow.mm_per_root_s
    reach = cv2.remap(
        even_mm.astype(np.float32),
        view[..., 0] - 0.5,
        view[..., 1] - 0.5,
        cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REPLICATE,
    )
    off_panel = (
        (view[..., 0] < 0) | (view[..., 0] > long) | (view[..., 1] < 0) | (view[..., 1] > wide)
    )
    feed_s = cv2.remap(
        feed_s,
        (view[..., 0] - plane.x0_mm) * plane.ppm,
        (view[..., 1] - plane.y0_mm) * plane.ppm,
        cv2.INTER_NEAREST,
        borderMode=cv2.BORDER_REPLICATE,
    )
    seen = [warp(p, plane, view) for p in (*pictures, *glares)]
    return Scene(*seen, np.where(off_panel, NEVER, reach).astype(np.float32), feed_s)


def _under_film(plane: Plane, frame: tuple[float, float, float, float]) -> NDArray[np.bool_]:
    x, y = plane.xy()
    x0, y0, x1, y1 = frame
    return (x > x0 - 9) & (x < x1 + 9) & (y > y0 - 9) & (y < y1 + 9)


def _film_glare(
    plane: Plane,
    flow: Flow,
    look: Look,
    frame: tuple[float, float, float, float],
    weave: textures.Weave,
    cloth: Array,
    stand_mm: Array,
    rng: np.random.Generator,
) -> tuple[Array, Array]:
    """Mirror the lamps in the film over dry and over wet cloth, and faintly in the bench."""
    height = textures.bag_height_mm(plane, frame, look.wrinkles, rng)
    height = height * (1 - 0.30 * blur(cloth, 3.0))
    height = height + 1.6 * blur(cloth, 1.4 * plane.ppm) + blur(stand_mm, 1.3 * plane.ppm)
    edge = plane.line(np.vstack([rectangle(*frame), [frame[:2]]]), 11.5)
    height = height + 2.5 * blur(edge, 2.2 * plane.ppm)
    film = _under_film(plane, frame).astype(np.float32)
    bench = glare(0.10 * patchy(plane.shape, 30 * plane.ppm, rng), plane, look.camera, look.lamps)
    bench = blur(bench, 2.5 * plane.ppm) * look.bench_gloss
    imprint = weave.relief() * blur(cloth, 2.0)
    both = []
    for depth_mm in (0.035, 0.022):
        g = glare(height + depth_mm * imprint, plane, look.camera, look.lamps)
        both.append(g * film + bench * (1 - film))
    return both[0], both[1]


def _wet_share(scene: Scene, flow: Flow, look: Look, time_s: float) -> Array:
    """How wet each pixel looks: a sharp first change, then a slow deepening behind the front."""
    behind = flow.mm_per_root_s * np.sqrt(max(time_s, 0.0)) - scene.reach_mm
    step = np.clip((behind + 0.35) / 0.7, 0, 1)
    step = step * step * (3 - 2 * step)
    deep = 1 - np.exp(-np.maximum(behind, 0) / look.deepen_mm)
    feed = np.clip((time_s - scene.feed_s) / 0.4, 0, 1)
    return np.maximum(0.72 * step + 0.28 * deep, feed) if time_s > 0 else feed


@dataclass(frozen=True)
class Moment:
    """What is particular to one frame: light, camera drift, shadow, hand."""

    gain: tuple[float, float, float]
    drift_px: tuple[float, float] = (0.0, 0.0)
    shadow: tuple[float, float, float] | None = None
    reach: Reach | None = None


def photograph(
    scene: Scene, flow: Flow, look: Look, time_s: float, moment: Moment, seed: tuple[int, ...]
) -> NDArray[np.uint8]:
    """Take one picture, shape (720, 1280, 3), red first."""
    rng = np.random.default_rng(seed)
    share = _wet_share(scene, flow, look, time_s)
    light = scene.dry + (scene.wet - scene.dry) * share[..., None]
    film = scene.glare_dry + (scene.glare_wet - scene.glare_dry) * share
    light = light + film[..., None] * np.array([1.0, 0.98, 0.93], np.float32)
    move = np.array([[1, 0, moment.drift_px[0]], [0, 1, moment.drift_px[1]]], float)
    move[:, 2] *= OVERSAMPLE
    size = (WIDTH * OVERSAMPLE, HEIGHT * OVERSAMPLE)
    if any(moment.drift_px):
        light = cv2.warpAffine(light, move, size, borderMode=cv2.BORDER_REFLECT_101)
    light = cv2.resize(light, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA)
    if moment.shadow is not None:
        x, y, strength = moment.shadow
        light = light * soft_shadow((x, y), (330, 420), strength)[..., None]
    if moment.reach is not None:
        r = moment.reach
        picture, mask = hand(r.at_px, r.heading_deg, r.size, r.pointing, rng)
        cast = shifted(blur(mask, 11.0), 22, 16)
        light = over(light * (1 - 0.5 * cast)[..., None], picture, mask)
    return develop(blur(light, 0.45), look.brightness * np.array(moment.gain), look.noise, rng)
