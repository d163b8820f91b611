"""The camera, the lamps and what stands in the light: geometry, glare, hands, sensor."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_frames._plane import Plane, blur, patchy

Array = NDArray[np.floating]

WIDTH, HEIGHT = 1280, 720
OVERSAMPLE = 2
CEILING_MM = 2600.0


@dataclass(frozen=True)
class Camera:
    """A pinhole camera that looks at a point of the panel, with a little lens distortion k1.

    `size_px` are the columns and rows of its pictures. With `rise_mm` the plane it is asked about
    lies that much above the bench, while the camera stays where it is.
    """

    target_mm: tuple[float, float]
    distance_mm: float
    tilt_deg: float
    azimuth_deg: float
    roll_deg: float
    focal_px: float
    k1: float = 0.0
    size_px: tuple[int, int] = (WIDTH, HEIGHT)
    rise_mm: float = 0.0

    def _middle_px(self) -> Array:
        return np.array(self.size_px) / 2 - 0.5

    def matrix(self) -> Array:
        """Camera matrix; pixel centres at whole numbers."""
        f, (col, row) = self.focal_px, self._middle_px()
        return np.array([[f, 0, col], [0, f, row], [0, 0, 1.0]])

    def centre_mm(self) -> Array:
        """Position; z points down into the bench."""
        tilt, azimuth = np.radians([self.tilt_deg, self.azimuth_deg])
        away = np.array(
            [np.sin(tilt) * np.sin(azimuth), np.sin(tilt) * np.cos(azimuth), -np.cos(tilt)]
        )
        return np.array([*self.target_mm, 0.0]) + self.distance_mm * away

    def homography(self) -> Array:
        """Panel mm to ideal (undistorted) pixels, 3 x 3."""
        centre = self.centre_mm()
        ahead = np.array([*self.target_mm, 0.0]) - centre
        ahead /= np.linalg.norm(ahead)
        right = np.cross([0.0, 1.0, 0.0], ahead)
        right /= np.linalg.norm(right)
        down = np.cross(ahead, right)
        c, s = np.cos(np.radians(self.roll_deg)), np.sin(np.radians(self.roll_deg))
        turn = np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]) @ np.array([right, down, ahead])
        below = centre + np.array([0.0, 0.0, self.rise_mm])
        h = self.matrix() @ np.column_stack([turn[:, 0], turn[:, 1], -turn @ below])
        return h / h[2, 2]

    def recorded_px(self, points_mm: Array) -> Array:
        """Where points of the panel plane appear in the photo."""
        flat = np.column_stack([np.asarray(points_mm, float), np.ones(len(points_mm))])
        px = flat @ self.homography().T
        middle = self._middle_px()
        ray = (px[:, :2] / px[:, 2:] - middle) / self.focal_px
        grow = 1 + self.k1 * (ray**2).sum(axis=1, keepdims=True)
        return middle + ray * grow * self.focal_px

    def plane_mm(self, px: Array) -> Array:
        """Inverse of `recorded_px` for an array of shape (..., 2)."""
        middle = self._middle_px()
        seen = (px - middle) / self.focal_px
        ray = seen
        for _ in range(6):
            ray = seen / (1 + self.k1 * (ray**2).sum(axis=-1, keepdims=True))
        ideal = np.concatenate([ray * self.focal_px + middle, np.ones((*px.shape[:-1], 1))], -1)
        mm = ideal @ np.linalg.inv(self.homography()).T
        return mm[..., :2] / mm[..., 2:]

    def plane(self, ppm: float, spare_mm: float = 12.0) -> Plane:
        """The canvas that covers all the camera sees."""
        wide, tall = self.size_px
        edge = [(c, r) for c in np.linspace(0, wide - 1, 9) for r in (0, tall - 1)]
        edge += [(c, r) for r in np.linspace(0, tall - 1, 9) for c in (0, wide - 1)]
        mm = self.plane_mm(np.array(edge, float))
        low, high = mm.min(axis=0) - spare_mm, mm.max(axis=0) + spare_mm
        return Plane(*(float(np.floor(v)) for v in low), *(float(np.ceil(v)) for v in high), ppm)

    def view_mm(self, oversample: int = OVERSAMPLE) -> Array:
        """Panel position of each oversampled pixel, shape (rows, cols, 2)."""
        wide, tall = self.size_px
        cols = (np.arange(wide * oversample) + 0.5) / oversample - 0.5
        rows = (np.arange(tall * oversample) + 0.5) / oversample - 0.5
        return self.plane_mm(np.stack(np.meshgrid(cols, rows), axis=-1)).astype(np.float32)


def warp(canvas: Array, plane: Plane, view_mm: Array) -> Array:
    """See a canvas through the camera, oversampled."""
    px = (view_mm - np.array([plane.x0_mm, plane.y0_mm], np.float32)) * np.float32(plane.ppm)
    return cv2.remap(
        canvas.astype(np.float32),
        px[..., 0],
        px[..., 1],
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REFLECT_101,
    )


@dataclass(frozen=True)
class Lamp:
    """A strip lamp on the ceiling: place relative to the mirror image of the panel's middle."""

    x_mm: float
    y_mm: float
    half_x_mm: float
    half_y_mm: float
    power: float
    soft_mm: float = 45.0


