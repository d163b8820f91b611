"""A bagged part on its table, and what the camera sees of it at a given moment."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sample_frames import _objects as objects
from sample_frames import _textures as textures
from sample_frames._camera import HEIGHT, Camera, Lamp, develop, glare, hand, soft_shadow, warp
from sample_frames._part_world import Filled, World
from sample_frames._plane import Plane, blur, over, patchy, rectangle, shifted
from sample_frames._scene import Reach

Array = NDArray[np.floating]

NEVER = 1e9
STAGE = 960  # hands and shadows are drawn on 960 x 720 and brought to the picture's size
LINE_MM = 9.0


@dataclass(frozen=True)
class PartLook:
    """How a part and its shop look.

    `cards_mm` are the centres of the scale cards, none without; `hoses_mm` lie over the part all
    the time, `clamps_mm` are the middles of clamps; `net` is flow media over the cloth; `height_mm`
    is how far the part's surface stands above the table.
    """

    camera: Camera
    bench: str = "gelcoat"
    fabric: str = "glass"
    pitch_mm: float = 7.0
    twill: bool = False
    tape: tuple[float, float, float] = (0.55, 0.42, 0.12)
    lamps: tuple[Lamp, ...] = ()
    cards_mm: Array | None = None
    marker_mm: float = 60.0
    hoses_mm: tuple[Array, ...] = ()
    clamps_mm: tuple[tuple[float, float], ...] = ()
    net: bool = False
    height_mm: float = 0.0
    margin_mm: float = 32.0
    wrinkles: int = 60
    deepen_mm: float = 9.0
    noise: float = 1.0
    ppm: float = 1.0
    oversample: int = 1


@dataclass(frozen=True)
class PartMoment:
    """What is particular to one photo.

    `move` is 3 x 3 in pixels of the photo; `person` is how far (0 to 1 of the picture's width)
    and at what height somebody leans in from the left.
    """

    gain: tuple[float, float, float] = (1.0, 1.0, 1.0)
    move: tuple[tuple[float, ...], ...] = ((1, 0, 0), (0, 1, 0), (0, 0, 1))
    shadow: tuple[float, float, float] | None = None
    reach: Reach | None = None
    person: tuple[float, float] | None = None


@dataclass(frozen=True)
class PartScene:
    """What the camera sees: all dry, all wet, glare of both, and when each pixel wets.

    `behind` turns seconds since wetting into millimetres behind the front.
    """

    dry: Array
    wet: Array
    glare_dry: Array
    glare_wet: Array
    arrival_s: Array
    mm_per_s: Array
    line_s: Array


def _cloth_mask(plane: Plane, world: World) -> Array:
    mask = plane.polygon(world.outline_mm)
    for hole in world.holes_mm:
        mask = mask * (1 - plane.polygon(hole))
    return blur(mask, 0.7)


def _box(world: World, out_mm: float) -> tuple[float, float, float, float]:
    low, high = world.outline_mm.min(axis=0) - out_mm, world.outline_mm.max(axis=0) + out_mm
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _away(plane: Plane, world: World, at_mm: Array) -> Array:
    """Path of a hose from a point to the nearer long side and out of the picture."""
    x0, y0, x1, y1 = _box(world, 0)
    ends = [
        (abs(at_mm[0] - x0), (plane.x0_mm - 30, at_mm[1])),
        (abs(x1 - at_mm[0]), (plane.x1_mm + 30, at_mm[1])),
        (abs(at_mm[1] - y0), (at_mm[0], plane.y0_mm - 30)),
        (abs(y1 - at_mm[1]), (at_mm[0], plane.y1_mm + 30)),
    ]
    return np.array([at_mm, min(ends, key=lambda end: end[0])[1]], float)


def _lines(
    canvas: Array, plane: Plane, world: World, filled: Filled, wet: bool
) -> tuple[Array, Array, Array]:
    """Lay feeds, vents and their hoses; give when each feed fills and how high all stand."""
    colour = objects.AMBER if wet else objects.CLEAR_HOSE
    line_s = np.full(plane.shape, NEVER, np.float32)
    stand = np.zeros(plane.shape, np.float32)
    for outlet in world.outlets:
        points = np.asarray(outlet.points_mm, float)
        paths = [_away(plane, world, points[len(points) // 2])]
        paths += [points] if len(points) > 1 else []
        for path in paths:
            canvas, mask = objects.hose(canvas, plane, path, objects.CLEAR_HOSE, LINE_MM)
            stand = np.maximum(stand, mask)
            line_s[mask > 0.5] = NEVER
    for inlet in world.inlets:
        points = np.asarray(inlet.points_mm, float)
        end = points[np.argmin(points[:, 1])]
        paths = [_away(plane, world, end)]
        if len(points) > 1:
            paths.append(points)
        else:
            paths.append(points + np.array([(-4.0, 0.0), (4.0, 0.0)]))
        for path in paths:
            wide = LINE_MM if len(points) > 1 or path is paths[0] else 2 * LINE_MM
            canvas, mask = objects.hose(canvas, plane, path, colour, wide)
            stand = np.maximum(stand, mask)
            line_s[mask > 0.5] = filled.opened_s[inlet.name] - 1.0
    return canvas, line_s, 5.0 * stand


def _table(plane: Plane, bench: Array, look: PartLook, seed: int) -> Array:
    """Put the scale cards and a rule on the bench."""
    rng = np.random.default_rng([seed, 3])
    canvas = bench.copy()
    for number, (x, y) in enumerate(look.cards_mm if look.cards_mm is not None else ()):
        spare = 1.6 * look.marker_mm
        piece, rows, cols = plane.window((x - spare, y - spare, x + spare, y + spare))
        canvas[rows, cols] = objects.marker_card(
            canvas[rows, cols], piece, number, (float(x), float(y)), look.marker_mm, rng
        )
    return canvas


def _over_all(canvas: Array, plane: Plane, look: PartLook) -> tuple[Array, Array]:
    """Lay hoses and clamps over the part; give the picture and their mask."""
    mask = np.zeros(plane.shape, np.float32)
    for path in look.hoses_mm:
        canvas, here = objects.hose(canvas, plane, path, np.array([0.05, 0.05, 0.06]), 16.0)
        mask = np.maximum(mask, here)
    for x, y in look.clamps_mm:
        here = plane.polygon(rectangle(x - 16, y - 30, x + 16, y + 30))
        canvas = over(canvas, np.array([0.30, 0.06, 0.04], np.float32), here)
        mask = np.maximum(mask, here)
    return canvas, mask


def build_part(world: World, filled: Filled, look: PartLook, seed: int) -> PartScene:
    """Draw the table and the part, all dry and all wet, and look at them through the camera."""
    rng = np.random.default_rng([seed, 2])
    low, raised = look.camera, replace(look.camera, rise_mm=look.height_mm)
    plane, view = low.plane(look.ppm), low.view_mm(look.oversample)
    above = raised.view_mm(look.oversample)
    bench = textures.BENCHES[look.bench](plane, rng)
    table = _table(plane, bench, look, seed)
    weave = textures.Weave(plane, look.pitch_mm, look.twill, rng)
    cloth = textures.FABRICS[look.fabric](plane, weave, bench, rng)
    mask = _cloth_mask(plane, world)
    frame = _box(world, look.margin_mm)
    x, y = plane.xy()
    bag = (x > frame[0] - 6) & (x < frame[2] + 6) & (y > frame[1] - 6) & (y < frame[3] + 6)
    pictures, line_s, stand, things = [], np.zeros(0), np.zeros(0), np.zeros(0)
    for is_wet in (False, True):
        canvas = over(table * (1 - 0.25 * blur(mask, 5.0))[..., None], cloth[is_wet], mask)
        if look.net:
            net = np.array([0.12, 0.26, 0.16], np.float32) * (0.6 if is_wet else 1.0)
            canvas = objects.strip(canvas, plane, world.outline_mm, net, 0.35)
        canvas, line_s, stand = _lines(canvas, plane, world, filled, is_wet)
        canvas = canvas * 0.965 + 0.010
        tape_rng = np.random.default_rng([seed, 4])
        canvas = objects.sealant_tape(canvas, plane, frame, look.tape, tape_rng)
        canvas, things = _over_all(canvas, plane, look)
        pictures.append(canvas)
    line_s = np.where(things > 0.5, NEVER, line_s).astype(np.float32)
    glares = _film_glare(plane, look, frame, weave, mask, stand, bag * (1 - things), rng)
    seen = [warp(p, plane, above) for p in (*pictures, *glares)]
    if look.height_mm:
        on = warp(blur(mask, 3.0) > 0.02, plane, above)
        flat = warp(table, plane, view)
        seen = [over(flat, seen[0], on), over(flat, seen[1], on), seen[2] * on, seen[3] * on]
    arrival, speed = _arrival_view(filled, above)
    lines = _nearest_view(line_s, plane, above)
    hidden = _nearest_view((stand + 9 * things).astype(np.float32), plane, above) > 2.5
    arrival = np.where(hidden, NEVER, arrival).astype(np.float32)
    return PartScene(*seen, arrival, speed, lines)


def _nearest_view(values: Array, plane: Plane, view: Array) -> Array:
    px = (view - np.array([plane.x0_mm, plane.y0_mm], np.float32)) * np.float32(plane.ppm)
    return cv2.remap(
        values, px[..., 0], px[..., 1], cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE
    )


def _arrival_view(filled: Filled, view: Array) -> tuple[Array, Array]:
    """When each pixel of the picture wets, and the front's speed there in mm/s."""
    size = float(filled.x_mm[1] - filled.x_mm[0])
    near = ndimage.distance_transform_edt(
        ~filled.inside, return_distances=False, return_indices=True
    )
    time_s = filled.time_s[tuple(near)].astype(np.float32)
    slope = np.hypot(*np.gradient(blur(time_s, 0.8), size))
    col = ((view[..., 0] - filled.x_mm[0]) / size).astype(np.float32)
    row = ((view[..., 1] - filled.y_mm[0]) / size).astype(np.float32)
    at = {"interpolation": cv2.INTER_LINEAR, "borderMode": cv2.BORDER_REPLICATE}
    arrival = cv2.remap(time_s, col, row, **at)
    on = cv2.remap(filled.inside.astype(np.float32), col, row, cv2.INTER_LINEAR) > 0.4
    speed = 1 / np.maximum(cv2.remap(slope.astype(np.float32), col, row, **at), 1e-3)
    return np.where(on, arrival, NEVER).astype(np.float32), speed.astype(np.float32)


def _film_glare(
    plane: Plane,
    look: PartLook,
    frame: tuple[float, float, float, float],
    weave: textures.Weave,
    cloth: Array,
    stand_mm: Array,
    film: Array,
    rng: np.random.Generator,
) -> tuple[Array, Array]:
    """Mirror the lamps in the film over dry and over wet cloth."""
    height = textures.bag_height_mm(plane, frame, look.wrinkles, rng)
    height = height * (1 - 0.30 * blur(cloth, 3.0)) + 1.6 * blur(cloth, 1.4 * plane.ppm)
    height = height + blur(stand_mm, 1.3 * plane.ppm)
    imprint = weave.relief() * blur(cloth, 2.0)
    dry, wet = (
        glare(height + depth * imprint, plane, look.camera, look.lamps) * film
        for depth in (0.035, 0.022)
    )
    return dry, wet


def wet_share(scene: PartScene, look: PartLook, time_s: float) -> Array:
    """How wet each pixel looks: a sharp first change, then a slow deepening behind the front."""
    behind = np.clip((time_s - scene.arrival_s) * scene.mm_per_s, -5.0, 400.0)
    step = np.clip((behind + 0.35) / 0.7, 0, 1)
    step = step * step * (3 - 2 * step)
    deep = 1 - np.exp(-np.maximum(behind, 0) / look.deepen_mm)
    line = np.clip((time_s - scene.line_s) / 0.4, 0, 1)
    cloth = 0.72 * step + 0.28 * deep if time_s > 0 else 0 * step
    return np.maximum(cloth, line)


def photograph_part(
    scene: PartScene, look: PartLook, time_s: float, moment: PartMoment, seed: tuple[int, ...]
) -> NDArray[np.uint8]:
    """Take one picture, red first."""
    rng = np.random.default_rng(seed)
    share, (wide, tall), many = wet_share(scene, look, time_s), look.camera.size_px, look.oversample
    light = scene.dry + (scene.wet - scene.dry) * share[..., None]
    film = scene.glare_dry + (scene.glare_wet - scene.glare_dry) * share
    light = light + film[..., None] * np.array([1.0, 0.98, 0.93], np.float32)
    move = np.array(moment.move, float)
    if not np.array_equal(move, np.eye(3)):
        finer = np.array([[many, 0, (many - 1) / 2], [0, many, (many - 1) / 2], [0, 0, 1]])
        matrix = finer @ move @ np.linalg.inv(finer)
        size = (wide * many, tall * many)
        light = cv2.warpPerspective(light, matrix, size, borderMode=cv2.BORDER_REFLECT_101)
    if many > 1:
        light = cv2.resize(light, (wide, tall), interpolation=cv2.INTER_AREA)
    if moment.shadow is not None:
        col, row, strength = moment.shadow
        left = soft_shadow((col * STAGE, row * HEIGHT), (260, 330), strength)
        light = light * _staged(left, wide, tall)[..., None]
    if moment.person is not None:
        light = _lean_in(light, moment.person, rng)
    if moment.reach is not None:
        r = moment.reach
        at = (r.at_px[0] / wide * STAGE, r.at_px[1] / tall * HEIGHT)
        picture, mask = hand(at, r.heading_deg, r.size, r.pointing, rng)
        picture, mask = _staged(picture, wide, tall), _staged(mask, wide, tall)
        cast = shifted(blur(mask, 9.0), 16, 12)
        light = over(light * (1 - 0.5 * cast)[..., None], picture, mask)
    return develop(blur(light, 0.45), np.array(moment.gain), look.noise, rng)


def _staged(drawn: Array, wide: int, tall: int) -> Array:
    """Bring what was drawn on the stage to the size of the picture."""
    return cv2.resize(np.ascontiguousarray(drawn[:, :STAGE]), (wide, tall), cv2.INTER_AREA)


def _lean_in(light: Array, person: tuple[float, float], rng: np.random.Generator) -> Array:
    """Somebody in overalls leans in from the left: head, shoulders, and the shadow they cast."""
    tall, wide = light.shape[:2]
    far, level = person[0] * wide, person[1] * tall
    mask = np.zeros((tall, wide), np.float32)
    for at, axes in (
        ((far - 0.36 * wide, level), (0.30 * wide, 0.26 * tall)),
        ((far - 0.07 * wide, level), (0.07 * wide, 0.09 * tall)),
    ):
        centre, size = (tuple(int(v) for v in p) for p in (at, axes))
        cv2.ellipse(mask, centre, size, 0, 0, 360, 1.0, -1, cv2.LINE_AA)
    folds = 1 + 0.25 * patchy((tall, wide), 0.02 * wide, rng)
    body = np.array([0.05, 0.07, 0.13], np.float32) * folds[..., None]
    cast = shifted(blur(mask, 0.03 * wide), round(0.04 * wide), round(0.02 * wide))
    return over(light * (1 - 0.4 * cast)[..., None], body, blur(mask, 1.0))
