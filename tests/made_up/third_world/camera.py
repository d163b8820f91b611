"""A camera over a sheet or panel: where it stands, what it does to the light, its codec."""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

Track = Callable[[float], float]
"""Something that changes with the run's time, in seconds."""


def still(_time_s: float) -> float:
    """Nothing."""
    return 0.0


def steady(_time_s: float) -> float:
    """As it is."""
    return 1.0


@dataclass(frozen=True)
class Camera:
    """One camera.

    Attributes
    ----------
    size : (int, int)
        Width and height of its pictures.
    corners_px : tuple of four (float, float)
        The corners (0, 0), (length, 0), (length, width), (0, width) at the beginning.
    finer : int
        Samples per pixel and way.
    zoom, roll_deg, shift_x_px, shift_y_px : Track
        What breathing, leaning and sinking do to the picture.
    exposure : Track
        Gain of the light.
    auto : float
        Share of a change of mean brightness that the exposure takes back.
    warmth : Track
        Red over blue.
    flicker : Track
        Depth of dark bands across the picture.
    blur_px, noise : float
        Of the lens, and of the sensor in codes.
    quality : int
        Of the JPEG; 0 for none.
    """

    size: tuple[int, int]
    corners_px: tuple[tuple[float, float], ...]
    finer: int = 2
    zoom: Track = steady
    roll_deg: Track = still
    shift_x_px: Track = still
    shift_y_px: Track = still
    exposure: Track = steady
    auto: float = 0.0
    warmth: Track = steady
    flicker: Track = still
    blur_px: float = 0.6
    noise: float = 1.5
    quality: int = 88

    def places(
        self, time_s: float, length_mm: float, width_mm: float
    ) -> tuple[np.ndarray, np.ndarray]:
        """Panel coordinates x, y in mm of each sample of the picture."""
        there = np.float32([[0, 0], [length_mm, 0], [length_mm, width_mm], [0, width_mm]])
        to_px = cv2.getPerspectiveTransform(there, np.float32(self.corners_px))
        middle = (self.size[0] / 2, self.size[1] / 2)
        move = np.eye(3)
        move[:2] = cv2.getRotationMatrix2D(middle, self.roll_deg(time_s), self.zoom(time_s))
        move[:2, 2] += self.shift_x_px(time_s), self.shift_y_px(time_s)
        back = np.linalg.inv(move @ to_px)
        cols = (np.arange(self.size[0] * self.finer) + 0.5) / self.finer - 0.5
        rows = (np.arange(self.size[1] * self.finer) + 0.5) / self.finer - 0.5
        u, v = cols.astype(np.float32)[None, :], rows.astype(np.float32)[:, None]
        back = back.astype(np.float32)
        w = 1 / (back[2, 0] * u + back[2, 1] * v + back[2, 2])
        x = (back[0, 0] * u + back[0, 1] * v + back[0, 2]) * w
        y = (back[1, 0] * u + back[1, 1] * v + back[1, 2]) * w
        return x, y

    def expose(self, light: np.ndarray, time_s: float, usual: float, seed: int) -> np.ndarray:
        """Turn linear light (rows, cols, 3) into an 8-bit picture; `usual` is its mean at first."""
        small = cv2.resize(light, self.size, interpolation=cv2.INTER_AREA)
        small = cv2.GaussianBlur(small, (0, 0), self.blur_px)
        gain = self.exposure(time_s) * (usual / float(small.mean())) ** self.auto
        warm = self.warmth(time_s)
        tint = np.array([1 / np.sqrt(warm), 1.0, np.sqrt(warm)], np.float32)
        small = small * np.float32(gain) * tint
        rows = np.arange(self.size[1])[:, None, None]
        phase = 2.4 * seed
        small = small * (
            1 - self.flicker(time_s) * np.sin(2 * np.pi * rows / self.size[1] * 1.7 + phase)
        )
        codes = 255 * np.clip(small, 0, 1) ** (1 / 2.2)
        codes = codes + np.random.default_rng([seed, 5]).normal(0, self.noise, codes.shape)
        picture = np.clip(np.rint(codes), 0, 255).astype(np.uint8)
        if not self.quality:
            return picture
        data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, self.quality])[1]
        return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR))


def tilted(size: tuple[int, int], box: tuple[float, float, float, float], lean: float = 0.0,
           feed: str = "left") -> tuple[tuple[float, float], ...]:  # fmt: skip
    """Corners of a panel in the box (left, top, right, bottom), leaning away from the camera.

    `feed` is the side of the picture from which the liquid comes: "left" or "bottom".
    """
    left, top, right, bottom = box
    inwards = lean * (right - left)
    seen = [(left + inwards, top), (right - inwards * 0.7, top + 0.3 * inwards)]
    seen += [(right, bottom), (left, bottom - 0.2 * inwards)]
    if feed == "left":
        return tuple(seen)
    return (seen[3], seen[0], seen[1], seen[2])
