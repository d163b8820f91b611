"""What goes wrong before a camera, each as a function that changes the light."""

import cv2
import numpy as np

from tests.made_up.third_world.front import field_of
from tests.made_up.third_world.world import Disturbance, Look


def vessel(level_mm: float, liquid: tuple[float, float, float]) -> Disturbance:
    """Liquid in which the sheet stands, seen up to `level_mm`; it falls a little."""

    def put(look: Look) -> None:
        fallen = level_mm - 0.4 * np.sqrt(max(look.time_s, 0) / 300)
        below = (look.x_mm < fallen) & ~look.inside
        rim = np.abs(look.x_mm - fallen) < 0.5
        look.light[below] *= np.array(liquid, np.float32)
        look.light[rim & ~look.inside] += 0.12

    return put


def drops(seed: int, count: int, length_mm: float, width_mm: float) -> Disturbance:
    """Drops that run down the glass before the sheet, one after the other."""
    rng = np.random.default_rng([seed, 3])
    began = rng.uniform(0, 500, count)
    across, broad = rng.uniform(0, width_mm, count), rng.uniform(1.5, 3.5, count)
    speed = rng.uniform(0.15, 1.0, count)

    def put(look: Look) -> None:
        for t0, y, r, v in zip(began, across, broad, speed, strict=True):
            at = length_mm * 1.05 - v * (look.time_s - t0)
            if look.time_s < t0 or at < -10:
                continue
            near = np.exp(-(((look.x_mm - at) / r) ** 2 + ((look.y_mm - y) / r) ** 2))
            look.light *= (1 - 0.35 * near)[..., None]
            shine = np.exp(-(((look.x_mm - at - r / 2) ** 2 + (look.y_mm - y) ** 2) / (r / 3) ** 2))
            look.light += 0.5 * shine[..., None]

    return put


def sagging(most_mm: float, over_s: float, length_mm: float):
    """A sheet that curls: its far end moves across and back."""

    def moved(look: Look) -> tuple[np.ndarray, np.ndarray]:
        share = np.clip(look.x_mm / length_mm, 0, 1) ** 2
        when = np.clip(look.time_s / over_s, 0, 1)
        return 0.3 * most_mm * when * share, most_mm * when * share

    return moved


def dipping(lift_mm: float, over_s: float):
    """A sheet held `lift_mm` above its place until it is dipped in the seconds before 0."""

    def moved(look: Look) -> tuple[float, float]:
        up = lift_mm * float(np.clip(-look.time_s / over_s, 0, 1))
        return np.full(look.x_mm.shape, -up), np.zeros(look.x_mm.shape)

    return moved


def hand(from_s: float, to_s: float, at_mm: tuple[float, float], size_mm: float) -> Disturbance:
    """A hand and arm that reach in from beyond the far end."""

    def put(look: Look) -> None:
        if not from_s <= look.time_s <= to_s:
            return
        sway = 2.0 * np.sin(look.time_s * 1.3)
        x, y = look.x_mm - at_mm[0] - sway, look.y_mm - at_mm[1]
        palm = (x / size_mm) ** 2 + (y / size_mm) ** 2 < 1
        arm = (x > 0) & (np.abs(y - 0.3 * x) < 0.6 * size_mm)
        look.light[palm | arm] = (0.13, 0.2, 0.36)
        shade = np.exp(-((x / (2.2 * size_mm)) ** 2 + ((y - size_mm) / (2.2 * size_mm)) ** 2))
        look.light *= (1 - 0.25 * shade)[..., None]

    return put


def lamp(from_s: float, over_s: float, strength: float, way: float) -> Disturbance:
    """A lamp that is moved: the light's slope over the picture turns round."""

    def put(look: Look) -> None:
        turned = float(np.clip((look.time_s - from_s) / over_s, 0, 1))
        slope = np.cos(way) * (look.u - 0.5) + np.sin(way) * (look.v - 0.5)
        look.light *= (1 + strength * (1 - 2 * turned) * slope)[..., None].astype(np.float32)

    return put


def lit_from(seed: int, uneven: float) -> Disturbance:
    """Light that is uneven over the picture and stays so."""
    shape = field_of(seed, 64, 64, 14)

    def put(look: Look) -> None:
        size = (look.light.shape[1], look.light.shape[0])
        look.light *= (1 + uneven * cv2.resize(shape.astype(np.float32), size))[..., None]

    return put


