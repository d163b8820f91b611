"""Small made-up parts, each with a shape, a way to feed it and a trouble."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sample_frames._camera import Camera, Lamp
from sample_frames._part_make import PartRecipe, turned
from sample_frames._part_scene import PartLook
from sample_frames._part_world import Clock, Inlet, Layup, Outlet, Patch, Slot, World

SIZE = (640, 480)
CLOTH = Layup(2.2e-10, 2.2e-10, porosity=0.5, thickness_mm=3.0)
TIGHT = replace(CLOTH, k1_m2=1.3e-10, k2_m2=1.3e-10)
PLAN_TIGHT = replace(CLOTH, k1_m2=1.8e-10, k2_m2=1.8e-10)
BLACK_HOSE = np.array([(380.0, -300.0), (330.0, 40.0), (250.0, 150.0), (200.0, 600.0)])


def box(x0, y0, x1, y1):
    """Corners of a rectangle."""
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], float)


def line(*points):
    """A line through points."""
    return np.array(points, float)


PLATE = box(0, 0, 480, 320)
ELL = line((0, 0), (480, 0), (480, 160), (200, 160), (200, 360), (0, 360))
DISC = np.array(
    [(200 + 180 * np.cos(a), 200 + 180 * np.sin(a)) for a in np.arange(48) * np.pi / 24]
)
OCTAGON = line((0, 60), (60, 0), (460, 0), (520, 60), (520, 260), (460, 320), (60, 320), (0, 260))
STRIP = box(0, 0, 640, 160)
LEFT = Inlet("left line", line((0, 0), (0, 320)))
MIDDLE = Inlet("middle line", line((240, 20), (240, 300)))
RIGHT_VENT = Outlet("right", line((480, 20), (480, 300)))


def look(outline, **other):
    """A look from above with a card at each corner."""
    low, high = outline.min(axis=0), outline.max(axis=0)
    size = high - low
    far = max(size[0] + 270, (size[1] + 270) * 4 / 3) * 1.17
    middle = tuple(float(v) for v in (low + high) / 2)
    x0, y0, x1, y1 = *(low - 84), *(high + 84)
    base = PartLook(
        camera=Camera(middle, far, 9, 25, 1.0, SIZE[0], size_px=SIZE),
        pitch_mm=6.0,
        cards_mm=line((x0, y0), (x1, y0), (x1, y1), (x0, y1)),
        marker_mm=52.0,
        ppm=1.0,
        wrinkles=30,
    )
    return replace(base, **other)


def recipe(name, planned, true=None, appearance=None, **other):
    """A part seen in 28 photos."""
    seed = 100 + sum(ord(letter) for letter in name)
    return PartRecipe(
        name=name,
        title=name.replace("_", " "),
        planned=planned,
        true=true or planned,
        look=appearance or look(planned.outline_mm),
        seed=seed,
        photos=other.pop("photos", 28),
        step_mm=other.pop("step_mm", 10.0),
        px_mm=4.0,
        **other,
    )


def _hole():
    hole = box(220, 110, 300, 210)
    return recipe("hole", World(PLATE, CLOTH, (LEFT,), (RIGHT_VENT,), holes_mm=(hole,)))


def _ell_hose():
    world = World(
        ELL,
        CLOTH,
        (Inlet("top line", line((0, 0), (480, 0))),),
        (Outlet("foot", line((20, 360), (180, 360))),),
    )
    return recipe("ell_hose", world, appearance=look(ELL, hoses_mm=(BLACK_HOSE,)))


def _disc_point():
    world = World(
        DISC,
        CLOTH,
        (Inlet("middle", line((200, 200)), radius_mm=6.0),),
        (Outlet("rim", line((30, 200))),),
    )
    return recipe(
        "disc_point", world, moments={k: {"reach": ((330.0, 250.0), -80.0, 0.8)} for k in (11, 12)}
    )


def _octagon_person():
    world = World(OCTAGON, CLOTH, (Inlet("middle line", line((260, 20), (260, 300))),))
    world = replace(world, outlets=(Outlet("left", line((0, 80), (0, 240))),))
    return recipe("octagon_person", world, moments={k: {"person": (0.4, 0.5)} for k in (9, 10, 11)})


def _strip_zone():
    patch = box(250, 0, 400, 160)
    planned = World(
        STRIP,
        CLOTH,
        (Inlet("end", line((0, 0), (0, 160))),),
        (Outlet("far end", line((640, 20), (640, 140))),),
        patches=(Patch("doubler", patch, PLAN_TIGHT),),
    )
    true = replace(planned, patches=(Patch("doubler", patch, TIGHT),))
    return recipe("strip_zone", planned, true)


def _two_feeds_glare():
    world = World(
        PLATE,
        CLOTH,
        (LEFT, Inlet("point", line((360, 160)), radius_mm=6.0)),
        (Outlet("corner", line((470, 10))),),
    )
    lamp = Lamp(-250, 120, 220, 60, 5.0)
    return recipe("two_feeds_glare", world, appearance=look(PLATE, lamps=(lamp,)))


def _later_shadow():
    later = Inlet("later line", line((300, 20), (300, 300)), opens_when_wet=True)
    shadows = {k: {"shadow": (0.15 + 0.06 * k, 0.5, 0.45)} for k in range(6, 16)}
    return recipe(
        "later_shadow", World(PLATE, CLOTH, (LEFT, later), (RIGHT_VENT,)), moments=shadows
    )


def _gap_drift():
    planned = World(
        PLATE, CLOTH, (LEFT,), (RIGHT_VENT,), slots=(Slot(line((0, 320), (480, 320)), 0.3),)
    )
    true = replace(planned, slots=(Slot(planned.slots[0].line_mm, 0.7),))
    return recipe("gap_drift", planned, true, drift=0.12)


def _carbon_bump():
    bump = {13: {"move": turned(SIZE, (9.0, -6.0), 0.8)}}
    dark = look(PLATE, fabric="carbon", bench="melamine")
    return recipe(
        "carbon_bump", World(PLATE, CLOTH, (MIDDLE,), (RIGHT_VENT,)), None, dark, moments=bump
    )


def _net_noise():
    appearance = look(PLATE, net=True, noise=2.5)
    return recipe("net_noise", World(PLATE, CLOTH, (LEFT,), (RIGHT_VENT,)), None, appearance)


def _tapped():
    world = World(OCTAGON, CLOTH, (Inlet("middle line", line((260, 20), (260, 300))),))
    world = replace(world, outlets=(Outlet("right", line((520, 80), (520, 240))),))
    appearance = look(OCTAGON, cards_mm=None)
    return recipe("tapped", world, None, appearance, scale="outline", tapped=(0, 2, 3, 4, 6, 7))


def _raised():
    appearance = look(PLATE, height_mm=30.0)
    return recipe("raised", World(PLATE, CLOTH, (LEFT,), (RIGHT_VENT,)), None, appearance)


def _turned_cloth():
    cloth = replace(CLOTH, k1_m2=3.2e-10, k2_m2=1.4e-10, angle_deg=30.0)
    clock = Clock(mu_pa_s=0.2, doubling_s=600.0)
    world = World(PLATE, cloth, (MIDDLE,), (RIGHT_VENT,), clock=clock, log_sd=0.06)
    return recipe("turned_cloth", world)


CASES = {
    case.name: case
    for case in (
        _hole(),
        _ell_hose(),
        _disc_point(),
        _octagon_person(),
        _strip_zone(),
        _two_feeds_glare(),
        _later_shadow(),
        _gap_drift(),
        _carbon_bump(),
        _net_noise(),
        _tapped(),
        _raised(),
        _turned_cloth(),
    )
}
"""Thirteen parts, by name."""
