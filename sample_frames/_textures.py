"""What things look like: benches, fabrics dry and wet, and how the bag film lies."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_frames._plane import Plane, blur, curve, patchy

Array = NDArray[np.floating]


def _scratches(plane: Plane, count: int, rng: np.random.Generator) -> Array:
    """Fine straight marks in all directions, -1 to 1."""
    rows, cols = plane.shape
    marks = np.zeros((rows, cols), np.float32)
    for _ in range(count):
        start = rng.uniform((0, 0), (cols, rows))
        angle, long = rng.normal(0.3, 0.6), rng.exponential(55) * plane.ppm
        end = start + long * np.array([np.cos(angle), np.sin(angle)])
        a, b = (tuple(int(v) for v in p) for p in (start, end))
        cv2.line(marks, a, b, float(rng.uniform(-1, 1)), 1, cv2.LINE_AA)
    return blur(marks, 0.7)


def _specks(plane: Plane, count: int, rng: np.random.Generator) -> Array:
    """Dust and old drops of resin, 0 to 1."""
    rows, cols = plane.shape
    dots = np.zeros((rows, cols), np.float32)
    for _ in range(count):
        at = (int(rng.integers(cols)), int(rng.integers(rows)))
        radius = max(1, int(rng.exponential(0.5) * plane.ppm))
        cv2.circle(dots, at, radius, float(rng.uniform(0.2, 1)), -1, cv2.LINE_AA)
    return blur(dots, 0.8)


def gelcoat(plane: Plane, rng: np.random.Generator) -> Array:
    """Grey-green tooling gelcoat: nearly even, scratched, with polish swirls and drips."""
    base = np.array([0.115, 0.185, 0.165], np.float32)
    tone = 1 + 0.05 * patchy(plane.shape, 60 * plane.ppm, rng)
    tone += 0.03 * patchy(plane.shape, 5 * plane.ppm, rng)
    tone += 0.16 * _scratches(plane, 420, rng) + 0.015 * patchy(plane.shape, 1.0, rng)
    picture = base * tone[..., None].astype(np.float32)
    drips = np.clip(patchy(plane.shape, 7 * plane.ppm, rng) - 2.6, 0, 0.25)[..., None] * 4
    picture = picture * (1 - 0.35 * drips * np.array([0.2, 0.4, 1.0], np.float32))
    return picture + 0.16 * _specks(plane, 420, rng)[..., None] * np.float32(1)


def film_ply(plane: Plane, rng: np.random.Generator) -> Array:
    """Brown film-faced plywood with its pressed mesh print, worn in places."""
    x, y = plane.xy()
    base = np.array([0.105, 0.062, 0.042], np.float32)
    mesh = np.cos(2 * np.pi * (x + y) / 4.2) * np.cos(2 * np.pi * (x - y) / 4.2)
    worn = np.clip(0.6 * patchy(plane.shape, 35 * plane.ppm, rng) - 0.3, 0, 1)
    tone = 1 + 0.10 * mesh * (1 - 0.7 * worn) + 0.3 * worn
    tone += 0.06 * patchy(plane.shape, 14 * plane.ppm, rng)
    tone += 0.35 * _scratches(plane, 520, rng) + 0.03 * patchy(plane.shape, 1.0, rng)
    picture = base * tone[..., None].astype(np.float32)
    return picture + 0.13 * _specks(plane, 520, rng)[..., None] * np.float32(1)


def melamine(plane: Plane, rng: np.random.Generator) -> Array:
    """Pale grey bench board with a fine speckle, stains and cut marks."""
    base = np.array([0.46, 0.48, 0.475], np.float32)
    tone = 1 + 0.05 * patchy(plane.shape, 70 * plane.ppm, rng)
    tone += 0.035 * patchy(plane.shape, 1.4, rng) - 0.10 * np.abs(_scratches(plane, 350, rng))
    stain = np.clip(patchy(plane.shape, 16 * plane.ppm, rng) - 1.9, 0, 1)[..., None]
    picture = base * tone[..., None].astype(np.float32)
    picture = picture * (1 - 0.22 * stain * np.array([0.3, 0.55, 1.0], np.float32))
    return picture * (1 - 0.45 * _specks(plane, 300, rng)[..., None])


BENCHES = {"gelcoat": gelcoat, "film_ply": film_ply, "melamine": melamine}


class Weave:
    """Where the tows run: phases across each tow, which tow lies on top, one tone per tow.

    `pitch_mm` is the tow spacing, `step` the shift of the pattern from tow to tow (plain weave:
    period 2, twill 2/2: period 4).
    """

    def __init__(self, plane: Plane, pitch_mm: float, twill: bool, rng: np.random.Generator):
        x, y = plane.xy()
        bend = 0.16 * pitch_mm
        u = (x + bend * patchy(plane.shape, 16 * plane.ppm, rng)) / pitch_mm
        v = (y + bend * patchy(plane.shape, 16 * plane.ppm, rng)) / pitch_mm
        self.warp_index, self.weft_index = np.floor(v).astype(int), np.floor(u).astype(int)
        across_warp, across_weft = v - self.warp_index - 0.5, u - self.weft_index - 0.5
        period = 4 if twill else 2
        self.warp_up = (self.weft_index - self.warp_index) % period < period // 2
        self.across = np.where(self.warp_up, across_warp, across_weft)
        self.along = np.where(self.warp_up, across_weft, across_warp)
        tones = rng.standard_normal((2, 1024))
        self.tone = np.where(
            self.warp_up, tones[0, self.warp_index % 1024], tones[1, self.weft_index % 1024]
        )
        streaks = rng.standard_normal(plane.shape).astype(np.float32)
        warp = cv2.GaussianBlur(streaks, (0, 0), sigmaX=7, sigmaY=0.7)
        weft = cv2.GaussianBlur(streaks, (0, 0), sigmaX=0.7, sigmaY=7)
        self.filaments = np.where(self.warp_up, warp / warp.std(), weft / weft.std())

    def relief(self) -> Array:
        """Height of the cloth, 0 in the gaps and 1 on the crowns."""
        crown = np.cos(np.pi * self.across) ** 0.7
        return blur(crown * (0.75 + 0.25 * np.cos(np.pi * self.along)), 0.8)


def glass(
    plane: Plane, weave: Weave, ground: Array, rng: np.random.Generator
) -> tuple[Array, Array]:
    """White glass cloth: dry it scatters, wet it clears and the tool shows through.

    Returns
    -------
    dry, wet : ndarray of shape (rows, cols, 3)
        Linear light.
    """
    relief, cloud = weave.relief(), patchy(plane.shape, 22 * plane.ppm, rng)
    tone = 0.74 + 0.26 * relief + 0.022 * weave.tone + 0.022 * weave.filaments + 0.018 * cloud
    dry = np.array([0.66, 0.68, 0.665], np.float32) * tone[..., None].astype(np.float32)
    body = 0.87 + 0.13 * relief + 0.035 * weave.tone + 0.014 * weave.filaments + 0.03 * cloud
    clear = np.array([0.245, 0.285, 0.235], np.float32) * body[..., None].astype(np.float32)
    bubbles = np.clip(patchy(plane.shape, 1.3, rng) - 2.7, 0, 1)[..., None] * 0.08
    return dry, 0.72 * clear + 0.28 * blur(ground, 3.0) + bubbles.astype(np.float32)


def carbon(
    plane: Plane, weave: Weave, ground: Array, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Carbon cloth: dry it has a grey sheen along the tows, wet it is a little deeper.

    Returns
    -------
    dry, wet : ndarray of shape (rows, cols, 3)
        Linear light.
    """
    del ground
    relief, cloud = weave.relief(), patchy(plane.shape, 25 * plane.ppm, rng)
    sheen = np.where(weave.warp_up, 1.0, 0.74)
    dry = sheen * (0.55 + 0.45 * relief) * (1 + 0.08 * weave.tone + 0.10 * weave.filaments)
    dry = dry * (1 + 0.06 * cloud)
    wet = (0.55 + 0.45 * sheen) * (0.72 + 0.28 * relief)
    wet = wet * (1 + 0.06 * weave.tone + 0.05 * weave.filaments) * (1 + 0.04 * cloud)
    tint_dry = np.array([0.079, 0.080, 0.084], np.float32)
    tint_wet = np.array([0.0435, 0.0435, 0.0425], np.float32)
    return (
        tint_dry * dry[..., None].astype(np.float32),
        tint_wet * wet[..., None].astype(np.float32),
    )


