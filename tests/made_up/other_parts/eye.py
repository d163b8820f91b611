"""A second, rougher eye for parts, that shares no picture with the project's own generator.

Each pixel of a photo is sent down to the table, and what lies there is worked out at that spot:
cloth by formula, film as a field of heights that mirrors a lamp, hoses and tape by their distance.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import cv2
import numpy as np

MARKERS = cv2.aruco.DICT_4X4_50


@dataclass(frozen=True)
class Look:
    """How the shop looks: camera, cloth, film, light and what lies about; lengths in mm.

    `elevation_deg` is the angle of the camera's line of sight from straight down, `bend` its
    radial distortion, `cloth` one of carbon, glass, foam, mesh; `glare` how bright the film
    mirrors the lamp, `over` polylines of hoses that lie over the part.
    """

    size_px: tuple[int, int] = (1280, 960)
    elevation_deg: float = 45.0
    azimuth_deg: float = 20.0
    roll_deg: float = 2.0
    bend: float = -0.05
    cloth: str = "glass"
    glare: float = 0.35
    pleats: int = 6
    warm: tuple[float, float, float] = (1.1, 1.0, 0.85)
    fall_off: float = 0.35
    noise: float = 1.5
    over: tuple[np.ndarray, ...] = ()
    cards: bool = True
    shadow_on_card: bool = False
    hose_mm: float = 12.0
    tape: tuple[float, float, float] = (0.75, 0.70, 0.10)
    table: tuple[float, float, float] = (0.35, 0.33, 0.30)
    deepen_mm: float = 15.0
    hands: tuple[int, ...] = ()
    covered: tuple[int, ...] = ()
    sun_at: float = 9.0
    drift: float = 0.04
    quality: int = 88


@dataclass(frozen=True)
class Stage:
    """What does not change from photo to photo, per pixel of the photo."""

    where: np.ndarray
    dry: np.ndarray
    wet: np.ndarray
    shine: np.ndarray
    arrival_s: np.ndarray
    behind_mm_s: np.ndarray
    line_s: np.ndarray
    light: np.ndarray
    extra: dict = field(default_factory=dict)


class Pinhole:
    """A camera that looks at the middle of a part from the side, so that all of it shows."""

    def __init__(self, look: Look, low: np.ndarray, high: np.ndarray, spare_mm: float):
        self.look = look
        self.size = np.array(look.size_px)
        self.focal = 0.75 * float(np.hypot(*self.size))
        self.middle = (self.size - 1) / 2
        target = np.array([*(low + high) / 2, 0.0])
        box = np.array([(x, y) for x in (low[0], high[0]) for y in (low[1], high[1])], float)
        box += spare_mm * np.sign(box - target[:2])
        far = 1.2 * float(np.hypot(*(high - low)))
        for _ in range(60):
            self.matrix = self._pose(target, far)
            px = self.to_px(box)
            if (px > 6).all() and (px < self.size - 7).all():
                break
            far *= 1.05

    def _pose(self, target: np.ndarray, far: float) -> np.ndarray:
        lean, turn = np.radians([self.look.elevation_deg, self.look.azimuth_deg])
        back = np.array([np.sin(lean) * np.sin(turn), np.sin(lean) * np.cos(turn), -np.cos(lean)])
        self.eye = target + far * back
        ahead = -back
        right = np.cross((0.0, 1.0, 0.0), ahead)
        right /= np.linalg.norm(right)
        down = np.cross(ahead, right)
        c, s = np.cos(np.radians(self.look.roll_deg)), np.sin(np.radians(self.look.roll_deg))
        turned = np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]) @ np.array([right, down, ahead])
        camera = np.array(
            [[self.focal, 0, self.middle[0]], [0, self.focal, self.middle[1]], [0, 0, 1]]
        )
        return camera @ np.column_stack([turned[:, 0], turned[:, 1], -turned @ self.eye])

    def to_px(self, mm: np.ndarray) -> np.ndarray:
        """Where places of the table show in the photo."""
        flat = np.column_stack([mm, np.ones(len(mm))]) @ self.matrix.T
        ray = (flat[:, :2] / flat[:, 2:] - self.middle) / self.focal
        grow = 1 + self.look.bend * np.sum(ray**2, axis=1, keepdims=True)
        return self.middle + self.focal * ray * grow

    def to_mm(self) -> np.ndarray:
        """The place of the table that each pixel shows; shape (rows, cols, 2)."""
        x, y = np.meshgrid(np.arange(self.size[0]), np.arange(self.size[1]))
        seen = (np.stack([x, y], axis=-1) - self.middle) / self.focal
        ray = seen.copy()
        for _ in range(8):
            ray = seen / (1 + self.look.bend * np.sum(ray**2, axis=-1, keepdims=True))
        flat = np.concatenate(
            [ray * self.focal + self.middle, np.ones((*ray.shape[:2], 1))], axis=-1
        )
        mm = flat @ np.linalg.inv(self.matrix).T
        return (mm[..., :2] / mm[..., 2:]).astype(np.float32)


def waves(
    where: np.ndarray, size_mm: float, rng: np.random.Generator, count: int = 9
) -> np.ndarray:
    """A smooth field of spread 1 by a few waves that go all ways."""
    out = np.zeros(where.shape[:2], np.float32)
    for angle, phase, scale in zip(
        rng.uniform(0, np.pi, count),
        rng.uniform(0, 7, count),
        rng.uniform(0.6, 1.8, count),
        strict=True,
    ):
        along = where[..., 0] * np.cos(angle) + where[..., 1] * np.sin(angle)
        out += np.sin(along * np.float32(6.28 / (size_mm * scale)) + phase)
    return out / np.sqrt(count / 2)


def cloth_of(look: Look, where: np.ndarray, mm_per_px: float, rng) -> tuple[np.ndarray, np.ndarray]:
    """Return cloth dry and wet, linear light, shape (rows, cols, 3), blue first."""
    x, y = where[..., 0], where[..., 1]
    fade = np.float32(np.clip(3.0 / mm_per_px - 0.7, 0, 1))
    if look.cloth == "carbon":
        tow = np.sin(x * 1.05 + 1.2 * np.sign(np.sin(y * 1.05))) * fade
        patch = waves(where, 120, rng)
        dry = 0.045 * (1 + 0.30 * tow + 0.06 * patch)
        wet = 0.026 * (1 + 0.18 * tow + 0.05 * patch)
        colour, other = np.array([1.04, 1.0, 0.97]), np.array([0.98, 1.0, 1.0])
    elif look.cloth == "foam":
        groove = np.maximum(
            np.abs(np.sin(x * np.pi / 20)) < 0.10, np.abs(np.sin(y * np.pi / 20)) < 0.10
        )
        groove = cv2.GaussianBlur(groove.astype(np.float32), (0, 0), 0.7)
        patch = waves(where, 60, rng)
        dry = 0.55 * (1 - 0.30 * groove + 0.03 * patch)
        wet = 0.43 * (1 - 0.48 * groove + 0.03 * patch)
        colour, other = np.array([0.62, 0.95, 1.0]), np.array([0.50, 0.90, 1.0])
    elif look.cloth == "mesh":
        net = np.maximum(np.cos(x * 1.57) > 0.75, np.cos((x + 2 * y) * 0.9) > 0.8).astype(
            np.float32
        )
        net = fade * cv2.GaussianBlur(net, (0, 0), 0.5) + (1 - fade) * 0.35
        patch = waves(where, 150, rng)
        dry = 0.70 * (1 - 0.55 * net + 0.02 * patch)
        wet = 0.47 * (1 - 0.50 * net + 0.03 * patch)
        colour, other = np.array([0.92, 1.0, 0.95]), np.array([0.72, 1.0, 0.90])
    else:
        weave = np.sin(x * 1.4) * np.sin(y * 1.4) * fade
        patch = waves(where, 90, rng)
        dry = 0.60 * (1 + 0.07 * weave + 0.03 * patch)
        wet = 0.34 * (1 + 0.05 * weave + 0.05 * patch)
        colour, other = np.array([1.0, 1.0, 1.0]), np.array([0.82, 1.0, 0.93])
    return (dry[..., None] * colour).astype(np.float32), (wet[..., None] * other).astype(np.float32)


def near_line(where: np.ndarray, line: np.ndarray) -> np.ndarray:
    """Distance of every pixel from a polyline."""
    best = np.full(where.shape[:2], 1e9, np.float32)
    ends = list(itertools.pairwise(line)) or [(line[0], line[0])]
    for a, b in ends:
        along = (b - a).astype(np.float32)
        long = max(float(along @ along), 1e-9)
        share = np.clip((where - a.astype(np.float32)) @ along / long, 0, 1)
        gone = where - a.astype(np.float32) - share[..., None] * along
        best = np.minimum(best, np.hypot(gone[..., 0], gone[..., 1]))
    return best


def film(look: Look, where: np.ndarray, eye: np.ndarray, box, rng) -> np.ndarray:
    """How bright the film mirrors a long lamp, wrinkles and pleats included."""
    low, high = box
    span = float(np.hypot(*(high - low)))
    height = 0.35 * waves(where, 45, rng) + 0.9 * waves(where, 210, rng)
    for _ in range(look.pleats):
        start = low + rng.uniform(0, 1, 2) * (high - low)
        way = rng.uniform(0, np.pi)
        line = np.array(
            [start, start + rng.uniform(0.15, 0.5) * span * np.array([np.cos(way), np.sin(way)])]
        )
        height += 2.5 * np.exp(-((near_line(where, line) / 4.0) ** 2))
    step = np.stack([np.gradient(where[..., k], axis=1) for k in (0, 1)], axis=-1)
    size = np.maximum(np.hypot(step[..., 0], step[..., 1]), 1e-3)
    size_y = np.hypot(*[np.gradient(where[..., k], axis=0) for k in (0, 1)])
    slope = np.stack(
        [np.gradient(height, axis=1) / size, np.gradient(height, axis=0) / size_y], axis=-1
    )
    middle = (low + high) / 2
    lamp = np.array([middle[0] - 0.5 * span, middle[1] - 0.9 * span, -1.6 * span])
    to_eye = np.concatenate([eye[:2] - where, np.full((*where.shape[:2], 1), eye[2])], axis=-1)
    to_lamp = np.concatenate([lamp[:2] - where, np.full((*where.shape[:2], 1), lamp[2])], axis=-1)
    half = to_eye / np.linalg.norm(to_eye, axis=-1, keepdims=True)
    half = half + to_lamp / np.linalg.norm(to_lamp, axis=-1, keepdims=True)
    half /= np.linalg.norm(half, axis=-1, keepdims=True)
    up = np.concatenate([slope, np.full((*where.shape[:2], 1), -1.0)], axis=-1)
    up /= np.linalg.norm(up, axis=-1, keepdims=True)
    cos = np.clip(np.sum(up * half, axis=-1), 0, 1)
    return (look.glare * (0.12 * cos**12 + 2.0 * cos**220)).astype(np.float32)


def lay_cards(canvas: np.ndarray, where: np.ndarray, centres: np.ndarray, marker_mm: float) -> None:
    """Draw the four cards where they lie, in place."""
    book = cv2.aruco.getPredefinedDictionary(MARKERS)
    for number, (cx, cy) in enumerate(centres):
        x, y = (where[..., 0] - cx) / marker_mm, (where[..., 1] - cy) / marker_mm
        canvas[(np.abs(x) < 0.7) & (np.abs(y) < 0.72)] = 0.8
        fine = cv2.aruco.generateImageMarker(book, number, 240).astype(np.float32) / 255
        ink = cv2.remap(
            cv2.GaussianBlur(fine, (0, 0), 3),
            (x * 240 + 119.5).astype(np.float32),
            (y * 240 + 119.5).astype(np.float32),
            cv2.INTER_LINEAR,
            borderValue=1.0,
        )
        on = (np.abs(x) < 0.5) & (np.abs(y) < 0.5)
        canvas[on] = (0.04 + 0.76 * ink)[on][:, None]


def take(stage: Stage, look: Look, time_s: float, number: int, count: int, rng) -> np.ndarray:
    """Take one photo, blue first."""
    since = time_s - stage.arrival_s
    behind = np.clip(since * stage.behind_mm_s, -50, 2000)
    share = 0.75 / (1 + np.exp(np.clip(-behind / 0.5, -40, 40)))
    share = share + 0.25 * (1 - np.exp(-np.maximum(behind, 0) / look.deepen_mm))
    share = np.where(time_s > 0, share, 0.0)
    share = np.maximum(share, time_s > stage.line_s)[..., None].astype(np.float32)
    picture = stage.dry + (stage.wet - stage.dry) * share
    gain = 1 + look.drift * np.sin(5.0 * number / count + 1) + rng.normal(0, look.drift / 3)
    light = stage.light * gain
    if number / count > look.sun_at:
        light = light * stage.extra["sun"]
    picture = (picture * light[..., None] + stage.shine[..., None]) * np.array(look.warm[::-1])
    if number in look.hands:
        picture = _hand(picture, rng)
    if number in look.covered:
        picture = np.full_like(picture, 0.02)
    picture = cv2.GaussianBlur(picture.astype(np.float32), (0, 0), 0.6)
    code = 255 * np.clip(picture * 1.05, 0, 1) ** (1 / 2.2)
    code += rng.normal(0, look.noise, picture.shape[:2])[..., None] + rng.normal(
        0, 0.7 * look.noise, picture.shape
    )
    return np.clip(np.round(code), 0, 255).astype(np.uint8)


def _hand(picture: np.ndarray, rng) -> np.ndarray:
    """An arm in a blue glove that reaches in from the lower edge."""
    height, width = picture.shape[:2]
    x, y = rng.uniform(0.3, 0.7) * width, rng.uniform(0.35, 0.7) * height
    out, wide = picture.copy(), max(3, width // 14)
    foot = (int(x + rng.uniform(-0.2, 0.2) * width), height + 5)
    cv2.line(out, (int(x), int(y)), foot, (0.18, 0.16, 0.2), wide, cv2.LINE_AA)
    cv2.ellipse(
        out,
        (int(x), int(y)),
        (wide * 2 // 3, wide),
        15,
        0,
        360,
        (0.45, 0.22, 0.08),
        -1,
        cv2.LINE_AA,
    )
    return out
