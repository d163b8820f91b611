"""Made-up fabrics, dry and wet, as pictures of the panel in linear light, and the table."""

from dataclasses import dataclass

import cv2
import numpy as np

from tests.made_up.shop.flow import PX_PER_MM, grid_mm, waves


@dataclass(frozen=True)
class Cloth:
    """Colour (blue, green, red; linear, 0 to 1), what wetting leaves of it, and the weave."""

    colour: tuple[float, float, float]
    wet: tuple[float, float, float]
    relief: float
    pitch_mm: float
    twill: bool = False
    blotch: float = 0.02


# Looks as one sees them in a shop; common practice, no source.
CLOTHS = {
    "white glass": Cloth((0.60, 0.61, 0.60), (0.60, 0.64, 0.66), 0.10, 4.0),
    "cream glass": Cloth((0.38, 0.52, 0.58), (0.55, 0.62, 0.68), 0.10, 5.0, True),
    "plain carbon": Cloth((0.050, 0.048, 0.046), (0.68, 0.70, 0.72), 0.35, 4.0),
    "twill carbon": Cloth((0.042, 0.040, 0.039), (0.72, 0.73, 0.74), 0.45, 5.0, True),
    "natural fibre": Cloth((0.13, 0.24, 0.33), (0.42, 0.46, 0.52), 0.16, 3.0, blotch=0.10),
    "black on black": Cloth((0.030, 0.030, 0.030), (0.995, 0.995, 0.995), 0.3, 4.0),
}


def weave(cloth):
    """Relief of the weave, mean 1."""
    x, y = grid_mm()
    pitch = cloth.pitch_mm
    if cloth.twill:
        pattern = np.sin(2 * np.pi * (x + y) / pitch) + 0.4 * np.sin(2 * np.pi * (x - y) / 1.9)
    else:
        pattern = np.sin(np.pi * x / pitch) * np.sin(np.pi * y / pitch) * 1.6
    rough = pattern + 0.35 * waves(21, 0.5)
    return 1 + cloth.relief * rough / max(np.abs(rough).max(), 1e-6) + cloth.blotch * waves(22, 6.0)


def panel(name, over=()):
    """Give the dry and the wet panel, each of shape (M, N, 3), linear light."""
    cloth = CLOTHS[name]
    relief = weave(cloth)[..., None]
    dry = np.array(cloth.colour) * relief
    wet = dry * np.array(cloth.wet)
    if "peel ply" in over:
        x, y = grid_mm()
        ply = (0.55 + 0.03 * np.sin(np.pi * x) * np.sin(np.pi * y))[..., None]
        dry, wet = 0.5 * dry + 0.5 * ply, 0.80 * wet + 0.20 * ply * 0.6
    if "flow mesh" in over:
        x, y = grid_mm()
        lines = np.minimum(np.abs((x + 0.6 * y) % 5 - 2.5), np.abs((x - 0.6 * y) % 5 - 2.5)) < 0.6
        mesh = np.array((0.28, 0.40, 0.20)) * (1 + 0.1 * waves(23, 1.0))[..., None]
        cover = cv2.GaussianBlur(lines.astype(np.float32), (0, 0), 0.7)[..., None] * 0.8
        dry, wet = dry + (mesh - dry) * cover, wet + (0.85 * mesh - wet) * cover
    return dry.astype(np.float32), wet.astype(np.float32)


LOOKS = {
    "sharp": (1.0, 1.0),
    "deepening": (0.68, 7.0),
    "ramp": (0.0, 5.0),
}
"""Share of the change that comes at once, and the length in mm over which the rest comes."""


def wet_share(behind_mm, look):
    """How wet a spot looks at a distance behind the front."""
    at_once, length_mm = LOOKS[look]
    step = np.clip(behind_mm / 0.6 + 0.5, 0, 1)
    if at_once == 1.0:
        return step
    late = 1 - np.exp(-np.maximum(behind_mm, 0) / length_mm)
    return at_once * step + (1 - at_once) * late


def table(shape, seed=31):
    """A worn bench with scratches and spots, which is what the camera is followed by."""
    rng = np.random.default_rng(seed)
    picture = np.full((*shape, 3), (0.16, 0.20, 0.23), np.float32)
    coarse = rng.standard_normal((shape[0] // 14 + 1, shape[1] // 14 + 1)).astype(np.float32)
    grain = cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_CUBIC)
    picture *= (1 + 0.16 * grain)[..., None]
    for _ in range(90):
        at = rng.integers(0, (shape[1], shape[0]))
        size = int(rng.integers(2, 6)) * PX_PER_MM // 2
        tone = float(rng.choice((0.06, 0.45)))
        cv2.circle(picture, tuple(map(int, at)), size, (tone, tone, tone), -1, cv2.LINE_AA)
    return picture
