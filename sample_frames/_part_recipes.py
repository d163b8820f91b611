"""The sample part with photos: what was planned, what was so, and how it is looked at."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sample_frames._camera import Camera, Lamp
from sample_frames._part_make import PartRecipe, turned
from sample_frames._part_scene import PartLook
from sample_frames._part_world import Clock, Inlet, Layup, Outlet, Patch, Slot, World

OUTLINE = np.array(
    [
        (0, 120),
        (120, 0),
        (1680, 0),
        (1800, 120),
        (1800, 780),
        (1680, 900),
        (120, 900),
        (0, 780),
    ],
    float,
)
HOLE = np.array([(380, 340), (620, 340), (620, 560), (380, 560)], float)
DOUBLER = np.array([(1140, 240), (1500, 240), (1500, 660), (1140, 660)], float)

PLANNED = World(
    outline_mm=OUTLINE,
    layup=Layup(3.0e-10, 3.0e-10, porosity=0.48, thickness_mm=2.8),
    inlets=(
        Inlet("feed line", np.array([(900.0, 60.0), (900.0, 840.0)])),
        Inlet("second line", np.array([(1560.0, 120.0), (1560.0, 780.0)]), opens_when_wet=True),
    ),
    outlets=(
        Outlet("left edge", np.array([(0.0, 180.0), (0.0, 720.0)])),
        Outlet("right edge", np.array([(1800.0, 180.0), (1800.0, 720.0)])),
    ),
    holes_mm=(HOLE,),
    patches=(Patch("doubler", DOUBLER, Layup(2.0e-10, 2.0e-10, porosity=0.46, thickness_mm=4.2)),),
    slots=(Slot(np.array([(300.0, 900.0), (1000.0, 900.0)]), 0.5),),
    clock=Clock(dp_pa=95_000.0, mu_pa_s=0.22, doubling_s=55 * 60.0),
)
TRUE = replace(
    PLANNED,
    patches=(Patch("doubler", DOUBLER, Layup(1.2e-10, 1.2e-10, porosity=0.46, thickness_mm=4.2)),),
    slots=(Slot(PLANNED.slots[0].line_mm, 1.0),),
    log_sd=0.06,
)
SIZE = (960, 720)
LOOK = PartLook(
    camera=Camera((900, 450), 2720, 12, 18, -1.5, 1080, size_px=SIZE),
    bench="gelcoat",
    pitch_mm=9.0,
    lamps=(Lamp(-900, 500, 500, 60, 5.0),),
    cards_mm=np.array([(-95, -95), (1895, -95), (1895, 995), (-95, 995)], float),
    marker_mm=85.0,
    hoses_mm=(np.array([(250.0, -400.0), (310.0, 40.0), (280.0, 200.0), (-350.0, 260.0)]),),
    clamps_mm=((1240.0, -34.0),),
    ppm=0.9,
    oversample=2,
    noise=0.4,
)
PART_RECIPES = {
    "part_run": PartRecipe(
        name="part_run",
        title="roof cover, skin, as infused",
        planned=PLANNED,
        true=TRUE,
        look=LOOK,
        seed=46,
        photos=36,
        moments={
            9: {"reach": ((560.0, 420.0), -70.0, 0.9, True)},
            16: {"person": (0.34, 0.45)},
            17: {"person": (0.30, 0.48)},
            22: {"move": turned(SIZE, (7.0, -5.0), 0.35)},
            27: {"reach": ((700.0, 500.0), -110.0, 0.9, False), "shadow": (0.7, 0.6, 0.3)},
            31: {"shadow": (0.4, 0.4, 0.35)},
            32: {"shadow": (0.5, 0.45, 0.35)},
        },
        step_mm=15.0,
        px_mm=6.0,
        quality=42,
        notes="The doubler's cloth is tighter than planned, and the gap wider: truth/truth.json.",
    )
}
