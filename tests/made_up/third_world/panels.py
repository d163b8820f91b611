"""Resin panels photographed badly, each with its exact front."""

import numpy as np

from tests.made_up.third_world import troubles as t
from tests.made_up.third_world.camera import Camera, tilted
from tests.made_up.third_world.front import Front, Law
from tests.made_up.third_world.world import (
    Texture,
    Wetness,
    World,
    printed,
    textured,
    woven,
)

GLASS, CARBON, BLACK = (0.42, 0.46, 0.47), (0.055, 0.055, 0.056), (0.03, 0.03, 0.031)
BENCH = (0.16, 0.2, 0.24)
CLEAR_RESIN = (0.68, 0.74, 0.78)
SIZE = (800, 560)


def camera_of(seed: int, **more) -> Camera:
    """Return a camera that looks at the panel a little from the side."""
    rng = np.random.default_rng([seed, 1])
    left, top = SIZE[0] * rng.uniform(0.1, 0.15), SIZE[1] * rng.uniform(0.13, 0.2)
    box = (left, top, SIZE[0] * 0.88, top + 0.66 * SIZE[1])
    return Camera(SIZE, tilted(SIZE, box, rng.uniform(0.01, 0.07)), finer=1, **more)


def panel_of(seed: int, stuff: Texture, look: tuple[float, float, float], law: Law | None = None,
           camera: Camera | None = None, count: int = 60, **more) -> World:  # fmt: skip
    """Return a panel of 320 by 200 mm whose front follows a law."""
    length, width = 320.0, 200.0
    shape = {k: more.pop(k) for k in ("fingers_mm", "fibres_mm", "race", "race_mm") if k in more}
    law = law or Law(290, 1700)
    front = Front(law, length, width, **{"fingers_mm": 4.0, "seed": seed, **shape})
    wetting = (Wetness(front, look, sharp_mm=2.0), *more.pop("then", ()))
    return World(
        length, width, camera or camera_of(seed), stuff, textured(BENCH, seed + 5, clouds=0.1),
        wetting, tuple(np.linspace(-130, 1740, count)), seed=seed, **more,
    )  # fmt: skip


def glass_cloth(seed: int) -> Texture:
    """Return white glass cloth."""
    return woven(textured(GLASS, seed, fine=0.02), 5.0, 0.06)


def sinks(seed: int = 21) -> World:
    """A tripod that sinks and leans slowly, the zoom creeping with it."""
    camera = camera_of(
        seed,
        shift_y_px=lambda s: 0.012 * max(s, 0),
        roll_deg=lambda s: 0.0006 * max(s, 0),
        zoom=lambda s: 1 + 6e-6 * max(s, 0),
    )
    return panel_of(seed, glass_cloth(seed), CLEAR_RESIN, camera=camera)


def lamp_moved(seed: int = 22) -> World:
    """Somebody moves the lamp in the middle of the run."""
    return panel_of(seed, glass_cloth(seed), CLEAR_RESIN, on_top=(t.lamp(700, 20, 0.5, 0.4),))


def clouds_mirrored(seed: int = 23) -> World:
    """A window mirrored in the bag while clouds pass."""
    return panel_of(
        seed, woven(textured(CARBON, seed), 4.0, 0.15), (0.72,) * 3,
        on_top=(t.window(seed, 0.05, 0.6),),
    )  # fmt: skip


def bag_gives(seed: int = 24) -> World:
    """Folds of the bag that give way as the front passes."""
    return panel_of(
        seed, glass_cloth(seed), (0.8, 0.82, 0.84), before=(t.wrinkles(seed, 9, 320, 200),)
    )


def printed_peel_ply(seed: int = 25) -> World:
    """Peel ply with red lines every 25 mm and tracer threads."""
    stuff = printed(glass_cloth(seed), 25.0, 1.4, 0.6, (0.3, 0.35, 1.5))
    return panel_of(seed, stuff, (0.84, 0.87, 0.9), on_top=(t.lit_from(seed, 0.06),))


def faint_carbon(seed: int = 26) -> World:
    """Dark carbon that darkens by a few percent only."""
    return panel_of(
        seed, woven(textured(CARBON, seed, fine=0.05), 4.0, 0.2), (0.94, 0.94, 0.95),
        on_top=(t.lit_from(seed, 0.1),),
    )  # fmt: skip