def glare(height_mm: Array, plane: Plane, camera: Camera, lamps: tuple[Lamp, ...]) -> Array:
    """Light that the film mirrors towards the camera.

    Each bit of film is a small mirror; its reflected ray is followed to the ceiling. Schlick's
    approximation gives the share reflected (Schlick 1994, Computer Graphics Forum 13:233, from
    memory).
    """
    x, y = plane.xy()
    centre = camera.centre_mm()
    gy, gx = np.gradient(height_mm.astype(np.float32), np.float32(1 / plane.ppm))
    norm = np.sqrt(1 + gx**2 + gy**2)
    n = (-gx / norm, -gy / norm, 1 / norm)
    ray = (x - np.float32(centre[0]), y - np.float32(centre[1]), np.float32(centre[2]))
    long = np.sqrt(ray[0] ** 2 + ray[1] ** 2 + ray[2] ** 2)
    ray = tuple(r / long for r in ray)
    facing = -(ray[0] * n[0] + ray[1] * n[1] + ray[2] * n[2])
    out = tuple(r + 2 * facing * m for r, m in zip(ray, n, strict=True))
    up = np.maximum(out[2], 0.05)
    hit_x, hit_y = x + out[0] / up * CEILING_MM, y + out[1] / up * CEILING_MM
    to_target = np.array([*camera.target_mm, 0.0]) - centre
    mirror = np.array(camera.target_mm) + to_target[:2] / to_target[2] * CEILING_MM
    light = np.full(plane.shape, 0.10, np.float32)
    for lamp in lamps:
        dx = np.abs(hit_x - mirror[0] - lamp.x_mm) - lamp.half_x_mm
        dy = np.abs(hit_y - mirror[1] - lamp.y_mm) - lamp.half_y_mm
        off = np.hypot(np.maximum(dx, 0), np.maximum(dy, 0))
        light = light + lamp.power * (
            np.exp(-((off / lamp.soft_mm) ** 2)) + 0.02 * np.exp(-off / 260)
        )
    share = 0.04 + 0.96 * (1 - np.clip(facing, 0, 1)) ** 5
    return (share * light).astype(np.float32)


def hand(
    at_px: tuple[float, float],
    heading_deg: float,
    size: float,
    pointing: bool,
    rng: np.random.Generator,
) -> tuple[Array, Array]:
    """Draw a gloved hand and a sleeve that reach into the picture.

    Returns
    -------
    picture : ndarray of shape (720, 1280, 3)
        Linear light.
    mask : ndarray of shape (720, 1280)
        0 to 1.
    """
    ys, xs = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)
    turn = np.radians(heading_deg)
    u_axis, v_axis = (np.cos(turn), np.sin(turn)), (-np.sin(turn), np.cos(turn))
    u = ((xs - at_px[0]) * u_axis[0] + (ys - at_px[1]) * u_axis[1]) / size
    v = ((xs - at_px[0]) * v_axis[0] + (ys - at_px[1]) * v_axis[1]) / size
    lengths = (0.0, -38.0, -46.0, -50.0) if pointing else (0.0, 8.0, 2.0, -14.0)
    bones = []
    for i, tip in enumerate(lengths):  # fingertips near u = 0, palm at u = -110
        v0 = -24 + 17 * i
        bones.append((-92.0, 0.8 * v0, 11.0, -42.0 + 0.5 * min(tip, 0), 1.1 * v0, 10.0))
        bones.append((-42.0 + 0.5 * min(tip, 0), 1.1 * v0, 10.0, tip, 1.0 * v0 + 3, 7.5))
    bones.append((-112.0, -30.0, 13.0, -66.0, -56.0, 10.0))
    bones.append((-66.0, -56.0, 10.0, -36.0, -60.0, 8.5))
    palm = [(-132.0, 0.0, 30.0, -98.0, 2.0, 35.0), (-200.0, 0.0, 27.0, -132.0, 0.0, 27.0)]
    arm = [(-900.0, 60.0, 84.0, -172.0, 0.0, 39.0)]
    glove = np.array([0.055, 0.16, 0.36], np.float32)
    sleeve = np.array([0.045, 0.05, 0.062], np.float32)
    picture, mask = np.zeros((HEIGHT, WIDTH, 3), np.float32), np.zeros((HEIGHT, WIDTH), np.float32)
    for parts, colour, crease, gloss in (
        (bones + palm, glove, 0.5, 0.16),
        (arm, sleeve, 2.2, 0.0),
    ):
        gap = _distance(u, v, parts) * size
        thick = (30.0 if gloss else 62.0) * size
        depth = np.clip(-gap / thick, 0, 1)
        height = thick * np.sqrt(1 - (1 - depth) ** 2)
        height = height + crease * size * patchy(gap.shape, 6.0 * size, rng)
        gy, gx = np.gradient(blur(height, 1.6 * size))
        norm = np.sqrt(1 + gx**2 + gy**2)
        light = np.clip((0.72 + 0.35 * gx + 0.5 * gy) / norm, 0.10, 1.2)
        shine = np.clip((0.62 + 0.45 * gx + 0.62 * gy) / norm, 0, 1) ** 24 * gloss
        body = colour * light[..., None] + shine[..., None]
        cover = np.clip(0.5 - gap / 1.5, 0, 1)
        picture = picture + (body - picture) * cover[..., None]
        mask = np.maximum(mask, cover)
    return blur(picture, 1.1).astype(np.float32), blur(mask, 1.1)