def window(seed: int, strength: float, speed: float) -> Disturbance:
    """A window mirrored in the bag, clouds passing over it."""
    sky = field_of(seed, 64, 512, 9).astype(np.float32)

    def put(look: Look) -> None:
        u, v = np.broadcast_arrays(look.u, look.v)
        lean = u + 0.25 * v
        pane = np.clip((0.16 - np.abs(lean - 0.62)) / 0.02, 0, 1)
        pane = pane * np.clip((0.3 - np.abs(v - 0.45)) / 0.02, 0, 1)
        pane = pane * np.clip(np.abs(lean - 0.62) / 0.01, 0, 1)
        at_x = (u * 60 + speed * (look.time_s + 200)).astype(np.float32) % 511
        cloud = cv2.remap(sky, at_x, (v * 60).astype(np.float32), cv2.INTER_LINEAR)
        shine = strength * pane * np.clip(0.6 + 0.4 * cloud, 0, 2)
        look.light += (shine[..., None] * np.array([1.1, 1.0, 0.92])).astype(np.float32)

    return put


def wrinkles(seed: int, count: int, length_mm: float, width_mm: float) -> Disturbance:
    """Folds of the bag that shine, and give way by some mm as the front comes under them."""
    rng = np.random.default_rng([seed, 7])
    folds = [
        (rng.uniform(0.1, 0.95) * length_mm, rng.uniform(0, width_mm), rng.normal(0, 0.35),
         rng.uniform(20, 70), rng.uniform(0.8, 1.8), rng.uniform(2, 7))
        for _ in range(count)
    ]  # fmt: skip

    def put(look: Look) -> None:
        for x0, y0, slope, long, thin, gives in folds:
            row, col = np.unravel_index(
                np.argmin((look.x_mm - x0) ** 2 + (look.y_mm - y0) ** 2), look.x_mm.shape
            )
            given = gives * float(np.clip((look.behind_mm[row, col] + 10) / 30, 0, 1))
            x, y = look.x_mm - x0 - given, look.y_mm - y0
            across, along = x - slope * y, y + slope * x
            here = np.exp(-((along / long) ** 4))
            shine = here * np.exp(-((across / thin) ** 2))
            dark = here * np.exp(-(((across - 2 * thin) / thin) ** 2))
            look.light *= (1 - 0.18 * dark)[..., None]
            look.light += (0.16 * shine)[..., None]

    return put


def foam(breadth_mm: float, strength: float, seed: int) -> Disturbance:
    """Bubbles at the head of the resin: a white band behind the front."""
    specks = 0.6 + 0.4 * field_of(seed, 512, 512, 1.5)

    def put(look: Look) -> None:
        behind = look.behind_mm
        share = np.clip(behind / 1.0 + 0.5, 0, 1) * np.exp(-np.maximum(behind, 0) / breadth_mm)
        share = share * look.inside * (look.time_s > 0)
        at = (look.x_mm * 2 % 512).astype(int) % 512, (look.y_mm * 2 % 512).astype(int) % 512
        look.light += (strength * share * np.clip(specks[at], 0, 1.5))[..., None]

    return put


def ruler(length_mm: float, y_mm: float) -> Disturbance:
    """A ruler beside the sheet."""

    def put(look: Look) -> None:
        on = (np.abs(look.y_mm - y_mm) < 5) & (look.x_mm > -5) & (look.x_mm < length_mm + 5)
        look.light[on] = 0.6
        mark = on & (np.abs((look.x_mm + 0.5) % 5 - 0.5) < 0.4) & (look.y_mm > y_mm)
        look.light[mark] = 0.05

    return put


def stamp(text: str, at: tuple[float, float], scale: float):
    """Words and the running time burnt into the picture."""

    def put(picture: np.ndarray, time_s: float) -> None:
        place = (int(at[0] * picture.shape[1]), int(at[1] * picture.shape[0]))
        words = f"{text} {int(time_s + 3600) // 60:02d}:{int(time_s + 3600) % 60:02d}"
        font = cv2.FONT_HERSHEY_SIMPLEX
        cv2.putText(picture, words, place, font, scale, (0, 0, 0), 3)
        cv2.putText(picture, words, place, font, scale, (255, 255, 255), 1)

    return put