def mesh_moire(seed: int = 27) -> World:
    """Flow media whose mesh is near two pixels, the camera trembling."""
    rng = np.random.default_rng([seed, 4])
    tremble = rng.normal(0, 0.25, 4000)
    camera = camera_of(
        seed,
        shift_x_px=lambda s: float(tremble[int(s + 200) % 4000]),
        shift_y_px=lambda s: float(tremble[(int(s + 200) + 1700) % 4000]),
    )
    stuff = woven(textured(GLASS, seed), 1.13, 0.35, 1.21)
    return panel_of(seed, stuff, (0.75, 0.8, 0.84), camera=camera)


def white_foam(seed: int = 28) -> World:
    """Bubbles at the head of the resin, white on dark cloth."""
    return panel_of(
        seed, woven(textured(CARBON, seed), 4.0, 0.15), (0.7,) * 3, before=(t.foam(10, 0.09, seed),)
    )


def lighter_when_wet(seed: int = 29) -> World:
    """Cloth on black that the resin makes lighter."""
    return panel_of(seed, woven(textured((0.1, 0.11, 0.11), seed), 4.0, 0.1), (1.22, 1.27, 1.32))


def edge_races(seed: int = 30) -> World:
    """Resin runs ahead along one edge."""
    return panel_of(seed, glass_cloth(seed), CLEAR_RESIN, race=0.7, race_mm=14.0)


def feed_shut(seed: int = 31) -> World:
    """The feed is shut for a third of the run and opened again."""
    law = Law(230, 1100, shut=((380, 980),))
    return panel_of(seed, glass_cloth(seed), CLEAR_RESIN, law=law)


def second_mix(seed: int = 32) -> World:
    """A second mix of resin, of another colour, follows the first."""
    length, width = 320.0, 200.0
    law = Law(290, 1700)
    later = Front(law, length, width, 4.0, share=0.6, seed=seed + 3)
    then = (Wetness(later, (0.75, 0.86, 1.05), sharp_mm=4.0),)
    return panel_of(seed, glass_cloth(seed), CLEAR_RESIN, law=law, then=then)


def lighter_on_white(seed: int = 33) -> World:
    """White cloth on white that goes clear: hardly darker, a little yellower; the light drifts."""
    camera = camera_of(
        seed,
        exposure=lambda s: 1 + 0.08 * np.sin(s / 430.0),
        warmth=lambda s: 1 + 0.06 * np.sin(s / 610.0 + 0.7),
    )
    return panel_of(
        seed,
        glass_cloth(seed),
        (0.93, 1.01, 1.03),
        camera=camera,
        on_top=(t.lamp(1e9, 1, 0.2, 1.0),),
    )


def sun_creeps(seed: int = 34) -> World:
    """The edge of the sun creeps over the panel with the front."""

    def sun(look: t.Look) -> None:
        edge = 0.1 + 0.5 * (look.time_s + 130) / 1870
        look.light *= (1 + 0.35 / (1 + np.exp((look.u + 0.3 * look.v - edge) / 0.03)))[..., None]

    return panel_of(seed, glass_cloth(seed), (0.74, 0.78, 0.8), on_top=(sun,))


def somebody_leans(seed: int = 35) -> World:
    """Hands and arms over the panel again and again, and a soft shadow that stays long."""

    def shadow(look: t.Look) -> None:
        when = np.exp(-(((look.time_s - 800) / 240) ** 4))
        spot = np.exp(-((look.u - 0.6) ** 2 + (look.v - 0.7) ** 2) / 0.05)
        look.light *= (1 - 0.3 * when * spot)[..., None]

    hands = tuple(t.hand(a, a + 70, (180 + 20 * i, 60 + 20 * i), 32)
                  for i, a in enumerate((60, 300, 520, 1250)))  # fmt: skip
    return panel_of(seed, glass_cloth(seed), CLEAR_RESIN, on_top=(shadow, *hands))


PANELS = {
    make.__name__: make
    for make in (
        sinks, lamp_moved, clouds_mirrored, bag_gives, printed_peel_ply, faint_carbon, mesh_moire,
        white_foam, lighter_when_wet, edge_races, feed_shut, second_mix, lighter_on_white,
        sun_creeps, somebody_leans,
    )
}  # fmt: skip
