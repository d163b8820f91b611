"""Porous sheets that drink: filmed badly, each with its exact front."""

from dataclasses import replace

import numpy as np

from tests.made_up.third_world import troubles as t
from tests.made_up.third_world.camera import Camera, tilted
from tests.made_up.third_world.front import Front, Law
from tests.made_up.third_world.world import Wetness, World, textured, woven

PAPER, CLOTH = (0.5, 0.55, 0.56), (0.38, 0.41, 0.43)
WALL = (0.13, 0.14, 0.15)
BLUE_DYE, RED_DYE, CLEAR, FAINT = (0.85, 0.55, 0.4), (0.45, 0.5, 0.9), (0.94,) * 3, (0.965,) * 3


def _times(count: int, first_s: float, last_s: float) -> tuple[float, ...]:
    return tuple(np.linspace(first_s, last_s, count))


def _upright(seed: int, size: tuple[int, int], length_mm: float, width_mm: float) -> Camera:
    """A strip held upright: as high as the picture lets it, in the middle."""
    rng = np.random.default_rng([seed, 1])
    high = 0.8 * size[1]
    broad = min(high * width_mm / length_mm, 0.7 * size[0])
    left = (size[0] - broad) / 2 + rng.uniform(-0.04, 0.04) * size[0]
    top = 0.07 * size[1]
    box = (left, top, left + broad, top + high)
    finer = 2 if size[0] * size[1] < 250_000 else 1
    return Camera(size, tilted(size, box, rng.uniform(0, 0.03), "bottom"), finer=finer)


def paper_strip(seed: int = 1, size: tuple[int, int] = (360, 640)) -> World:
    """Blotting paper in dyed water, portrait; weight slows the front, the camera breathes."""
    length, width = 120.0, 55.0
    front = Front(Law(85, 600, top_mm=130), length, width, 2.5, 0.5, seed=seed)
    camera = replace(
        _upright(seed, size, length, width),
        zoom=lambda s: 1 + 0.004 * np.sin(s / 11.0) + 0.002 * np.sin(s / 2.3),
        auto=0.7,
    )
    return World(
        length, width, camera, textured(PAPER, seed, grain_mm=0.6), textured(WALL, seed + 5),
        (Wetness(front, BLUE_DYE),), _times(120, -25, 640),
        on_top=(t.vessel(-1.0, (0.75, 0.5, 0.38)), t.lit_from(seed, 0.05)), seed=seed,
    )  # fmt: skip


def clear_on_cloth(seed: int = 2, size: tuple[int, int] = (640, 480)) -> World:
    """Clear water in a filter cloth that lies: six percent darker, and the light drifts."""
    length, width = 160.0, 90.0
    front = Front(Law(135, 500), length, width, 3.5, 0.6, seed=seed)
    box = (0.13 * size[0], 0.16 * size[1], 0.88 * size[0], 0.82 * size[1])
    camera = Camera(
        size, tilted(size, box, 0.06),
        finer=1, auto=0.8,
        exposure=lambda s: 1 + 0.06 * np.sin(s / 170.0) + 0.0002 * s,
        warmth=lambda s: 1 + 0.05 * np.sin(s / 140.0 + 1),
    )  # fmt: skip
    cloth = woven(textured(CLOTH, seed), 1.7, 0.05)
    return World(
        length, width, camera, cloth, textured((0.1, 0.16, 0.2), seed + 5),
        (Wetness(front, CLEAR, sharp_mm=2.0),), _times(110, -40, 560),
        on_top=(t.lit_from(seed, 0.08),), seed=seed,
    )  # fmt: skip


def two_steps(seed: int = 3, size: tuple[int, int] = (480, 640)) -> World:
    """Clear water ahead, its dye held back behind it."""
    length, width = 110.0, 60.0
    law = Law(95, 600, top_mm=180)
    front = Front(law, length, width, 2.0, 0.4, seed=seed)
    dye = Front(law, length, width, 2.5, 0.4, share=0.55, seed=seed + 40)
    return World(
        length, width, replace(_upright(seed, size, length, width), auto=0.5),
        textured(PAPER, seed, grain_mm=0.5), textured(WALL, seed + 5),
        (Wetness(front, (0.9,) * 3), Wetness(dye, RED_DYE, sharp_mm=3.0)), _times(120, -30, 620),
        on_top=(t.vessel(-1.5, RED_DYE), t.lit_from(seed, 0.05)), seed=seed,
    )  # fmt: skip


def small_flicker(seed: int = 4, size: tuple[int, int] = (178, 179)) -> World:
    """A very small picture under a lamp that flickers."""
    length, width = 60.0, 50.0
    front = Front(Law(52, 400), length, width, 1.2, 0.3, seed=seed)
    box = (0.16 * size[0], 0.1 * size[1], 0.84 * size[0], 0.9 * size[1])
    camera = Camera(
        size, tilted(size, box, 0, "bottom"), finer=3, noise=2.5,
        flicker=lambda s: 0.03, auto=0.4,
    )  # fmt: skip
    return World(
        length, width, camera, textured(PAPER, seed, grain_mm=0.4), textured(WALL, seed + 5),
        (Wetness(front, (0.8, 0.8, 0.8)),), _times(90, -20, 420), seed=seed,
    )  # fmt: skip


