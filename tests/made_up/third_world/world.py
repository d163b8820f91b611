"""What stands before the camera: a sheet or panel on its table, wetted so far, and what disturbs.

A disturbance is a function of a `Look` that changes the linear light in place; it knows where
each sample lies on the panel and in the picture, and the run's time.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import cv2
import numpy as np

from tests.made_up.third_world.camera import Camera
from tests.made_up.third_world.front import Front, field_of

Texture = Callable[[np.ndarray, np.ndarray], np.ndarray]
"""Share of light sent back at places x, y in mm, in linear light."""


@dataclass
class Look:
    """The light on its way to the camera.

    Attributes
    ----------
    light : ndarray of shape (rows, cols, 3)
        Blue, green, red; linear.
    x_mm, y_mm : ndarray of shape (rows, cols)
        Places on the panel.
    behind_mm : ndarray of shape (rows, cols)
        How far behind the front; negative ahead of it.
    inside : ndarray of shape (rows, cols), bool
        Whether on the panel.
    time_s : float
        Since the liquid came in.
    """

    light: np.ndarray
    x_mm: np.ndarray
    y_mm: np.ndarray
    behind_mm: np.ndarray
    inside: np.ndarray
    time_s: float

    @property
    def u(self) -> np.ndarray:
        """Columns of the picture, 0 to 1."""
        return np.linspace(0, 1, self.light.shape[1])[None, :]

    @property
    def v(self) -> np.ndarray:
        """Rows of the picture, 0 to 1."""
        return np.linspace(0, 1, self.light.shape[0])[:, None]


Disturbance = Callable[[Look], None]


@dataclass(frozen=True)
class Wetness:
    """What the liquid does to the light.

    Attributes
    ----------
    front : Front
    look : (float, float, float)
        Light that the wet stuff sends back over that of the dry: blue, green, red.
    sharp_mm : float
        Breadth of the step.
    deepens : float
        Share of the step that comes later, over `deepens_mm`.
    """

    front: Front
    look: tuple[float, float, float]
    sharp_mm: float = 1.0
    deepens: float = 0.15
    deepens_mm: float = 15.0


@dataclass(frozen=True)
class World:
    """One made-up run; `wetting` holds the front whose truth counts first."""

    length_mm: float
    width_mm: float
    camera: Camera
    stuff: Texture
    table: Texture
    wetting: tuple[Wetness, ...]
    times_s: tuple[float, ...]
    before: tuple[Disturbance, ...] = ()
    sag: Callable[[Look], tuple[np.ndarray, np.ndarray]] | None = None
    on_top: tuple[Disturbance, ...] = ()
    marks: tuple[Callable[[np.ndarray, float], None], ...] = ()
    seed: int = 1
    usual: list[float] = field(default_factory=list)

    @property
    def truth(self) -> Front:
        """The front to be found."""
        return self.wetting[0].front

    def photograph(self, index: int) -> np.ndarray:
        """Draw one picture."""
        time_s = self.times_s[index]
        x, y = self.camera.places(time_s, self.length_mm, self.width_mm)
        if self.sag is not None:
            none = np.zeros(x.shape, bool)
            dx, dy = self.sag(Look(np.empty((*x.shape, 3)), x, y, x, none, time_s))
            on_x, on_y = x + dx, y + dy
        else:
            on_x, on_y = x, y
        look = self._lit(x, y, on_x.astype(np.float32), on_y.astype(np.float32), time_s)
        for disturb in self.on_top:
            disturb(look)
        if not self.usual:
            self.usual.append(float(look.light.mean()))
        picture = self.camera.expose(look.light, time_s, self.usual[0], 1000 * self.seed + index)
        for mark in self.marks:
            mark(picture, time_s)
        return picture

    def _lit(self, x: np.ndarray, y: np.ndarray, on_x: np.ndarray, on_y: np.ndarray,
             time_s: float) -> Look:  # fmt: skip
        inside = (on_x >= 0) & (on_x <= self.length_mm) & (on_y >= 0) & (on_y <= self.width_mm)
        sheet = self.stuff(on_x, on_y)
        first = None
        for wet in self.wetting:
            behind = _behind(wet.front, on_x, on_y, time_s)
            first = behind if first is None else first
            share = np.clip(behind / wet.sharp_mm + 0.5, 0, 1) * (wet.front.law.at(time_s) > 0)
            share = share * (1 - wet.deepens * np.exp(-np.maximum(behind, 0) / wet.deepens_mm))
            sheet = sheet * (1 + share[..., None] * (np.array(wet.look, np.float32) - 1))
        light = np.where(inside[..., None], sheet, self.table(x, y)).astype(np.float32)
        look = Look(light, on_x, on_y, first, inside, time_s)
        for disturb in self.before:
            disturb(look)
        return look


def _behind(front: Front, x: np.ndarray, y: np.ndarray, time_s: float) -> np.ndarray:
    lanes = front.at(time_s)
    lead = np.interp(np.clip(y, 0, front.width_mm).ravel(), front.lanes_mm, lanes)
    return np.asarray(lead.reshape(y.shape) - x, np.float32)


def textured(colour: tuple[float, float, float], seed: int, *, fine: float = 0.03,
             grain_mm: float = 1.0, clouds: float = 0.04, clouds_mm: float = 18.0,
             per_mm: float = 3.0) -> Texture:  # fmt: skip
    """A surface of one colour with a fine grain and clouds."""
    cells = 1024
    small = 1 + fine * field_of(seed, cells, cells, max(grain_mm * per_mm / 2, 0.4))
    small += clouds * field_of(seed + 1, cells, cells, clouds_mm * per_mm / 2)
    small = np.clip(small, 0.2, 2).astype(np.float32)

    def light(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        at_x, at_y = ((x + 200) * per_mm) % cells, ((y + 200) * per_mm) % cells
        grey = cv2.remap(small, at_x.astype(np.float32), at_y.astype(np.float32),
                         cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)  # fmt: skip
        return np.asarray(grey[..., None] * np.array(colour, np.float32))

    return light


def woven(base: Texture, pitch_mm: float, depth: float, second_mm: float | None = None) -> Texture:
    """The same with threads both ways; a pitch near two pixels makes moire."""
    other = second_mm or pitch_mm

    def light(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        threads = np.sin(2 * np.pi * x / pitch_mm) * np.sin(2 * np.pi * y / other)
        return np.asarray(base(x, y) * (1 + depth * threads)[..., None])

    return light


def printed(base: Texture, every_mm: float, breadth_mm: float, dark: float,
            colour: tuple[float, float, float] = (1.0, 1.0, 1.0)) -> Texture:  # fmt: skip
    """The same with printed lines both ways."""

    def light(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        line = (np.abs((x % every_mm) - every_mm / 2) < breadth_mm / 2) | (
            np.abs((y % every_mm) - every_mm / 2) < breadth_mm / 2
        )
        shade = 1 - line[..., None] * (1 - dark * np.array(colour, np.float32))
        return np.asarray(base(x, y) * shade)

    return light
