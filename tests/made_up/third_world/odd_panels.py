"""Panels on which something changes that is no wetting, each with its exact front."""

from dataclasses import replace

import numpy as np

from tests.made_up.third_world import troubles as t
from tests.made_up.third_world.front import Law
from tests.made_up.third_world.panels import (
    BENCH,
    CARBON,
    CLEAR_RESIN,
    camera_of,
    glass_cloth,
    panel_of,
)
from tests.made_up.third_world.world import World, textured, woven

COUNT = 45


def _soft(time_s: float, at_s: float, over_s: float) -> float:
    return float(1 / (1 + np.exp(-(time_s - at_s) / over_s)))


def bag_slackens(seed: int = 41) -> World:
    """The vacuum drops in the middle: all of the bag looks a little darker from then on."""

    def duller(look: t.Look) -> None:
        look.light[look.inside] *= 1 - 0.07 * _soft(look.time_s, 600, 15)

    return panel_of(seed, glass_cloth(seed), (0.82, 0.85, 0.88), count=COUNT, before=(duller,))


def dry_part_slackens(seed: int = 42) -> World:
    """The same, only ahead of a fold across the panel, and as strong as the wetting."""

    def duller(look: t.Look) -> None:
        beyond = look.inside & (look.x_mm > 200 + 0.1 * look.y_mm)
        look.light[beyond] *= 1 - 0.15 * _soft(look.time_s, 500, 15)

    return panel_of(seed, glass_cloth(seed), (0.82, 0.85, 0.88), count=COUNT, before=(duller,))


def leans_over_the_front(seed: int = 43) -> World:
    """Somebody bends over the front in most photos: a soft shadow that goes with it."""
    rng = np.random.default_rng([seed, 8])
    there = rng.random(4000) < 0.75

    def shade(look: t.Look) -> None:
        if look.time_s < 60 or not there[int(look.time_s) % 4000]:
            return
        ahead = look.behind_mm + 25 + 10 * np.sin(look.time_s)
        soft = np.exp(-((ahead / 55) ** 2)) * np.exp(-(((look.y_mm - 90) / 120) ** 2))
        look.light *= (1 - 0.22 * soft)[..., None]

    return panel_of(seed, glass_cloth(seed), CLEAR_RESIN, count=COUNT, on_top=(shade,))


def sun_mirrored(seed: int = 44) -> World:
    """The sun mirrored in the bag creeps ahead of the front."""

    def sun(look: t.Look) -> None:
        x = 60 + 0.16 * (look.time_s + 100)
        spot = np.exp(-(((look.x_mm - x) / 30) ** 4) - (((look.y_mm - 110) / 60) ** 4))
        look.light += 0.3 * spot[..., None]

    stuff = woven(textured(CARBON, seed), 4.0, 0.15)
    return panel_of(seed, stuff, (0.72,) * 3, count=COUNT, on_top=(sun,))


def lens_fogs(seed: int = 45) -> World:
    """The lens fogs: contrast goes, the picture pales."""

    def fog(look: t.Look) -> None:
        veil = 0.75 * _soft(look.time_s, 900, 200)
        look.light *= 1 - veil
        look.light += veil * 0.3

    return panel_of(seed, glass_cloth(seed), CLEAR_RESIN, count=COUNT, on_top=(fog,))


def words_on_the_panel(seed: int = 46) -> World:
    """Time and a title burnt in over the panel itself."""
    return panel_of(
        seed, glass_cloth(seed), CLEAR_RESIN, count=COUNT,
        marks=(t.stamp("TEST 12  ", (0.2, 0.5), 1.4),),
    )  # fmt: skip


def lamp_on_part(seed: int = 47) -> World:
    """A lamp is switched on that lights half of the panel, and hardly the table."""

    def glow(look: t.Look) -> None:
        on = _soft(look.time_s, 560, 5)
        spot = 1 / (1 + np.exp((look.x_mm - 170) / 18)) * look.inside
        look.light *= (1 - 0.2 * on * spot)[..., None]

    return panel_of(seed, glass_cloth(seed), (0.82, 0.85, 0.88), count=COUNT, on_top=(glow,))


def mottled(seed: int = 48) -> World:
    """Fast channels and slow threads: a front many centimetres broad."""
    return panel_of(
        seed, glass_cloth(seed), CLEAR_RESIN, count=COUNT, fingers_mm=11.0, fibres_mm=5.0
    )


def smooth_table(seed: int = 49) -> World:
    """Nothing on the table to hold on to, while the camera sinks by some millimetres."""
    camera = camera_of(seed, shift_y_px=lambda s: 0.006 * max(s, 0), noise=1.0)
    world = panel_of(seed, glass_cloth(seed), CLEAR_RESIN, count=COUNT, camera=camera)
    return replace(world, table=textured(BENCH, seed, fine=0.002, clouds=0.004))


def panel_slides(seed: int = 50) -> World:
    """The panel itself is pushed aside by 8 mm in the middle of the run; the table is not."""

    def pushed(look: t.Look) -> tuple[np.ndarray, np.ndarray]:
        by = 8.0 * _soft(look.time_s, 620, 4)
        return np.full(look.x_mm.shape, -by), np.full(look.x_mm.shape, 0.3 * by)

    return panel_of(seed, glass_cloth(seed), CLEAR_RESIN, count=COUNT, sag=pushed)


def stops_for_good(seed: int = 51) -> World:
    """The front stops at two thirds for good while the sky clouds over."""
    camera = camera_of(seed, exposure=lambda s: 1 - 0.3 * _soft(s, 1100, 150), auto=0.6)
    law = Law(200, 800, shut=((800, 1e9),))
    return panel_of(seed, glass_cloth(seed), CLEAR_RESIN, law=law, camera=camera, count=COUNT)


def faint_under_moved_lamp(seed: int = 52) -> World:
    """Carbon that darkens by a tenth, while a lamp is moved."""
    stuff = woven(textured(CARBON, seed), 4.0, 0.15)
    return panel_of(seed, stuff, (0.9,) * 3, count=COUNT, on_top=(t.lamp(650, 60, 0.7, 0.2),))


ODD_PANELS = {
    make.__name__: make
    for make in (
        bag_slackens, dry_part_slackens, leans_over_the_front, sun_mirrored, lens_fogs,
        words_on_the_panel, lamp_on_part, mottled, smooth_table, panel_slides, stops_for_good,
        faint_under_moved_lamp,
    )
}  # fmt: skip