FABRICS = {"glass": glass, "carbon": carbon}


def bag_height_mm(
    plane: Plane, frame: tuple[float, float, float, float], wrinkles: int, rng: np.random.Generator
) -> Array:
    """Height of the film: slow waves, and creases that run in from the sealant tape.

    `frame` is (x0, y0, x1, y1) of the tape. Everything in mm.
    """
    x0, y0, x1, y1 = frame
    height = 0.16 * patchy(plane.shape, 22 * plane.ppm, rng)
    height = height + 0.035 * patchy(plane.shape, 6 * plane.ppm, rng)
    for width_mm in (0.7, 1.3):
        ridge = np.zeros(plane.shape, np.float32)
        for _ in range(wrinkles // 2):
            side, along = rng.integers(4), rng.uniform(0, 1)
            edge = [
                (x0 + along * (x1 - x0), y0),
                (x1, y0 + along * (y1 - y0)),
                (x0 + along * (x1 - x0), y1),
                (x0, y0 + along * (y1 - y0)),
            ][side]
            inward = np.array([(0, 1), (-1, 0), (0, -1), (1, 0)][side]) + rng.normal(0, 0.55, 2)
            reach = 18 + rng.exponential(75)
            end = np.array(edge) + inward * reach
            middle = (np.array(edge) + end) / 2 + rng.normal(0, 0.10 * reach, 2)
            path = curve([edge, tuple(middle), tuple(end)], 24)
            tall = rng.uniform(0.25, 1.0)
            for i in range(len(path) - 1):
                a, b = plane.px(path[i : i + 2]) // 16
                fade = float(tall * (1 - i / len(path)))
                cv2.line(ridge, tuple(map(int, a)), tuple(map(int, b)), fade, 2, cv2.LINE_AA)
        peak = blur(ridge, width_mm * plane.ppm)
        height = height + 0.55 * width_mm * peak / max(float(peak.max()), 1e-6)
    return height