def _distance(u: Array, v: Array, bones: list[tuple[float, ...]]) -> Array:
    """Signed distance to a smooth union of tapered capsules (negative inside)."""
    soft = 7.0
    total = np.zeros(u.shape, np.float32)
    for u0, v0, r0, u1, v1, r1 in bones:
        du, dv = u1 - u0, v1 - v0
        t = np.clip(((u - u0) * du + (v - v0) * dv) / (du * du + dv * dv), 0, 1)
        gap = np.hypot(u - u0 - t * du, v - v0 - t * dv) - (r0 + t * (r1 - r0))
        total = total + np.exp(np.clip(-gap / soft, -60, 60), dtype=np.float32)
    return -soft * np.log(total + 1e-20)


def soft_shadow(
    middle_px: tuple[float, float], radius_px: tuple[float, float], strength: float
) -> Array:
    """Light that is left where somebody stands between lamp and bench, shape (720, 1280)."""
    ys, xs = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)
    r = np.hypot((xs - middle_px[0]) / radius_px[0], (ys - middle_px[1]) / radius_px[1])
    return (1 - strength / (1 + np.exp((r - 1) * 7))).astype(np.float32)


def develop(
    linear: Array, gain: Array, noise: float, rng: np.random.Generator
) -> NDArray[np.uint8]:
    """Expose, add sensor noise, soften as a phone does, and encode for the screen (sRGB).

    Parameters
    ----------
    linear : ndarray of shape (rows, cols, 3)
        Linear light, red first.
    gain : ndarray of shape (3,)
        Exposure times white balance.
    noise : float
        1 is a phone in shop light.
    rng : Generator
        Source of the noise.

    Returns
    -------
    image : ndarray of shape (rows, cols, 3), uint8
        Red first. Encoding: IEC 61966-2-1.
    """
    tall, wide = linear.shape[:2]
    ys, xs = np.mgrid[0:tall, 0:wide].astype(np.float32)
    r2 = ((xs - wide / 2) ** 2 + (ys - tall / 2) ** 2) / (wide / 2) ** 2
    light = linear * np.asarray(gain, np.float32) * (1 - 0.10 * r2)[..., None]
    light = np.where(light < 0.7, light, 0.7 + 0.3 * (1 - np.exp(-(light - 0.7) / 0.3)))
    light = light + blur(np.clip(light - 0.9, 0, 1), 9.0) * 0.25
    spread = noise * np.sqrt(0.00022 * np.clip(light, 0, 1) + 0.0025**2)
    grain = rng.standard_normal(light.shape, dtype=np.float32)
    light = np.clip(light + spread * cv2.GaussianBlur(grain, (0, 0), 0.55) * 1.6, 0, 1)
    srgb = np.where(light < 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    sharp = srgb + 0.35 * (srgb - blur(srgb, 1.1))
    return np.round(np.clip(sharp, 0, 1) * 255).astype(np.uint8)