def under_way(seed: int = 5, size: tuple[int, int] = (540, 960)) -> World:
    """The film begins when the liquid has come a fifth of the way."""
    length, width = 130.0, 60.0
    front = Front(Law(110, 700, top_mm=260), length, width, 2.0, 0.5, seed=seed)
    return World(
        length, width, replace(_upright(seed, size, length, width), auto=0.3),
        textured(PAPER, seed, grain_mm=0.5), textured(WALL, seed + 5),
        (Wetness(front, (0.7, 0.68, 0.66)),), _times(100, 25, 720),
        on_top=(t.vessel(-1.0, (0.6, 0.6, 0.62)),), seed=seed,
    )  # fmt: skip


def sagging_drops(seed: int = 6, size: tuple[int, int] = (480, 640)) -> World:
    """The sheet curls while drops run down the glass before it."""
    length, width = 110.0, 70.0
    front = Front(Law(92, 600, top_mm=200), length, width, 2.5, 0.5, seed=seed)
    return World(
        length, width, _upright(seed, size, length, width),
        textured(PAPER, seed, grain_mm=0.5), textured(WALL, seed + 5),
        (Wetness(front, (0.82, 0.8, 0.78)),), _times(110, -30, 620),
        sag=t.sagging(0.9, 600, length),
        on_top=(t.vessel(-1.0, (0.6, 0.6, 0.62)), t.drops(seed, 14, length, width)), seed=seed,
    )  # fmt: skip


def dipped_far(seed: int = 10, size: tuple[int, int] = (480, 640)) -> World:
    """The same before a rough wall, from six millimetres above where it then hangs."""
    wall = textured(WALL, seed + 5, fine=0.2, grain_mm=2.0)
    return replace(dipped_by_hand(seed, size), sag=t.dipping(6.0, 8.0), table=wall)


def dipped_by_hand(seed: int = 7, size: tuple[int, int] = (480, 640)) -> World:
    """A hand dips the sheet and stays in view; time burnt into the picture, a ruler beside."""
    length, width = 120.0, 50.0
    front = Front(Law(100, 600, top_mm=190), length, width, 2.0, 0.4, seed=seed)
    return World(
        length, width, _upright(seed, size, length, width),
        textured(PAPER, seed, grain_mm=0.5), textured(WALL, seed + 5),
        (Wetness(front, BLUE_DYE),), _times(120, -30, 620),
        sag=t.dipping(1.0, 8.0),
        on_top=(
            t.vessel(-1.0, BLUE_DYE), t.ruler(length, -9.0), t.hand(-14, 45, (117, 25), 13),
        ),
        marks=(t.stamp("strip 3", (0.03, 0.05), 0.5),), seed=seed,
    )  # fmt: skip


def uneven_clock(seed: int = 8, size: tuple[int, int] = (640, 360)) -> World:
    """Pictures dropped and shown twice, at an uneven rate; faint and fast."""
    rng = np.random.default_rng([seed, 2])
    length, width = 140.0, 60.0
    front = Front(Law(125, 400), length, width, 2.5, 0.5, seed=seed)
    box = (0.1 * size[0], 0.2 * size[1], 0.92 * size[0], 0.8 * size[1])
    times = np.sort(rng.choice(np.arange(-30, 430, 2.5), 110, replace=False))
    return World(
        length, width, Camera(size, tilted(size, box, 0.02), finer=1, auto=0.6),
        textured(CLOTH, seed, grain_mm=0.6), textured((0.2, 0.22, 0.24), seed + 5),
        (Wetness(front, FAINT),), tuple(times), seed=seed,
    )  # fmt: skip


def fast_end(seed: int = 9, size: tuple[int, int] = (400, 400)) -> World:
    """A sheet full half-way through the film; evaporation pales it a little, a hand takes it."""
    length, width = 80.0, 70.0
    front = Front(Law(80, 260), length, width, 2.0, 0.4, race=0.25, race_mm=6, seed=seed)
    box = (0.14 * size[0], 0.1 * size[1], 0.84 * size[0], 0.9 * size[1])

    def dries(look: t.Look) -> None:
        late = float(np.clip((look.time_s - 320) / 300, 0, 1))
        look.light[look.inside] *= 1 + 0.05 * late

    return World(
        length, width, Camera(size, tilted(size, box, 0, "bottom")),
        textured(PAPER, seed, grain_mm=0.5), textured(WALL, seed + 5),
        (Wetness(front, (0.78, 0.78, 0.8)),), _times(100, -20, 620),
        on_top=(dries, t.hand(575, 700, (75, 35), 16)), seed=seed,
    )  # fmt: skip


SHEETS = {
    make.__name__: make
    for make in (
        paper_strip, clear_on_cloth, two_steps, small_flicker, under_way, sagging_drops,
        dipped_by_hand, dipped_far, uneven_clock, fast_end,
    )
}  # fmt: skip
