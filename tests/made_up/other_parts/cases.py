"""Parts of the second world: shapes, sizes, feeds, cloths and cameras, each in a mixture."""

from __future__ import annotations

import numpy as np

from sample_frames._part_world import Inlet, Layup, Outlet, Patch, World
from tests.made_up.other_parts.eye import Look
from tests.made_up.other_parts.make import Other

CLOTH = Layup(2.5e-10, 2.5e-10, porosity=0.5, thickness_mm=3.0)
TURNED = Layup(4e-10, 1.5e-10, angle_deg=35.0, porosity=0.5, thickness_mm=3.0)
TIGHT = Layup(1.2e-10, 1.2e-10, porosity=0.5, thickness_mm=4.0)


def pts(*points):
    """Points as an array."""
    return np.array(points, float)


def box(x0, y0, x1, y1):
    """Corners of a rectangle."""
    return pts((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def ring(radius, middle=(0.0, 0.0), count=40):
    """Corners of a disc."""
    turn = 2 * np.pi * np.arange(count) / count
    return np.stack([middle[0] + radius * np.cos(turn), middle[1] + radius * np.sin(turn)], axis=1)


def line(name, *points, **other):
    """A line feed."""
    return Inlet(name, pts(*points), **other)


def spot(name, x, y, radius=7.0, **other):
    """A point feed."""
    return Inlet(name, pts((x, y)), radius_mm=radius, **other)


ELL = pts((0, 0), (900, 0), (900, 300), (350, 300), (350, 700), (0, 700))
TEE = pts(
    (-500, 0), (500, 0), (500, 250), (150, 250), (150, 800), (-150, 800), (-150, 250), (-500, 250)
)
YOU = pts((0, 0), (250, 0), (250, 500), (650, 500), (650, 0), (900, 0), (900, 750), (0, 750))
TAPER = pts((0, 0), (2000, 120), (2000, 280), (0, 400))
SMALL = box(100, 100, 400, 320)
LONG = box(0, 0, 6000, 900)
PLATE = box(-300, -200, 500, 350)
WHEEL = ring(400)


def one(name, outline, inlets, look=None, **other):
    """One part."""
    low, high = outline.min(axis=0), outline.max(axis=0)
    cloth, holes, patches = (
        other.pop("layup", CLOTH),
        other.pop("holes", ()),
        other.pop("patches", ()),
    )
    vent = Outlet("vent", pts((high[0] - 5, outline[outline[:, 0] == high[0]][0, 1] + 5)))
    world = World(
        outline,
        cloth,
        inlets,
        (vent,),
        holes_mm=holes,
        patches=patches,
        log_sd=other.pop("log_sd", 0.0),
    )
    step = other.pop("step_mm", 10.0 if (high - low).max() < 1500 else 40.0)
    seed = sum(ord(letter) for letter in name)
    return Other(name, world, look or Look(), step_mm=step, seed=seed, **other)


OTHERS = (
    one("ell_mesh", ELL, (line("top", (0, 0), (900, 0)),), Look(cloth="mesh", hands=(9, 10))),
    one(
        "tee_carbon",
        TEE,
        (line("bar", (-500, 0), (500, 0)),),
        Look(cloth="carbon", cards=False, glare=0.15, warm=(0.9, 1.0, 1.15)),
        tapped=(0, 1, 4, 5),
        photos=24,
    ),
    one(
        "you_glass",
        YOU,
        (line("foot", (0, 750), (900, 750)),),
        Look(azimuth_deg=-30),
        y_up=True,
        photos=40,
    ),
    one(
        "wheel_hole",
        WHEEL,
        (line("inner", *ring(120, count=24), (120, 0)),),
        Look(cloth="foam", elevation_deg=38),
        holes=(ring(60, count=24),),
        photos=45,
    ),
    one(
        "taper_tapped",
        TAPER,
        (line("wide end", (0, 0), (0, 400)),),
        Look(cards=False, size_px=(1600, 900)),
        tapped=(0, 1, 2, 3),
        photos=36,
    ),
    one(
        "disc_rim",
        WHEEL,
        (line("rim", *ring(398), (398, 0)),),
        Look(cloth="mesh", glare=0.6),
        y_up=True,
    ),
    one("disc_middle", WHEEL, (spot("middle", 0, 0),), Look(cloth="glass", elevation_deg=55)),
    one(
        "small_vga",
        SMALL,
        (line("left", (100, 100), (100, 320)),),
        Look(size_px=(640, 480), elevation_deg=35),
        photos=16,
        step_mm=6.0,
    ),
    one(
        "long_plank",
        LONG,
        (line("edge", (0, 0), (6000, 0)),),
        Look(size_px=(1920, 1080), cloth="foam", elevation_deg=40),
        photos=30,
        step_mm=50.0,
    ),
    one(
        "long_point",
        LONG,
        (spot("middle", 3000, 450, 40.0),),
        Look(size_px=(1920, 1080), elevation_deg=40, hose_mm=20.0),
        photos=50,
        step_mm=50.0,
    ),
    one(
        "two_feeds",
        PLATE,
        (
            line("left", (-300, -200), (-300, 350)),
            line("second", (100, -190), (100, 340), opens_when_wet=True),
        ),
        Look(cloth="mesh"),
        photos=36,
    ),
    one(
        "second_early",
        PLATE,
        (
            line("left", (-300, -200), (-300, 350)),
            line("second", (300, -190), (300, 340), opens_at_s=150.0),
        ),
        Look(),
        photos=36,
    ),
    one(
        "two_hundred",
        PLATE,
        (line("left", (-300, -200), (-300, 350)),),
        Look(size_px=(800, 600), hands=(60, 61, 62, 120)),
        photos=200,
        before=12,
    ),
    one(
        "dozen",
        PLATE,
        (line("right", (500, -200), (500, 350)),),
        Look(size_px=(2000, 1500)),
        photos=12,
    ),
    one(
        "big_photo",
        ELL,
        (line("left", (0, 0), (0, 700)),),
        Look(size_px=(4000, 3000), cards=False, cloth="carbon", glare=0.1),
        tapped=(0, 1, 2, 5),
        photos=14,
    ),
    one(
        "hose_over",
        PLATE,
        (line("left", (-300, -200), (-300, 350)),),
        Look(over=(pts((100, -600), (150, 0), (260, 120), (250, 800)),)),
        start_told=False,
    ),
    one("glare_much", PLATE, (spot("middle", 100, 70),), Look(glare=1.2, pleats=14), photos=40),
    one(
        "card_shadow",
        PLATE,
        (line("top", (-300, -200), (500, -200)),),
        Look(shadow_on_card=True),
        y_up=True,
    ),
    one("sun_comes", PLATE, (line("left", (-300, -200), (-300, 350)),), Look(sun_at=0.45)),
    one(
        "carbon_sun",
        PLATE,
        (line("left", (-300, -200), (-300, 350)),),
        Look(cloth="carbon", glare=0.12, sun_at=0.4),
    ),
    one(
        "covered",
        PLATE,
        (line("left", (-300, -200), (-300, 350)),),
        Look(covered=(12, 13, 14), cloth="foam"),
    ),
    one(
        "wet_first",
        PLATE,
        (line("left", (-300, -200), (-300, 350)),),
        Look(cloth="mesh"),
        before=0,
        photos=26,
    ),
    one(
        "start_untold",
        PLATE,
        (spot("middle", 100, 70),),
        Look(cloth="mesh"),
        start_told=False,
        before=4,
    ),
    one(
        "cut_half", ELL, (line("top", (0, 0), (900, 0)),), Look(cloth="glass"), until=0.5, photos=22
    ),
    one(
        "cut_carbon",
        PLATE,
        (line("left", (-300, -200), (-300, 350)),),
        Look(cloth="carbon", glare=0.12),
        until=0.6,
        photos=22,
        start_told=False,
    ),
    one(
        "turned_cloth",
        PLATE,
        (spot("middle", 100, 70),),
        Look(cloth="mesh"),
        layup=TURNED,
        log_sd=0.1,
        photos=32,
    ),
    one(
        "doubler",
        PLATE,
        (line("left", (-300, -200), (-300, 350)),),
        Look(),
        patches=(Patch("doubler", box(0, -50, 250, 200), TIGHT),),
        log_sd=0.08,
        photos=32,
    ),
    one(
        "vga_glare",
        ELL,
        (line("left", (0, 0), (0, 700)),),
        Look(size_px=(640, 480), glare=0.8, noise=3.0, quality=60),
        photos=30,
    ),
)
