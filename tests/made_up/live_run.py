"""A small made-up panel that fills as Darcy's law says, for the live tests: x = sqrt(k t)."""

from pathlib import Path

import cv2
import numpy as np

LENGTH_MM, WIDTH_MM = 300.0, 160.0
CORNERS = [[60.0, 50.0], [540.0, 50.0], [540.0, 306.0], [60.0, 306.0]]
PX_PER_MM = 1.6
SIZE = (600, 356)
K_MM2_PER_S = 120.0
"""The panel is full at 300**2 / 120 = 750 s."""

PANEL = """
[panel]
name = "Hatch cover strip"
length_mm = 300
width_mm = 160
{scale}
[stack]
porosity = 0.5
[resin]
viscosity_mpas = 200
gel_time_min = {gel_min}
[vacuum]
pressure_difference_mbar = 950
[part]
flow_length_mm = 300
"""
SCALE = '[scale]\nmethod = "corners"\ncorners_px = [[60, 50], [540, 50], [540, 306], [60, 306]]\n'


def write_panel(folder: Path, scale: bool = True, gel_min: float = 60) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    text = PANEL.format(scale=SCALE if scale else "", gel_min=gel_min)
    (folder / "panel.toml").write_text(text, encoding="utf-8")
    return folder


def _ground() -> np.ndarray:
    rng = np.random.default_rng(7)
    table = cv2.resize(rng.normal(0, 1, (SIZE[1] // 4, SIZE[0] // 4)), SIZE)
    picture = 95 + 14 * table + rng.normal(0, 2, table.shape)
    x0, y0, x1, y1 = 60, 50, 540, 306
    weave = 8 * np.sin(np.arange(x1 - x0) * 1.9) + 8 * np.sin(np.arange(y1 - y0) * 1.7)[:, None]
    cloth = cv2.resize(rng.normal(0, 1, (40, 70)), (x1 - x0, y1 - y0))
    picture[y0:y1, x0:x1] = 185 + weave + 5 * cloth
    return picture


GROUND = _ground()


def front_mm(time_s: float) -> float:
    return min(LENGTH_MM, float(np.sqrt(K_MM2_PER_S * max(time_s, 0.0))))


def picture(
    time_s: float,
    seed: int = 0,
    stop_mm: float = LENGTH_MM,
    hand: bool = False,
    dries: bool = False,
):
    """The panel `time_s` after resin start, as an array of shape (356, 600, 3).

    With `dries` a patch behind the front looks as it did dry, as no resin does.
    """
    shown = GROUND.copy()
    x = (np.arange(SIZE[0]) - 60) / PX_PER_MM
    wet = np.clip((min(front_mm(time_s), stop_mm) - x) / 1.0, 0, 1) * (x >= 0) * (x <= LENGTH_MM)
    inside = np.zeros(SIZE[::-1])
    inside[50:306] = 1
    shown *= 1 - 0.42 * wet * inside
    if dries:
        shown[60:180, 90:300] = GROUND[60:180, 90:300]
    if hand:
        cv2.circle(shown, (380, 180), 60, 150.0, -1)
    rng = np.random.default_rng([seed, round(time_s * 10) % 10**6])
    shown += rng.normal(0, 1.5, shown.shape)
    grey = np.clip(shown, 0, 255)
    return np.stack([grey * 0.97, grey, np.clip(grey * 1.02, 0, 255)], axis=2).astype(np.uint8)


def photo(time_s: float, **more) -> bytes:
    return bytes(cv2.imencode(".jpg", picture(time_s, **more), [cv2.IMWRITE_JPEG_QUALITY, 92])[1])
